package diagnose

import (
	"errors"
)

// model is the probability of every outcome of every test under every
// hypothesis, worked out once at load.
//
// A hypothesis is one fault (or one way in which nothing is wrong), or a pair
// of faults. A pair's prediction for a test is that of one of the two, or the
// mean of both, so that only a choice is kept for each pair and test.
type model struct {
	nt     int
	single []float64 // prior of each fault
	pairs  []pair
	rows   [variants][][][]float64 // [variant][fault][test] -> probability of each outcome
	pick   [variants][]uint8       // [variant][pair*nt+test]: first, second, both
	usual  []int                   // the likeliest outcome of each test on a healthy unit
	noGood int                     // the index of "nothing is wrong, every reading is right"
}

// A variant of the predictions: with an expansion valve, or once a switch that
// was found off is on again, or both.
const (
	valveBit   = 1
	putBackBit = 2
	variants   = 4
)

type pair struct {
	a, b  int
	prior float64
}

const (
	first uint8 = iota
	second
	both
)

// pairing is how much more a second fault is to be expected than two faults
// meeting by chance would give: faults are looked for once one has shown.
// Common practice, no source.
const pairing = 0.35

// dist says where a fault's row for a test comes from.
type dist struct {
	row      []float64
	deviates bool // from a healthy unit
	own      bool // the fault's own, not its profile's
}

func newModel(k *Knowledge) (*model, error) {
	m := &model{nt: len(k.tests), noGood: -1}
	l := &loader{k: k}
	var total float64
	for _, f := range k.faults {
		total += f.Prior
	}
	for i, f := range k.faults {
		m.single = append(m.single, f.Prior/total)
		if f.ID == "no_fault" {
			m.noGood = i
		}
	}
	if m.noGood < 0 {
		return nil, errors.New("diagnose: invalid knowledge: no fault is called no_fault")
	}
	normal := make([][]float64, m.nt)
	for t := range k.tests {
		normal[t] = l.distribution("", k.tests[t], k.tests[t].Normal)
		m.usual = append(m.usual, top(normal[t]))
	}
	var dists [variants][][]dist
	for v := range dists {
		dists[v] = make([][]dist, len(k.faults))
		for i, f := range k.faults {
			p := k.profiles[k.profileAt[f.Profile]]
			if v&putBackBit != 0 && f.PutBack != "" {
				p = k.profiles[k.profileAt[f.PutBack]]
				f.Shows = onlySeen(k, f.Shows)
			}
			row := make([]dist, m.nt)
			out := make([][]float64, m.nt)
			for t := range k.tests {
				row[t] = m.predict(l, f, p, t, v&valveBit != 0, normal[t])
				out[t] = row[t].row
			}
			dists[v][i] = row
			m.rows[v] = append(m.rows[v], out)
		}
	}
	m.pair(k, dists)
	return m, nil
}

// onlySeen keeps what a fault shows to a look: what it showed to a meter is
// gone once the switch is on.
func onlySeen(k *Knowledge, shows map[TestID]string) map[TestID]string {
	out := map[TestID]string{}
	for id, s := range shows {
		if q, _ := k.cat.Quantity(k.tests[k.testAt[id]].Quantity); !q.Kind.Numeric() {
			out[id] = s
		}
	}
	return out
}

// predict finds what a fault shows on a test: its own words, then its
// profile's, then what every test of a stopped compressor shows, then what a
// healthy unit shows.
func (m *model) predict(l *loader, f Fault, p profile, t int, valve bool, normal []float64) dist {
	test := l.k.tests[t]
	if s, ok := f.Valve[test.ID]; ok && valve {
		return dist{l.distribution("", test, s), true, true}
	}
	if s, ok := f.Shows[test.ID]; ok {
		return dist{l.distribution("", test, s), true, true}
	}
	if s, ok := p.Valve[test.ID]; ok && valve {
		return dist{l.distribution("", test, s), true, false}
	}
	if s, ok := p.Shows[test.ID]; ok {
		return dist{l.distribution("", test, s), true, false}
	}
	if test.Condition == "compressor_on" && !p.Compressor {
		flat := make([]float64, len(test.Classes))
		for c := range flat {
			flat[c] = 1 / float64(len(flat))
		}
		return dist{flat, true, false}
	}
	return dist{normal, false, false}
}

func (m *model) pair(k *Knowledge, dists [variants][][]dist) {
	for a := range k.faults {
		for b := a + 1; b < len(k.faults); b++ {
			if k.faults[a].Normal || k.faults[b].Normal || !plausible(k, dists[0][a], dists[0][b], a, b) {
				continue
			}
			m.pairs = append(m.pairs, pair{a, b, pairing * m.single[a] * m.single[b]})
		}
	}
	for v := range m.pick {
		m.pick[v] = make([]uint8, len(m.pairs)*m.nt)
		for i, p := range m.pairs {
			la := k.profiles[k.profileAt[k.faults[p.a].Profile]].Level
			lb := k.profiles[k.profileAt[k.faults[p.b].Profile]].Level
			for t := range k.tests {
				m.pick[v][i*m.nt+t] = choose(k.tests[t], dists[v][p.a][t], dists[v][p.b][t], la, lb)
			}
		}
	}
}

// plausible leaves out pairs that are one part failed in two ways, or that
// belong to different kinds of unit or season.
func plausible(k *Knowledge, a, b []dist, ia, ib int) bool {
	fa, fb := k.faults[ia], k.faults[ib]
	differ := func(x, y string) bool { return x != "" && y != "" && x != y }
	if differ(fa.Mode, fb.Mode) || differ(fa.UnitType, fb.UnitType) || differ(fa.Metering, fb.Metering) {
		return false
	}
	for t := range a {
		if a[t].own && b[t].own && !k.tests[t].Operating && k.tests[t].ID != "complaint" && top(a[t].row) != top(b[t].row) {
			return false
		}
	}
	return true
}

func top(row []float64) int {
	best := 0
	for i, p := range row {
		if p > row[best] {
			best = i
		}
	}
	return best
}

// choose tells whose prediction a pair shows on one test. On a running test the
// fault nearer to the supply hides the other.
func choose(t Test, a, b dist, la, lb int) uint8 {
	switch {
	case a.deviates && !b.deviates:
		return first
	case b.deviates && !a.deviates:
		return second
	case !a.deviates:
		return first
	case t.Operating && la < lb:
		return first
	case t.Operating && lb < la:
		return second
	case a.own && !b.own:
		return first
	case b.own && !a.own:
		return second
	}
	return both
}
