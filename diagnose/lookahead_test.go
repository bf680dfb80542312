package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The looking ahead once more, as plainly as its definition is written: every
// posterior by itself, a logarithm for every term.

// plainDoes is the fault that a hypothesis would have mended first.
func plainDoes(v *view, h hypothesis) int {
	f := h.faults[0]
	if len(h.faults) == 2 && v.cause(h.faults[1]) > v.cause(f) {
		f = h.faults[1]
	}
	return f
}

func plainPrice(v *view, hs []hypothesis) float64 {
	var mass, nats float64
	for _, h := range hs {
		mass += h.p
	}
	if mass == 0 {
		return 0
	}
	least, most := math.Inf(1), 0.0
	for _, h := range hs {
		f, right := plainDoes(v, h), 0.0
		for _, g := range hs {
			if plainDoes(v, g) == f {
				right += g.p
			}
		}
		if h.p > 0 {
			nats -= h.p * math.Log(right/mass)
		}
		least, most = math.Min(least, (callBack+v.partCost(f))*(mass-right)), math.Max(most, right)
	}
	if most >= enough*mass {
		return least
	}
	return perBit*nats/math.Ln2 + least
}

// plainAfter is the belief after an outcome, its sum the outcome's probability.
func plainAfter(v *view, hs []hypothesis, t, c int) []hypothesis {
	var out []hypothesis
	for _, h := range hs {
		h.p *= v.row(h, t, make([]float64, 32))[c]
		out = append(out, h)
	}
	return out
}

func plainLeft(v *view, hs []hypothesis, t int) (sum float64) {
	for c := range v.k.tests[t].Classes {
		sum += plainPrice(v, plainAfter(v, hs, t, c))
	}
	return sum
}

func plainFurther(v *view, hs []hypothesis, c candidate, next []candidate, now float64) float64 {
	left, cost := 0.0, c.cost
	for k := range v.k.tests[c.test].Classes {
		var after []hypothesis
		var mass float64
		for _, h := range plainAfter(v, hs, c.test, k) {
			mass += h.p
			if h.p > 1e-4 {
				after = append(after, h)
			}
		}
		here := plainPrice(v, after)
		then, spent, best := here, 0.0, 0.0
		for _, n := range next {
			if n.test == c.test || mass <= 0.02 || len(after) < 2 {
				continue
			}
			price := n.cost
			if v.k.tests[n.test].State == v.k.tests[c.test].State {
				price = v.k.tests[n.test].Minutes + asking
			}
			if end := plainLeft(v, after, n.test); (here-end)/price > best+1e-9 {
				best, then, spent = (here-end)/price, end, mass*price
			}
		}
		left += then
		cost += spent
	}
	return max((now-c.left)/c.cost, (now-left)/cost)
}

// TestLookaheadIsWhatItSays holds the fast sums against the plain ones, in the
// belief of calls that go anywhere.
func TestLookaheadIsWhatItSays(t *testing.T) {
	k := knowledge(t)
	held := 0
	for s := range 8 {
		rng := rand.New(rand.NewPCG(uint64(s), 7))
		j := k.NewJob()
		var next Next
		c := clocked{now: start}
		for range 25 {
			c.add(j, wild(k, rng, next))
			next = j.Assess(c.now).Next
			if rng.IntN(4) > 0 {
				continue
			}
			v := j.state.look(c.now)
			hs, cs := v.leading(48, 0.997), v.candidates()
			l := v.lookAhead(hs)
			price := l.price(&l.all)
			assert.InDelta(t, plainPrice(v, hs), price, 1e-9)
			for i := range cs {
				cs[i].left = l.left(&l.all, cs[i].test)
				assert.InDelta(t, plainLeft(v, hs, cs[i].test), cs[i].left, 1e-9, "%s", k.tests[cs[i].test].ID)
			}
			for i := 0; i < min(3, len(cs)); i++ {
				c := cs[rng.IntN(len(cs))]
				assert.InDelta(t, plainFurther(v, hs, c, cs[:min(8, len(cs))], price), l.further(c, cs[:min(8, len(cs))], price), 1e-9)
				held++
			}
		}
	}
	assert.Greater(t, held, 50)
}
