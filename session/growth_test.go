package session

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

// talks are ways to go on for ever, by the line's number.
func talks() map[string]func(n int) string {
	round := []string{"compressor amps 1.%d", "fan amps 1.%d", "suction pressure 1%d", "liquid pressure 3%d", "return air 7%d", "supply air 5%d", "voltage leg to leg 23%d", "outdoor air 8%d"}
	return map[string]func(n int) string{
		"readings":    func(n int) string { return fmt.Sprintf(round[n%len(round)], n%10) },
		"one reading": func(n int) string { return fmt.Sprintf("voltage %d", 220+n%20) },
		"corrections": func(n int) string { return []string{"suction pressure 120", "no, 118"}[n%2] },
		"repairs":     func(int) string { return "replaced the contactor" },
		"questions":   func(n int) string { return []string{"what's next", "where are we", "why"}[n%3] },
		"notes":       func(n int) string { return fmt.Sprintf("note filter number %d", n) },
		"chatter":     func(n int) string { return fmt.Sprintf("did you see game %d", n) },
	}
}

// longCall is a call, and what lets it go on by one line.
func longCall(t testing.TB, k *Knowledge, talk func(n int) string) (more func()) {
	t.Helper()
	c := NewCall(k, DefaultPolicy)
	at := time.Date(2026, 3, 8, 14, 0, 0, 0, time.UTC)
	require.NoError(t, c.Apply(1, at, joblog.Opened{Schema: joblog.Schema, Program: "test", Job: "long"}))
	_, err := c.Begin(at)
	require.NoError(t, err)
	n := 0
	return func() {
		at = at.Add(7 * time.Second)
		_, err := c.Hear(Utterance{At: at, Source: joblog.Typed, Text: talk(n), Certainty: 1})
		require.NoError(t, err)
		n++
	}
}

// What a line costs does not grow with the job, but for corrections, each of
// which goes through the readings once more. Repairs are fewer: each begins a
// stretch of its own, and nobody makes a hundred.
func TestALineOfALongJobCostsNoMore(t *testing.T) {
	if testing.Short() {
		t.Skip("plays long calls")
	}
	k, err := LoadKnowledge()
	require.NoError(t, err)
	for name, talk := range talks() {
		t.Run(name, func(t *testing.T) {
			more := longCall(t, k, talk)
			median := func() time.Duration {
				var took []time.Duration
				for range 60 {
					begun := time.Now()
					more()
					took = append(took, time.Since(begun))
				}
				slices.Sort(took)
				return took[len(took)/2]
			}
			lines := 4000
			switch name {
			case "repairs":
				lines = 60
			case "corrections": // half of them are; nobody makes a thousand
				lines = 2000
			}
			for range 60 {
				more()
			}
			early := median()
			for range lines {
				more()
			}
			late := median()
			t.Logf("a line after 60: %v, after %d: %v", early, lines+120, late)
			assert.Less(t, late, 5*early)
		})
	}
}

// BenchmarkLine is one line after so many of the same talk.
func BenchmarkLine(b *testing.B) {
	k, err := LoadKnowledge()
	require.NoError(b, err)
	for _, name := range []string{"readings", "one reading", "notes"} {
		for _, before := range []int{100, 800, 4000} {
			b.Run(fmt.Sprintf("%s after %d", name, before), func(b *testing.B) {
				more := longCall(b, k, talks()[name])
				for range before {
					more()
				}
				for b.Loop() {
					more()
				}
			})
		}
	}
}
