package diagnose

import (
	"math"
	"slices"
)

// lookahead works out what tests would leave to be paid, over the leading
// hypotheses. What each of them predicts for a test is laid out once, outcome
// by outcome, so that the sums below run over flat rows.
type lookahead struct {
	v     *view
	hs    []hypothesis
	vain  []float64  // by hypothesis: minutes lost where it is decided on in vain
	tests []forecast // by test, laid out when first asked for
	all   stake      // the belief as it is
	then  stake      // scratch: the belief after an outcome
	x     []float64  // scratch
}

// forecast is what the hypotheses predict for one test.
type forecast struct {
	ready bool
	alike bool      // all of them the same: it can't tell them apart
	shows []float64 // [outcome*hypotheses+hypothesis]: its probability
	sure  []float64 // [hypothesis]: sum of q ln q over its outcomes
}

// stake is a belief with what hangs on it: the hypotheses, the probability of
// each (which need not sum to one), and the sum of p ln p.
type stake struct {
	at    []int32
	p     []float64
	vain  []float64
	xlogx float64
}

// lookAhead begins to look ahead from the present belief. The next call for the
// same job ends it.
func (v *view) lookAhead(hs []hypothesis) *lookahead {
	l := &v.s.outlook
	l.v, l.hs, l.vain = v, hs, l.vain[:0]
	if l.tests == nil {
		l.tests = make([]forecast, len(v.k.tests))
	}
	for t := range l.tests {
		l.tests[t].ready = false
	}
	l.all.clear()
	for i, h := range hs {
		l.vain = append(l.vain, callBack+v.partCost(h))
		l.all.add(i, h.p, l.vain[i])
	}
	l.x = append(l.x[:0], l.vain...)
	return l
}

func (b *stake) clear() { b.at, b.p, b.vain, b.xlogx = b.at[:0], b.p[:0], b.vain[:0], 0 }

func (b *stake) add(at int, p, vain float64) {
	b.at, b.p, b.vain = append(b.at, int32(at)), append(b.p, p), append(b.vain, vain)
	b.xlogx += xlogx(p)
}

func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// price is the expected cost of deciding now: the doubt that is left, and the
// call-back and the parts wrongly bought by the best decision.
func (b *stake) price() float64 {
	var mass float64
	for _, p := range b.p {
		mass += p
	}
	if mass == 0 {
		return 0
	}
	return doubt(xlogx(mass)-b.xlogx) + cheapest(b.p, b.vain, mass)
}

// doubt prices an entropy in nats.
func doubt(nats float64) float64 { return perBit / math.Ln2 * nats }

// cheapest is the cost of the best decision: to take one hypothesis for true
// and be wrong as often as it is not.
func cheapest(p, vain []float64, mass float64) float64 {
	least := math.Inf(1)
	for j, c := range vain {
		if x := c * (mass - p[j]); x < least {
			least = x
		}
	}
	return least
}

// of lays out what the hypotheses predict for a test.
func (l *lookahead) of(t int) *forecast {
	f := &l.tests[t]
	if f.ready {
		return f
	}
	n, m, on := len(l.hs), l.v.k.model, l.v.on.variant
	size := n * len(l.v.k.tests[t].Classes)
	f.shows, f.sure = slices.Grow(f.shows[:0], size)[:size], slices.Grow(f.sure[:0], n)[:n]
	f.ready, f.alike = true, true
	var buf [32]float64
	var before []float64
	for j, h := range l.hs {
		var row []float64
		w := m.shownAs(h, t, on)
		if w >= 0 {
			row, f.sure[j] = m.rows[on][w][t], m.sure[on][w][t]
		} else {
			row, f.sure[j] = l.v.row(h, t, buf[:]), 0
			for _, q := range row {
				f.sure[j] += xlogx(q)
			}
		}
		f.alike = f.alike && w >= 0 && (j == 0 || &row[0] == &before[0])
		for c, q := range row {
			f.shows[c*n+j] = q
		}
		before = row
	}
	return f
}

// left is the price that is left, on average, after a test. The sum of x ln x
// over hypotheses and outcomes splits into that of the belief and that of the
// predictions, x being their product, so that no logarithm is taken of each.
func (l *lookahead) left(b *stake, t int) float64 {
	f, n := l.of(t), len(l.hs)
	if f.alike {
		return b.price()
	}
	nats := -b.xlogx
	for i, j := range b.at {
		nats -= b.p[i] * f.sure[j]
	}
	var cost float64
	x := l.x[:len(b.at)]
	for shows := f.shows; len(shows) > 0; shows = shows[n:] {
		var mass float64
		for i, j := range b.at {
			x[i] = b.p[i] * shows[j]
			mass += x[i]
		}
		if mass > 0 {
			nats += mass * math.Log(mass)
			cost += cheapest(x, b.vain, mass)
		}
	}
	return doubt(nats) + cost
}

// further is the rate, over a test and the best one that follows it, at which
// the expected cost falls.
func (l *lookahead) further(c candidate, next []candidate, now float64) float64 {
	t := &l.v.k.tests[c.test]
	n := len(l.hs)
	var left float64
	cost := c.cost
	for shows := l.of(c.test).shows; len(shows) > 0; shows = shows[n:] {
		l.then.clear()
		var mass float64
		for j := range l.hs {
			x := l.all.p[j] * shows[j]
			mass += x
			if x > 1e-4 {
				l.then.add(j, x, l.vain[j])
			}
		}
		if len(l.then.at) == 0 {
			continue
		}
		here := l.then.price()
		then, spent := here, 0.0
		if mass > 0.02 && len(l.then.at) > 1 {
			best := 0.0
			for _, n := range next {
				if n.test == c.test {
					continue
				}
				price := n.cost
				if l.v.k.tests[n.test].State == t.State {
					price = l.v.k.tests[n.test].Minutes + asking
				}
				end := l.left(&l.then, n.test)
				if r := (here - end) / price; r > best {
					best, then, spent = r, end, mass*price
				}
			}
		}
		left += then
		cost += spent
	}
	return max((now-c.left)/c.cost, (now-left)/cost)
}
