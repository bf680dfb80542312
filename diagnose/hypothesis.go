package diagnose

import "math"

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
	of    int       // which of the job's beliefs
	sums  []float64 // by set of faults: the belief in it
	heap  []tally   // those not yet ranked, the likeliest first
	parts []part
	out   []hypothesis
}

// tally is the belief in one set of faults, roughly.
type tally struct {
	set   int32
	order uint64
}

// roughly drops of a probability what the order of the sums may change, so that
// hypotheses that nothing tells apart come in the order of the data.
func roughly(p float64) uint64 { return math.Float64bits(p) >> 20 }

// unseen is a belief that nobody looks at.
const unseen = 1e-5

// rank sums the belief in each set of faults, the ways of each taken together.
func (v *view) rank() {
	m := v.k.model
	r := &v.s.ranking
	if r.of == v.s.posterior.version {
		v.ranked = r.out
		return
	}
	r.of = v.s.posterior.version
	if r.sums == nil {
		r.sums = make([]float64, len(m.sets))
	}
	clear(r.sums)
	r.heap, r.parts, r.out = r.heap[:0], r.parts[:0], r.out[:0]
	for at, p := range v.mass {
		if p <= unseen {
			continue
		}
		sum := &r.sums[m.setOf[at]]
		if *sum == 0 {
			r.heap = append(r.heap, tally{set: m.setOf[at]})
		}
		*sum += p
	}
	for i := range r.heap {
		r.heap[i].order = roughly(r.sums[r.heap[i].set])
	}
	for i := len(r.heap)/2 - 1; i >= 0; i-- {
		r.sink(i)
	}
	v.ranked = r.out
}

// rankNext ranks one more hypothesis.
func (v *view) rankNext() bool {
	m, r := v.k.model, &v.s.ranking
	if len(r.heap) == 0 {
		return false
	}
	set := r.heap[0].set
	last := len(r.heap) - 1
	r.heap[0] = r.heap[last]
	r.heap = r.heap[:last]
	r.sink(0)
	n := len(r.parts)
	for _, at := range m.members[set] {
		if p := v.mass[at]; p > unseen {
			r.parts = append(r.parts, part{int(at), p})
		}
	}
	v.ranked = append(v.ranked, hypothesis{m.sets[set], r.sums[set], r.parts[n:len(r.parts):len(r.parts)]})
	r.out = v.ranked
	return true
}

// sink puts an entry of the heap in its place below.
func (r *ranking) sink(i int) {
	before := func(a, b tally) bool { return a.order > b.order || a.order == b.order && a.set < b.set }
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

// cause is the belief in everything that the same repairs as a fault's put right:
// to tell it apart buys nothing. What is wrong at a terminal or a wire is told
// apart, for the hands have to find it, and so is what has no repair.
func (v *view) cause(f int) float64 {
	own := v.k.faults[f].Repairs
	if len(own) == 0 || own[0] == "repair_terminal" {
		return v.marginal[f]
	}
	var sum float64
	for _, g := range v.k.model.mended[f] {
		sum += v.marginal[g]
	}
	return min(sum, 1)
}
