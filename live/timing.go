package live

import (
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"callout/joblog"
	"callout/session"
)

// Timing tells where the time of one turn went, from the last sound of speech
// to the first sound of the answer.
type Timing struct {
	Text   string        // what was heard
	End    time.Time     // of speech
	Pause  time.Duration // silence that was waited for, to know that it was the end
	Decode time.Duration // waited for the recogniser after that
	Decide time.Duration // parsing, engine, wording
	Log    time.Duration // until all of the turn was on disk
	Voice  time.Duration // waited for the answer's first sentence to be synthesised
	Out    time.Duration // until the sound system took its first sample
	Took   time.Duration // the recogniser's own time, most of it while the pause ran

	committed, heard, voiced time.Time
}

// Total is the sum of the stages.
func (t Timing) Total() time.Duration {
	return t.Pause + t.Decode + t.Decide + t.Log + t.Voice + t.Out
}

// String is one line of milliseconds by stage.
func (t Timing) String() string {
	ms := func(d time.Duration) int64 { return d.Milliseconds() }
	return fmt.Sprintf("total %d pause %d decode %d decide %d log %d voice %d out %d took %d ms: %q",
		ms(t.Total()), ms(t.Pause), ms(t.Decode), ms(t.Decide), ms(t.Log), ms(t.Voice), ms(t.Out), ms(t.Took), t.Text)
}

// WriteTimings writes median and 95th percentile of each stage, in
// milliseconds.
func WriteTimings(out io.Writer, list []Timing) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "timing: no turn was answered")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(w, "%d turns, ms\tmedian\t95%%\tworst\t\n", len(list))
	for _, stage := range []struct {
		name string
		of   func(Timing) time.Duration
	}{
		{"pause", func(t Timing) time.Duration { return t.Pause }},
		{"decode", func(t Timing) time.Duration { return t.Decode }},
		{"decide", func(t Timing) time.Duration { return t.Decide }},
		{"log", func(t Timing) time.Duration { return t.Log }},
		{"voice", func(t Timing) time.Duration { return t.Voice }},
		{"out", func(t Timing) time.Duration { return t.Out }},
		{"end of speech to first sound", Timing.Total},
		{"(recogniser's own time)", func(t Timing) time.Duration { return t.Took }},
	} {
		var all []time.Duration
		for _, t := range list {
			all = append(all, stage.of(t))
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t\n", stage.name, Percentile(all, 50).Milliseconds(), Percentile(all, 95).Milliseconds(), Percentile(all, 100).Milliseconds())
	}
	return w.Flush()
}

// Percentile is the smallest of list that p of 100 do not exceed (nearest rank).
// An empty list gives 0.
func Percentile(list []time.Duration, p int) time.Duration {
	if len(list) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(list))
	return sorted[max(0, (p*len(sorted)+99)/100-1)]
}

// timedLog measures what the log takes.
type timedLog struct {
	log  session.Log
	took time.Duration
}

func (l *timedLog) Append(body joblog.Body, at time.Time) (uint64, error) {
	start := time.Now()
	seq, err := l.log.Append(body, at)
	l.took += time.Since(start)
	return seq, err
}
