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
	n := 6000
	if os.Getenv("CALLOUT_LONG") != "" {
		n = 60000
	}
	start := time.Now()
	learn := Sample(1_000_000, n, Setup{Pairs: 0.12})
	unseen := learn[n*9/10:] // one index of classes for both
	learn = learn[:n*9/10]
	t.Logf("sample of %d: %v", n, time.Since(start).Round(time.Millisecond))
	score := map[string]float64{}
	for _, name := range []string{"textbook", "greedy", "search"} {
		start := time.Now()
		p := Grow(name, learn)
		right, tests, _ := p.Score(unseen)
		score[name] = tests
		t.Logf("%-9s right %.1f %%, %.2f tests, grown in %v", name, 100*right, tests, time.Since(start).Round(time.Millisecond))
		assert.Greater(t, right, 0.6, name)
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
