package diagnose

import (
	"math"
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
// the given share of the belief. It is not to be appended to.
func (v *view) leading(limit int, share float64) []hypothesis {
	if v.ranked == nil {
		v.rank()
	}
	var sum float64
	for i := 0; i < len(v.ranked) || v.rankNext(); i++ {
		sum += v.ranked[i].p
		if i+1 >= limit || sum >= share {
			return v.ranked[:i+1]
		}
	}
	return v.ranked
}

// ranking puts the hypotheses in order, as far as somebody looks.
type ranking struct {
	slot  []int32 // by set of faults: its place in sums, from one on; 0 if none
	sums  []tally
	hits  []part
	parts []part  // the hits, those of one set together
	heap  []int32 // of sums not yet ranked, the likeliest first
	out   []hypothesis
}

// tally is the belief in one set of faults, and its ways among the parts.
type tally struct {
	set        int32
	begin, end int32
	p          float64
	order      uint64
}

// roughly drops of a probability what the order of the sums may change, so that
// hypotheses that nothing tells apart come in the order of the data.
func roughly(p float64) uint64 { return math.Float64bits(p) >> 20 }

// rank sums the belief in each set of faults, the ways of each taken together.
func (v *view) rank() {
	const least = 1e-5 // nobody looks further down
	m := v.k.model
	r := &v.s.ranking
	if r.slot == nil {
		r.slot = make([]int32, len(m.sets))
	}
	r.hits, r.sums, r.heap = r.hits[:0], r.sums[:0], r.heap[:0]
	for at, p := range v.mass {
		if p <= least {
			continue
		}
		s := &r.slot[m.setOf[at]]
		if *s == 0 {
			r.heap = append(r.heap, int32(len(r.sums)))
			r.sums = append(r.sums, tally{set: m.setOf[at]})
			*s = int32(len(r.sums))
		}
		x := &r.sums[*s-1]
		x.p += p
		x.end++
		r.hits = append(r.hits, part{at, p})
	}
	begin := int32(0)
	for i := range r.sums {
		x := &r.sums[i]
		x.begin, x.end, begin = begin, begin, begin+x.end
		x.order = roughly(x.p)
	}
	r.parts = slices.Grow(r.parts[:0], len(r.hits))[:len(r.hits)]
	for _, h := range r.hits {
		x := &r.sums[r.slot[m.setOf[h.at]]-1]
		r.parts[x.end] = h
		x.end++
	}
	for _, x := range r.sums {
		r.slot[x.set] = 0
	}
	for i := len(r.heap)/2 - 1; i >= 0; i-- {
		r.sink(i)
	}
	v.ranked = r.out[:0]
}

// rankNext ranks one more hypothesis.
func (v *view) rankNext() bool {
	r := &v.s.ranking
	if len(r.heap) == 0 {
		return false
	}
	x := r.sums[r.heap[0]]
	last := len(r.heap) - 1
	r.heap[0] = r.heap[last]
	r.heap = r.heap[:last]
	r.sink(0)
	v.ranked = append(v.ranked, hypothesis{v.k.model.sets[x.set], x.p, r.parts[x.begin:x.end]})
	r.out = v.ranked
	return true
}

// sink puts an entry of the heap in its place below. Equal ones keep the order
// of the data.
func (r *ranking) sink(i int) {
	before := func(a, b int32) bool {
		return r.sums[a].order > r.sums[b].order || r.sums[a].order == r.sums[b].order && a < b
	}
	for {
		next := i
		for child := 2*i + 1; child <= 2*i+2 && child < len(r.heap); child++ {
			if before(r.heap[child], r.heap[next]) {
				next = child
			}
		}
		if next == i {
			return
		}
		r.heap[i], r.heap[next] = r.heap[next], r.heap[i]
		i = next
	}
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
