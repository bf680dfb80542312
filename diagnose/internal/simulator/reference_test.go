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
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
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
		p := Grow(name, learn, free{}, nil)
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
}

// TestProtocolIsPaid: what was not asked before an answer is charged once, by
// whichever probe takes the reading, and only where the part is fitted.
func TestProtocolIsPaid(t *testing.T) {
	at := func(id string) int {
		return slices.IndexFunc(probes(), func(p probe) bool { return p.id == id })
	}
	p := Protocol{"valves_leak": {
		{Any: [][2]string{{"suction_pressure", "suction_line"}, {"temperature", "suction_line"}}},
		{Any: [][2]string{{"resistance", "run_to_start"}}},
		{Any: [][2]string{{"capacitance", "start_capacitor"}}, Fitted: true},
		{Any: [][2]string{{"smell", "nowhere"}}},
	}}
	start, windings := at("capacitance start_capacitor"), at("windings")
	with := Case{truth: "valves_leak", out: make([]uint8, len(probes()))}
	with.out[start] = 1
	without := with
	without.out = make([]uint8, len(probes()))
	for _, c := range []struct {
		name  string
		asked []int
		case_ Case
		due   int
	}{
		{"nothing asked", nil, with, 3},
		{"no start capacitor", nil, without, 2},
		{"windings asked", []int{windings}, with, 2},
		{"a probe that takes the reading", []int{at("superheat")}, with, 2},
	} {
		g := &grower{cases: []Case{c.case_}, owes: owings(p), asks: asks(), time: free{}, prices: free{}}
		asked := make([]bool, len(probes()))
		for _, i := range c.asked {
			asked[i] = true
		}
		assert.InDelta(t, c.due, g.owed("valves_leak", []int32{0}, asked, 0), 1e-9, c.name)
		played := (&Policy{roots: map[string]*node{"": {answer: "valves_leak", probe: -1, owes: g.debt("valves_leak", asked, 0, free{})}}}).Play([]Case{c.case_})
		assert.Equal(t, c.due, played[0].Tests, c.name)
		assert.Zero(t, g.owed("undercharge", []int32{0}, asked, 0), c.name)
	}
}
