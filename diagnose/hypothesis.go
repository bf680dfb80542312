package diagnose

import (
	"cmp"
	"slices"
)

type hypothesis struct {
	faults []int
	p      float64
	parts  []part
}

type part struct {
	at int // in the belief
	p  float64
}

func (v *view) faultsOf(at int) (a, b int) {
	m := v.k.model
	if at < len(m.ways) {
		return m.ways[at].fault, -1
	}
	p := m.pairs[at-len(m.ways)]
	return m.ways[p.a].fault, m.ways[p.b].fault
}

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

func (v *view) rank() {
	const least = 1e-5
	found := map[[2]int]int{}
	out := make([]hypothesis, 0, 64)
	for at, p := range v.mass {
		if p <= least {
			continue
		}
		a, b := v.faultsOf(at)
		i, ok := found[[2]int{a, b}]
		if !ok {
			i = len(out)
			found[[2]int{a, b}] = i
			h := hypothesis{faults: []int{a, b}}
			if b < 0 {
				h.faults = h.faults[:1]
			}
			out = append(out, h)
		}
		out[i].p += p
		out[i].parts = append(out[i].parts, part{at, p})
	}
	const most = 100 // nobody looks further down
	if len(out) > most {
		ps := make([]float64, len(out))
		for i := range out {
			ps[i] = out[i].p
		}
		slices.Sort(ps)
		least := ps[len(ps)-most]
		out = slices.DeleteFunc(out, func(h hypothesis) bool { return h.p < least })
	}
	slices.SortStableFunc(out, func(a, b hypothesis) int { return cmp.Compare(b.p, a.p) })
	v.ranked = out
}

func (v *view) alone(fault int, p float64) hypothesis {
	h := hypothesis{faults: []int{fault}, p: p}
	for _, w := range v.k.model.waysOf[fault] {
		h.parts = append(h.parts, part{w, v.k.model.ways[w].prior})
	}
	return h
}

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
	switch m.pick[v.variant][(at-n)*m.nt+t] {
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
