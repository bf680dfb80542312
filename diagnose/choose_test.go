package diagnose

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func expectedCost(order []int, p, c []float64) (sum float64) {
	left := 1.0
	for _, i := range order {
		sum += left * c[i]
		left -= p[i]
	}
	return sum
}

func permutations(n int, each func([]int)) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	var walk func(int)
	walk = func(k int) {
		if k == n {
			each(order)
			return
		}
		for i := k; i < n; i++ {
			order[k], order[i] = order[i], order[k]
			walk(k + 1)
			order[k], order[i] = order[i], order[k]
		}
	}
	walk(0)
}

// TestByRateIsCheapest: worked examples of troubleshooting by probability over
// cost (Kadane and Simon 1977; Heckerman, Breese and Rommelse 1995), each
// against brute force over every order.
func TestByRateIsCheapest(t *testing.T) {
	for _, row := range []struct {
		p, c  []float64
		order []int
		cost  float64
	}{
		{[]float64{.5, .3, .2}, []float64{10, 2, 1}, []int{2, 1, 0}, 7.60},
		{[]float64{.35, .25, .15, .10, .10, .05}, []float64{3, 5, 1, 20, 8, 60}, []int{2, 0, 1, 4, 3, 5}, 14.05},
	} {
		got := byRate(row.p, row.c)
		assert.Equal(t, row.order, got)
		assert.InDelta(t, row.cost, expectedCost(got, row.p, row.c), 0.01)
		least := math.Inf(1)
		permutations(len(row.p), func(o []int) { least = math.Min(least, expectedCost(o, row.p, row.c)) })
		assert.InDelta(t, least, expectedCost(got, row.p, row.c), 1e-9)
	}
}

// toy makes a view of four faults and some tests with two outcomes, so that the
// choice can be held against worked entropies.
func toy(p []float64, positive ...[]float64) (*view, []hypothesis) {
	m := &model{nt: len(positive), ways: make([]way, len(p))}
	k := &Knowledge{model: m, tests: make([]Test, len(positive)), faults: make([]Fault, len(p))}
	rows := make([][][]float64, len(p))
	var hs []hypothesis
	for i := range p {
		m.ways[i].fault = i
		for t := range positive {
			k.tests[t].Classes = make([]Class, 2)
			rows[i] = append(rows[i], []float64{positive[t][i], 1 - positive[t][i]})
		}
		hs = append(hs, hypothesis{faults: []int{i}, p: p[i], parts: []part{{i, p[i]}}})
	}
	m.rows[0] = rows
	m.compare()
	return &view{k: k, s: &state{}}, hs
}

// TestEntropyOfTests: entropies worked by hand after de Kleer and Williams 1987
// (minimum expected entropy): a test that isolates the likeliest fault against
// one that splits the belief in two, and a noisy one.
func TestEntropyOfTests(t *testing.T) {
	v, hs := toy([]float64{.4, .3, .2, .1}, []float64{1, 0, 0, 0}, []float64{1, 0, 0, 1}, []float64{.9, .1, .05, .5})
	l := v.lookAhead(hs)
	clear(l.vain) // so that only the doubt is priced
	bits := func(x float64) float64 { return x / perBit }
	assert.InDelta(t, 1.8464, bits(l.price(&l.all)), 1e-4)
	assert.InDelta(t, 0.8755, bits(l.left(&l.all, 0)), 1e-4)
	assert.InDelta(t, 0.8464, bits(l.left(&l.all, 1)), 1e-4)
	assert.InDelta(t, 1.3392, bits(l.left(&l.all, 2)), 1e-4)

	cs := []candidate{{test: 0, cost: 1, before: -1}, {test: 1, cost: 1, before: -1}}
	for i := range cs {
		cs[i].left = l.left(&l.all, cs[i].test)
	}
	assert.Less(t, l.further(cs[0], nil, l.price(&l.all)), l.further(cs[1], nil, l.price(&l.all)), "at equal cost the better question is the one that splits")

	// the noisy test's posterior, by Bayes
	pos := 0.0
	var post [4]float64
	for i, h := range hs {
		post[i] = h.p * v.row(h, 2, nil)[0]
		pos += post[i]
	}
	assert.InDelta(t, .45, pos, 1e-9)
	for i, want := range []float64{.80, .067, .022, .111} {
		assert.InDelta(t, want, post[i]/pos, 0.001)
	}
}

// TestTestCostsCount: of two tests that tell the same, the cheaper is done.
func TestTestCostsCount(t *testing.T) {
	v, hs := toy([]float64{.5, .5}, []float64{1, 0}, []float64{1, 0})
	v.ranked, v.marginal = hs, []float64{.5, .5}
	v.k.confirm = make([][][]clause, 2)
	v.standing = make([]*outcome, 2)
	best, ok := v.best([]candidate{{test: 0, cost: 9, before: -1}, {test: 1, cost: 2, before: -1}})
	require.True(t, ok)
	assert.Equal(t, 1, best.test)
}

// TestWaysArePricedAsTheEngineDoes: what the reference policies pay for a test is
// what the engine reckons with, on the way to it and once they are there.
func TestWaysArePricedAsTheEngineDoes(t *testing.T) {
	k := knowledge(t)
	v := k.NewJob().state.look(start)
	for _, id := range []TestID{"outdoor_fan", "cap_herm", "windings", "filter", "indoor_coil", "contactor"} {
		w := NewWays(k)
		at := k.testAt[id]
		test := k.tests[at]
		readings := [][2]string{{string(test.Quantity), string(test.Place)}}
		minutes, there := w.Ask(0, readings)
		var way float64
		for _, step := range v.path(test.State) {
			way += k.energy.Steps[step].Minutes
		}
		assert.InDelta(t, test.Minutes+way, minutes, 0.21, "%s", id) // the lock is told with the pull
		minutes, again := w.Ask(there, readings)
		assert.InDelta(t, test.Minutes, minutes, 1e-9, "%s once more", id)
		assert.Equal(t, there, again)
	}
	_, dead := NewWays(k).Ask(0, [][2]string{{"capacitance", "herm"}})
	assert.NotZero(t, dead)
}
