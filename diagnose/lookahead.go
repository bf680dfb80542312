package diagnose

import (
	"cmp"
	"math"
	"slices"
)

// lookahead works out what tests would leave to be paid, over the leading
// hypotheses. Those that predict the same for a test are taken together.
type lookahead struct {
	v      *view
	belief int // which of the job's beliefs
	hs     []hypothesis
	tests  []forecast // by test, worked out when first asked for
	all    stake      // the belief as it is

	// Scratch.
	then  stake       // the belief after an outcome
	slot  []int32     // by prediction: its group, from one on; 0 if none
	rows  [][]float64 // by group: its prediction
	mixed []float64   // predictions mixed of several ways
	group []group
	rival []rival
}

// forecast is what the hypotheses predict for one test.
type forecast struct {
	ready, priced bool
	left          float64   // what is left after it, of the belief as it is, once priced
	of            []int32   // by hypothesis: its group
	shows         []float64 // [outcome*groups+group]: its probability
	sure          []float64 // by group: sum of q ln q over the outcomes
}

// stake is a belief with what hangs on it, the likeliest hypothesis first.
type stake struct {
	on    []bet
	xlogx float64 // sum of p ln p
}

// bet is the belief in one hypothesis, and the minutes that are lost where it
// is decided on in vain.
type bet struct {
	at      int32 // among the hypotheses
	p, vain float64
}

// group is the belief in the hypotheses that predict the same.
type group struct {
	p      float64
	lowest float64 // the least that is lost by one of them
}

// rival is a hypothesis that may be the best to decide on, whatever is seen.
type rival struct {
	group   int32
	p, vain float64
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
	l.all.clear()
	for i, h := range hs {
		l.all.add(i, h.p, callBack+v.partCost(h))
	}
	l.all.sort()
	return l
}

func (b *stake) clear() { b.on, b.xlogx = b.on[:0], 0 }

func (b *stake) add(at int, p, vain float64) {
	b.on = append(b.on, bet{int32(at), p, vain})
	b.xlogx += xlogx(p)
}

func (b *stake) sort() {
	slices.SortStableFunc(b.on, func(x, y bet) int { return cmp.Compare(y.p, x.p) })
}

func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// price is the expected cost of deciding now: the doubt that is left, and the
// call-back and the parts wrongly bought by the best decision, which takes one
// hypothesis for true and is wrong as often as it is not.
func (b *stake) price() float64 {
	var mass float64
	for _, x := range b.on {
		mass += x.p
	}
	if mass == 0 {
		return 0
	}
	least := math.Inf(1)
	for _, x := range b.on {
		least = min(least, x.vain*(mass-x.p))
	}
	return doubt(xlogx(mass)-b.xlogx) + least
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
	f.ready, f.of, f.sure = true, slices.Grow(f.of[:0], len(l.hs)), f.sure[:0]
	l.rows, l.mixed = l.rows[:0], l.mixed[:0]
	for _, h := range l.hs {
		w := m.shownAs(h, t, on)
		if w < 0 {
			f.of = append(f.of, int32(len(l.rows)))
			row := l.mix(h, t)
			l.rows, f.sure = append(l.rows, row), append(f.sure, sureness(row))
			continue
		}
		s := &l.slot[same[w]]
		if *s == 0 {
			l.rows, f.sure = append(l.rows, m.rows[on][w][t]), append(f.sure, m.sure[on][w][t])
			*s = int32(len(l.rows))
		}
		f.of = append(f.of, *s-1)
	}
	clear(l.slot)
	f.shows = f.shows[:0]
	for c := range l.rows[0] {
		for _, row := range l.rows {
			f.shows = append(f.shows, row[c])
		}
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

// sureness of a prediction is the sum of q ln q over its outcomes.
func sureness(row []float64) (sum float64) {
	for _, q := range row {
		sum += xlogx(q)
	}
	return sum
}

// left is the price that is left, on average, after a test.
//
// The sum of x ln x over hypotheses and outcomes splits into that of the belief
// and that of the predictions, x being their product, so that no logarithm is
// taken of each. And of two hypotheses that predict the same, the one that is
// less likely and not cheaper in vain is never the better to decide on.
func (l *lookahead) left(b *stake, t int) float64 {
	if len(b.on) == 0 {
		return 0
	}
	f := l.of(t)
	n := len(f.sure)
	if n == 1 {
		return b.price()
	}
	l.group, l.rival = slices.Grow(l.group[:0], n)[:n], l.rival[:0]
	for g := range l.group {
		l.group[g] = group{0, math.Inf(1)}
	}
	for _, x := range b.on {
		at := f.of[x.at]
		g := &l.group[at]
		g.p += x.p
		if x.vain < g.lowest {
			g.lowest = x.vain
			l.rival = append(l.rival, rival{at, x.p, x.vain})
		}
	}
	nats := -b.xlogx
	for g, sure := range f.sure {
		nats -= l.group[g].p * sure
	}
	var cost float64
	for shows := f.shows; len(shows) > 0; shows = shows[n:] {
		var mass float64
		for g, q := range shows[:n] {
			mass += l.group[g].p * q
		}
		if mass <= 0 {
			continue
		}
		nats += mass * math.Log(mass)
		least := math.Inf(1)
		for i := range l.rival {
			x := &l.rival[i]
			if loss := x.vain * (mass - x.p*shows[x.group]); loss < least {
				least = loss
			}
		}
		cost += least
	}
	return doubt(nats) + cost
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
	n := len(f.sure)
	var left float64
	cost := c.cost
	for shows := f.shows; len(shows) > 0; shows = shows[n:] {
		l.then.clear()
		var mass float64
		for _, x := range l.all.on {
			p := x.p * shows[f.of[x.at]]
			mass += p
			if p > 1e-4 {
				l.then.add(int(x.at), p, x.vain)
			}
		}
		if len(l.then.on) == 0 {
			continue
		}
		l.then.sort()
		here := l.then.price()
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
