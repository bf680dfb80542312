package diagnose

import (
	"math"
	"slices"
)

// lookahead works out what tests would leave to be paid, over the leading
// hypotheses. Those that lead to the same decision are taken together: to tell
// them apart buys nothing.
type lookahead struct {
	v      *view
	belief int // which of the job's beliefs
	hs     []hypothesis
	does   []int32    // by hypothesis: its decision
	vain   []float64  // by decision: the minutes that are lost where it is taken in vain
	tests  []forecast // by test, worked out when first asked for
	all    stake      // the belief as it is

	// Scratch.
	then  stake       // the belief after an outcome
	slot  []int32     // by prediction: its group, from one on; 0 if none
	rows  [][]float64 // by group: its prediction
	mixed []float64   // predictions mixed of several ways
	at    []int32     // by decision and group: the cell of both, from one on; 0 if none
	cell  []float64   // the belief in each cell
	taken []float64   // by decision: the belief that it is right
}

// forecast is what the hypotheses predict for one test.
type forecast struct {
	ready, priced bool
	left          float64   // what is left after it, of the belief as it is, once priced
	of            []int32   // by hypothesis: its group
	shows         []float64 // [outcome*groups+group]: its probability
	groups        int
	in            []int32 // by hypothesis: its cell
	cells         []cell
}

// cell is what leads to one decision and predicts the same for a test.
type cell struct{ does, group int32 }

// stake is a belief.
type stake struct{ on []bet }

// bet is the belief in one hypothesis.
type bet struct {
	at int32 // among the hypotheses
	p  float64
}

// lookAhead begins to look ahead from the present belief, over the leading
// hypotheses. What it works out hangs on nothing but the belief and the data, and
// is good until the next call for the same job.
func (v *view) lookAhead(hs []hypothesis) *lookahead {
	l := &v.s.outlook
	l.v = v
	if l.belief == v.s.posterior.version && l.belief > 0 && len(l.hs) == len(hs) {
		return l // nothing was learnt since
	}
	l.belief, l.hs = v.s.posterior.version, hs
	if l.tests == nil {
		l.tests, l.slot = make([]forecast, len(v.k.tests)), make([]int32, v.k.model.predictions)
	}
	for t := range l.tests {
		l.tests[t].ready, l.tests[t].priced = false, false
	}
	l.decisions()
	l.all.clear()
	for i, h := range hs {
		l.all.add(i, h.p)
	}
	return l
}

// decisions works out what each hypothesis has done first: the repair of its
// fault, of two the one that is believed more. The other shows once that is done.
func (l *lookahead) decisions() {
	l.does, l.vain = l.does[:0], l.vain[:0]
	first := make([]int32, len(l.v.k.faults)) // by fault: its decision, from one on
	for _, h := range l.hs {
		f := h.faults[0]
		for _, g := range h.faults[1:] {
			if l.v.cause(g) > l.v.cause(f) {
				f = g
			}
		}
		at := &first[f]
		if *at == 0 {
			l.vain = append(l.vain, callBack+l.v.partCost(f))
			*at = int32(len(l.vain))
		}
		l.does = append(l.does, *at-1)
	}
}

func (b *stake) clear() { b.on = b.on[:0] }

func (b *stake) add(at int, p float64) { b.on = append(b.on, bet{int32(at), p}) }

func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * ln(x)
}

// price is the expected cost of deciding now: the doubt that is left about what
// to do, and the call-back and the parts wrongly bought by the best decision,
// which is wrong as often as another would be right.
func (l *lookahead) price(b *stake) float64 {
	l.taken = slices.Grow(l.taken[:0], len(l.vain))[:len(l.vain)]
	clear(l.taken)
	for _, x := range b.on {
		l.taken[l.does[x.at]] += x.p
	}
	return l.worth()
}

// worth prices the belief in each decision.
func (l *lookahead) worth() float64 {
	var mass, nats float64
	for _, p := range l.taken {
		mass += p
		nats -= xlogx(p)
	}
	if mass == 0 {
		return 0
	}
	least, top := math.Inf(1), 0.0
	for d, p := range l.taken {
		if p > 0 {
			least = min(least, l.vain[d]*(mass-p))
			top = max(top, p)
		}
	}
	if top >= enough*mass {
		return least // what doubt is left then is not cleared
	}
	return doubt(nats+xlogx(mass)) + least
}

// doubt prices an entropy in nats.
func doubt(nats float64) float64 { return perBit / math.Ln2 * nats }

// of works out what the hypotheses predict for a test.
func (l *lookahead) of(t int) *forecast {
	f := &l.tests[t]
	if f.ready {
		return f
	}
	m, on := l.v.k.model, l.v.on.variant
	same := m.same[on][t]
	f.ready, f.of = true, slices.Grow(f.of[:0], len(l.hs))
	l.rows, l.mixed = l.rows[:0], l.mixed[:0]
	for _, h := range l.hs {
		w := m.shownAs(h, t, on)
		if w < 0 {
			f.of = append(f.of, int32(len(l.rows)))
			l.rows = append(l.rows, l.mix(h, t))
			continue
		}
		s := &l.slot[same[w]]
		if *s == 0 {
			l.rows = append(l.rows, m.rows[on][w][t])
			*s = int32(len(l.rows))
		}
		f.of = append(f.of, *s-1)
	}
	clear(l.slot)
	f.groups, f.shows = len(l.rows), f.shows[:0]
	for c := range l.rows[0] {
		for _, row := range l.rows {
			f.shows = append(f.shows, row[c])
		}
	}
	l.at = slices.Grow(l.at[:0], len(l.vain)*f.groups)[:len(l.vain)*f.groups]
	clear(l.at)
	f.in, f.cells = f.in[:0], f.cells[:0]
	for i, group := range f.of {
		at := &l.at[int(l.does[i])*f.groups+int(group)]
		if *at == 0 {
			f.cells = append(f.cells, cell{l.does[i], group})
			*at = int32(len(f.cells))
		}
		f.in = append(f.in, *at-1)
	}
	return f
}

// mix is the prediction of a hypothesis that shows itself in several ways.
func (l *lookahead) mix(h hypothesis, t int) []float64 {
	var buf [32]float64
	n := len(l.mixed)
	l.mixed = append(l.mixed, l.v.row(h, t, buf[:])...)
	return l.mixed[n:]
}

// left is the price that is left, on average, after a test.
func (l *lookahead) left(b *stake, t int) float64 {
	if len(b.on) == 0 {
		return 0
	}
	f := l.of(t)
	if f.groups == 1 {
		return l.price(b)
	}
	l.cell = slices.Grow(l.cell[:0], len(f.cells))[:len(f.cells)]
	clear(l.cell)
	for _, x := range b.on {
		l.cell[f.in[x.at]] += x.p
	}
	l.taken = slices.Grow(l.taken[:0], len(l.vain))[:len(l.vain)]
	var sum float64
	for shows := f.shows; len(shows) > 0; shows = shows[f.groups:] {
		clear(l.taken)
		for i, c := range f.cells {
			l.taken[c.does] += l.cell[i] * shows[c.group]
		}
		sum += l.worth()
	}
	return sum
}

// leftNow is the price that is left, on average, after a test done now.
func (l *lookahead) leftNow(t int) float64 {
	f := &l.tests[t]
	if !f.priced {
		f.left = l.left(&l.all, t)
		f.priced = true
	}
	return f.left
}

// further is the rate, over a test and the best one that follows it, at which
// the expected cost falls.
func (l *lookahead) further(c candidate, next []candidate, now float64) float64 {
	t := &l.v.k.tests[c.test]
	f := l.of(c.test)
	var left float64
	cost := c.cost
	for shows := f.shows; len(shows) > 0; shows = shows[f.groups:] {
		l.then.clear()
		var mass float64
		for _, x := range l.all.on {
			p := x.p * shows[f.of[x.at]]
			mass += p
			if p > 1e-4 {
				l.then.add(int(x.at), p)
			}
		}
		if len(l.then.on) == 0 {
			continue
		}
		here := l.price(&l.then)
		then, spent := here, 0.0
		if mass > 0.02 && len(l.then.on) > 1 {
			best := 0.0
			for _, follow := range next {
				if follow.test == c.test {
					continue
				}
				price := follow.cost
				if l.v.k.tests[follow.test].State == t.State {
					price = l.v.k.tests[follow.test].Minutes + asking
				}
				if here <= best*price { // not even if it left nothing
					continue
				}
				end := l.left(&l.then, follow.test)
				if r := (here - end) / price; r > best+1e-9 {
					best, then, spent = r, end, mass*price
				}
			}
		}
		left += then
		cost += spent
	}
	return max((now-c.left)/c.cost, (now-left)/cost)
}
