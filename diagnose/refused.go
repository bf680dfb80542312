package diagnose

import (
	"cmp"
	"slices"
	"strings"
)

// askedAgain is how often a test that could not be done is put in all: what could not be
// read at one moment often can at another, and is worth one more question where a call
// hangs on it.
const askedAgain = 2

// afterAll puts a test once more that could not be done, where the verdict on a fault that
// is believed at least so much waits for it, or where nothing else is left that tells the
// causes apart.
func (v *view) afterAll(least float64) (Next, bool) {
	c, ok := v.awaited(least)
	if !ok {
		return Next{}, false
	}
	n := v.testNext(c, DoTest)
	if n.Kind == DoTest {
		n.Say = "It could not be done before, and this hangs on it: " + strings.ToLower(n.Say[:1]) + n.Say[1:]
	}
	return n, true
}

// awaited picks the cheapest of the tests that could not be done and that the verdict on
// a fault waits for, the likeliest fault first.
func (v *view) awaited(least float64) (best candidate, found bool) {
	order := make([]int, 0, 8)
	for f, p := range v.marginal {
		if p >= least {
			order = append(order, f)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(v.marginal[b], v.marginal[a]) })
	for _, f := range order {
		for _, t := range v.awaits(f) {
			if c := v.candidate(t); !found || c.cost < best.cost {
				best, found = c, true
			}
		}
		if found {
			return best, true
		}
	}
	return best, false
}

// awaits lists the tests that could not be done, of those that a fault's verdict waits for.
func (v *view) awaits(f int) []int {
	var out []int
	add := func(t int) {
		if v.mayStill(t) && !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	for _, t := range v.measures(v.lacking(f)) {
		add(t)
	}
	if !v.confirmed(f) {
		for _, all := range v.k.confirm[f] {
			for _, c := range all {
				add(c.test)
			}
		}
	}
	return out
}

// mayStill reports whether a test that could not be done is to be put once more.
func (v *view) mayStill(i int) bool {
	t := &v.k.tests[i]
	if !v.s.cannot[i] || v.s.absent[i] || v.s.refused[i] >= askedAgain || v.epochs[v.s.epoch][i].done || t.Once {
		return false
	}
	return v.applies(t) && !v.hopeless(t) && !v.barred(t.State) && !v.tooEarly(t) && !(t.Sticky && v.s.switched) && !(v.shorted && outdoors(t))
}
