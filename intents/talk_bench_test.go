package intents

import (
	"slices"
	"testing"
	"time"
)

// BenchmarkTalk parses every saying of the tables bare and amid free words, and reports the
// middle line and the slowest of a hundred.
func BenchmarkTalk(b *testing.B) {
	p := newParser(b)
	blocks := readBlocks(b, p)
	var took []time.Duration
	for b.Loop() {
		for _, x := range blocks {
			for _, said := range x.said {
				for _, text := range []string{said, "okay so, um, what I have here on my meter now is " + said + ", give or take, I reckon"} {
					from := time.Now()
					p.Parse(text, x.ctx)
					took = append(took, time.Since(from))
				}
			}
		}
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "µs/median")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "µs/99th")
	b.ReportMetric(0, "ns/op")
}
