package simulator

import (
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The reference policies on their own ground: the better chooser asks less.
func TestReferencePolicies(t *testing.T) {
	n := 3000
	if os.Getenv("CALLOUT_LONG") != "" {
		n = 60000
	}
	start := time.Now()
	sampler := NewSampler()
	learn := sampler.Draw(1_000_000, n, Setup{})
	unseen := sampler.Draw(9_000_000, n/10, Setup{})
	t.Logf("sample of %d: %v", n, time.Since(start).Round(time.Millisecond))
	score := map[string]float64{}
	for _, name := range []string{"textbook", "greedy", "search", "everything"} {
		start := time.Now()
		p := Grow(name, learn, free{})
		right, tests := 0, 0
		for _, c := range p.Play(unseen) {
			right, tests = right+b2i(c.Right), tests+c.Tests
		}
		score[name] = float64(tests) / float64(len(unseen))
		t.Logf("%-10s right %.1f %%, %.2f tests, grown in %v", name, 100*float64(right)/float64(len(unseen)), score[name], time.Since(start).Round(time.Millisecond))
		assert.Greater(t, float64(right)/float64(len(unseen)), 0.6, name)
	}
	assert.Less(t, score["greedy"], score["textbook"])
	assert.LessOrEqual(t, score["search"], score["greedy"]*1.02)
}

func TestTextbookCoversEveryProbe(t *testing.T) {
	order := textbook()
	require.Len(t, order, len(probes()))
	sorted := slices.Sorted(slices.Values(order))
	for i, v := range sorted {
		require.Equal(t, i, v)
	}
	assert.Len(t, owed(), len(protocol))
}
