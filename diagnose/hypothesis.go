package diagnose

import (
	"cmp"
	"slices"
)

// hypothesis is one explanation: one fault or a pair, in every way that it may
// show itself.
type hypothesis struct {
	faults faultSet
	p      float64
	parts  []part
}

// part is one way of a hypothesis and the belief in it.
type part struct {
	at int // in the belief
	p  float64
}

// leading lists the most probable hypotheses, at most limit, until they hold
// the given share of the belief.
func (v *view) leading(limit int, share float64) []hypothesis {
	if v.ranked == nil {
		v.rank()
	}
	var sum float64
	for i, h := range v.ranked {
		sum += h.p
		if i+1 >= limit || sum >= share {
			return v.ranked[:i+1]
		}
	}
	return v.ranked
}

// rank puts the hypotheses in order, the ways of each taken together.
func (v *view) rank() {
	const least, most = 1e-5, 100 // nobody looks further down
	m := v.k.model
	slot := make([]int32, len(m.sets)) // its place in out, from one on
	out := make([]hypothesis, 0, 2*most)
	var hits []part
	for at, p := range v.mass {
		if p <= least {
			continue
		}
		s := &slot[m.setOf[at]]
		if *s == 0 {
			out = append(out, hypothesis{faults: m.sets[m.setOf[at]]})
			*s = int32(len(out))
		}
		out[*s-1].p += p
		hits = append(hits, part{at, p})
	}
	parts := make([][]part, len(out))
	for _, x := range hits {
		i := slot[m.setOf[x.at]] - 1
		parts[i] = append(parts[i], x)
	}
	for i := range out {
		out[i].parts = parts[i]
	}
	slices.SortStableFunc(out, func(a, b hypothesis) int { return cmp.Compare(b.p, a.p) })
	for len(out) > most && out[len(out)-1].p < out[most-1].p {
		out = out[:len(out)-1]
	}
	v.ranked = out
}

// alone is the hypothesis of one fault, its ways by their prior, whatever is
// believed of it by now.
func (v *view) alone(fault int, p float64) hypothesis {
	m := v.k.model
	return hypothesis{faults: m.sets[fault], p: p, parts: m.alone[fault]}
}

// row is what a hypothesis predicts for a test.
func (v *view) row(h hypothesis, t int, buf []float64) []float64 {
	if len(h.parts) == 1 {
		return v.rowAt(h.parts[0].at, t, buf)
	}
	var own [32]float64
	buf = buf[:len(v.k.tests[t].Classes)]
	clear(buf)
	var total float64
	for _, x := range h.parts {
		total += x.p
		for c, p := range v.rowAt(x.at, t, own[:]) {
			buf[c] += x.p * p
		}
	}
	for c := range buf {
		buf[c] /= total
	}
	return buf
}

func (v *view) rowAt(at, t int, buf []float64) []float64 {
	m := v.k.model
	rows := m.rows[v.variant]
	n := len(m.ways)
	if at < n {
		return rows[at][t]
	}
	p := m.pairs[at-n]
	switch m.pick[v.variant][t*len(m.pairs)+at-n] {
	case first:
		return rows[p.a][t]
	case second:
		return rows[p.b][t]
	}
	a, b := rows[p.a][t], rows[p.b][t]
	buf = buf[:len(a)]
	for c := range a {
		buf[c] = (a[c] + b[c]) / 2
	}
	return buf
}

// likelihood is how likely a hypothesis made a finding of a test.
func (v *view) likelihood(h hypothesis, t int, x *evidence) float64 {
	m := v.k.model
	n := len(m.ways)
	pick := m.picks(v.variant, t)
	var like, total float64
	for _, part := range h.parts {
		one := 0.0
		if part.at < n {
			one = x.like[part.at]
		} else {
			p, s := m.pairs[part.at-n], share[pick[part.at-n]]
			one = s.a*x.like[p.a] + s.b*x.like[p.b]
		}
		like += part.p * one
		total += part.p
	}
	like /= total
	if x.twice {
		like *= like
	}
	return like
}
