package session

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

// talkRate is how many words are spoken in a minute: the default of --voice-rate.
const talkRate = 170

// playCall types a call of testdata/calls in a manner and returns what was said.
func playCall(t *testing.T, name string, m Manner) []Record {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata/calls", name+".tsv"))
	require.NoError(t, err)
	defer func() { _ = f.Close() }()
	b := newBench(t)
	b.r.call.manner = m
	for lines := bufio.NewScanner(f); lines.Scan(); {
		at, rest, ok := strings.Cut(lines.Text(), "\t")
		if !ok || strings.HasPrefix(at, "#") {
			continue
		}
		_, text, _ := strings.Cut(rest, "\t")
		after, err := time.ParseDuration(at)
		require.NoError(t, err)
		if b.r.call.Closed() {
			break
		}
		require.NoError(t, b.r.Hear(t.Context(), Utterance{At: start.Add(after), Source: joblog.Typed, Text: text, Certainty: 1}))
	}
	return b.out.records
}

func spokenWords(records []Record) (sentences, words int) {
	for _, r := range records {
		if s, ok := r.Body.(joblog.Said); ok && s.Way == joblog.Spoken {
			sentences, words = sentences+1, words+len(strings.Fields(s.Text))
		}
	}
	return sentences, words
}

var mannerCalls = []string{"weak_capacitor", "failed_capacitor_short", "low_charge", "nothing_runs", "dirty_filter"}

// TestWordsSpoken prints how much is said in five calls in each manner.
func TestWordsSpoken(t *testing.T) {
	var table bytes.Buffer
	w := tabwriter.NewWriter(&table, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "call\tmanner\tlines\twords\tminutes\t")
	for _, name := range mannerCalls {
		words := map[Manner]int{}
		for _, m := range []Manner{Brief, Full, Teaching} {
			n, count := spokenWords(playCall(t, name, m))
			words[m] = count
			fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%.1f\t\n", name, m, n, count, float64(count)/talkRate)
		}
		assert.Less(t, words[Brief], words[Full], name)
		assert.LessOrEqual(t, words[Full], words[Teaching], name)
	}
	require.NoError(t, w.Flush())
	t.Logf("\n%s", &table)
}

// In every manner, what was recorded, decided and cautioned is the same, and each caution
// was said whole before or beside the first step of its hazard.
func TestEveryMannerKeepsItsCautions(t *testing.T) {
	for _, name := range mannerCalls {
		full := playCall(t, name, Full)
		for _, m := range []Manner{Brief, Teaching} {
			records := playCall(t, name, m)
			assert.Equal(t, cautionIDs(full), cautionIDs(records), "%s %s", name, m)
			said := map[string]bool{}
			for _, r := range records {
				if s, ok := r.Body.(joblog.Said); ok && s.Way == joblog.Spoken && s.Phrase == "caution" {
					said[s.Of] = true
				}
				if k, ok := r.Body.(joblog.Said); ok && k.Phrase == "caution_short" {
					assert.True(t, said[k.Of], "%s %s: %s is said short before it was said whole", name, m, k.Of)
				}
			}
			for _, k := range bodies[joblog.Said](full) {
				if k.As == joblog.AsHazard && k.Way == joblog.Spoken && k.Phrase == "caution" {
					assert.True(t, said[k.Of], "%s %s: %s", name, m, k.Of)
				}
			}
		}
	}
}

func cautionIDs(records []Record) (ids []string) {
	for _, k := range bodies[joblog.Caution](records) {
		ids = append(ids, k.Caution)
	}
	return ids
}

func TestAMannerIsChosenBySayingSo(t *testing.T) {
	b := newBench(t)
	b.say("complaint no cooling")
	b.say("be brief")
	spoken := spokenTexts(b.say("compressor amps forty seven"))
	assert.Contains(t, spoken[0], "47 A")
	assert.LessOrEqual(t, len(strings.Fields(spoken[0])), 6, "it was not asked for, and the place has two currents: %s", spoken[0])
	b.say("say it in full")
	assert.Contains(t, spokenTexts(b.say("nameplate LRA eighty four"))[0], "Locked-rotor amps")
	again := NewCall(b.k, Policy{})
	for _, r := range b.log.records {
		require.NoError(t, again.Apply(r.Seq, r.At, r.Body))
	}
	assert.Equal(t, Full, again.manner, "the log is the state")
}

func spokenTexts(records []Record) (list []string) {
	for _, s := range bodies[joblog.Said](records) {
		if s.Way == joblog.Spoken {
			list = append(list, s.Text)
		}
	}
	return list
}
