package intents

import (
	"slices"
	"testing"
	"time"
)

// How long a line takes: the sayings of the tables, and long talk.
func TestTalkIsQuick(t *testing.T) {
	p := newParser(t)
	var took []time.Duration
	for _, b := range readBlocks(t, p) {
		for _, said := range b.said {
			for _, text := range []string{said, "okay so, um, what I have here on my meter now is " + said + ", give or take, I reckon"} {
				from := time.Now()
				p.Parse(text, b.ctx)
				took = append(took, time.Since(from))
			}
		}
	}
	slices.Sort(took)
	t.Logf("%d lines: median %v, 99 of 100 under %v, most %v", len(took), took[len(took)/2], took[len(took)*99/100], took[len(took)-1])
}
