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
	r := &v.s.ranking
	if r.slot == nil {
		r.slot = make([]int32, len(m.sets))
	}
	r.hits, r.sums = r.hits[:0], r.sums[:0]
	for at, p := range v.mass {
		if p <= least {
			continue
		}
		set := m.setOf[at]
		if r.slot[set] == 0 {
			r.sums = append(r.sums, tally{set: set, order: int32(len(r.sums))})
			r.slot[set] = int32(len(r.sums))
		}
		x := &r.sums[r.slot[set]-1]
		x.p += p
		x.ways++
		r.hits = append(r.hits, part{at, p})
	}
	slices.SortFunc(r.sums, func(a, b tally) int { return cmp.Or(cmp.Compare(b.p, a.p), cmp.Compare(a.order, b.order)) })
	n := len(r.sums)
	for n > most && r.sums[n-1].p < r.sums[most-1].p {
		n--
	}
	out := make([]hypothesis, n)
	parts := make([]part, len(r.hits)) // of all, one after the other
	for i := range r.sums {
		x := &r.sums[i]
		r.slot[x.set] = int32(i)
		if i < n {
			out[i] = hypothesis{m.sets[x.set], x.p, parts[:0:x.ways]}
			parts = parts[x.ways:]
		}
	}
	for _, x := range r.hits {
		if i := r.slot[m.setOf[x.at]]; int(i) < n {
			out[i].parts = append(out[i].parts, x)
		}
	}
	for _, x := range r.sums {
		r.slot[x.set] = 0
	}
	v.ranked = out
}

// ranking is the scratch of rank.
type ranking struct {
	slot []int32 // by set: its place in sums, from one on; 0 if none
	sums []tally
	hits []part
}

// tally is the belief in one set of faults, and in how many ways.
type tally struct {
	set   int32
	ways  int32
	order int32 // as met
	p     float64
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
	rows := m.rows[v.on.variant]
	n := len(m.ways)
	if at < n {
		return rows[at][t]
	}
	p := m.pairs[at-n]
	switch m.pick[v.on.variant][t*len(m.pairs)+at-n] {
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
	pick := m.picks(v.on.variant, t)
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

// shownAs is a way whose prediction for a test is the hypothesis's, -1 where it
// is mixed of several.
func (m *model) shownAs(h hypothesis, t, variant int) int {
	n, same, pick := len(m.ways), m.same[variant][t], m.picks(variant, t)
	as := -1
	for _, x := range h.parts {
		w := x.at
		if w >= n {
			p := m.pairs[w-n]
			switch w = int(p.a); pick[x.at-n] {
			case second:
				w = int(p.b)
			case both:
				if same[p.a] != same[p.b] {
					return -1
				}
			}
		}
		if as >= 0 && same[as] != same[w] {
			return -1
		}
		as = w
	}
	return as
}
