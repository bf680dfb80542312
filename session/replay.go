package session

import (
	"errors"
	"fmt"
	"iter"
	"reflect"
	"sort"

	"callout/joblog"
)

// Difference is one thing that today's program would have done otherwise.
type Difference struct {
	Seq  uint64 // the entry that was heard
	Text string // what was heard
	What string // "callout", "verdict" or "next"
	Then string
	Now  string
}

// Replay hears a recorded job again, with today's knowledge and at the times of
// the log, and lists what would come out differently. It decides from the words
// and certainties in the log; the sound is not recognised again.
func Replay(k *Knowledge, p Policy, entries iter.Seq2[joblog.Entry, error]) ([]Difference, error) {
	call := NewCall(k, p)
	var diffs []Difference
	var heard *Record
	var now []Record
	var then []joblog.Body
	compare := func() {
		if heard != nil {
			diffs = append(diffs, differences(k, *heard, then, now)...)
		}
		then, now, heard = nil, nil, nil
	}
	for e, err := range entries {
		if err != nil {
			return diffs, err
		}
		body, err := joblog.Decode(e)
		if err != nil {
			return diffs, fmt.Errorf("session: replay: entry %d: %w", e.Seq, err)
		}
		switch b := body.(type) {
		case joblog.Opened:
			if err := call.Apply(1, e.At, b); err != nil {
				return diffs, err
			}
			if _, err := call.Begin(e.At); err != nil {
				return diffs, err
			}
		case joblog.Heard:
			compare()
			heard = &Record{Seq: e.Seq, At: e.At, Body: b}
			if due, ok := call.NextDue(); ok && !due.After(e.At) {
				if _, err := call.Tick(e.At); err != nil {
					return diffs, err
				}
			}
			now, err = call.Hear(Utterance{At: e.At, Source: b.Source, Text: b.Text, Certainty: b.Certainty,
				LogLikelihood: b.LogLikelihood, Alternatives: b.Alternatives, Engine: b.Engine})
			if err != nil && !errors.Is(err, ErrClosed) {
				return diffs, err
			}
		case joblog.Timer:
			then = append(then, body)
			if due, ok := call.NextDue(); b.Event == joblog.TimerDone && ok && !due.After(e.At) {
				told, err := call.Tick(e.At) // what time brought is compared with what time brings
				if err != nil {
					return diffs, err
				}
				now = append(now, told...)
			}
		default:
			then = append(then, body)
		}
	}
	compare()
	return diffs, nil
}

func differences(k *Knowledge, heard Record, then []joblog.Body, records []Record) []Difference {
	var now []joblog.Body
	for _, r := range records {
		now = append(now, r.Body)
	}
	text := heard.Body.(joblog.Heard).Text
	var list []Difference
	for _, aspect := range []struct {
		what string
		of   func([]joblog.Body) string
	}{
		{"callout", func(b []joblog.Body) string { return understood(k, b) }},
		{"verdict", lastVerdict},
		{"next", lastNext},
	} {
		if a, b := aspect.of(then), aspect.of(now); !reflect.DeepEqual(a, b) {
			list = append(list, Difference{Seq: heard.Seq, Text: text, What: aspect.what, Then: a, Now: b})
		}
	}
	return list
}

// understood says what was made of an utterance, in words.
func understood(k *Knowledge, list []joblog.Body) string {
	c := &Call{know: k}
	var parts []string
	for _, body := range list {
		if b, ok := body.(joblog.Callout); ok {
			var words []string
			for _, it := range items(b) {
				words = append(words, c.words(it))
			}
			sort.Strings(words)
			part := string(b.Decision)
			if len(words) > 0 {
				part += " " + join(words)
			}
			parts = append(parts, part)
		}
	}
	return join(parts)
}

func lastVerdict(list []joblog.Body) string {
	verdict := ""
	for _, body := range list {
		if b, ok := body.(joblog.Assessment); ok {
			verdict = b.Verdict
		}
	}
	return verdict
}

func lastNext(list []joblog.Body) string {
	say := ""
	for _, body := range list {
		if b, ok := body.(joblog.Next); ok {
			say = b.Say
		}
	}
	return say
}
