package diagnose

import (
	"errors"
	"slices"
)

// model is the probability of every outcome of every test under every
// hypothesis, worked out once at load.
//
// A fault (or one way in which nothing is wrong) shows itself in one way or in
// several: a weak capacitor leaves the rotor locked, or lets it run hot. A
// hypothesis is one way of one fault, or a pair of ways of two faults. A pair's
// prediction for a test is that of one of the two, or the mean of both, so that
// only a choice is kept for each pair and test.
type model struct {
	nt     int
	ways   []way
	pairs  []pair
	from   []int                   // by way: where its pairs begin, as the first of the two
	rows   [variants][][][]float64 // [variant][way][test] -> probability of each outcome
	pick   [variants][]uint8       // [variant][test*pairs+pair]: first, second, both
	usual  []int                   // the likeliest outcome of each test on a healthy unit
	noGood int                     // the way of "nothing is wrong, every reading is right"

	same        [variants][][]int32 // [variant][test][way]: equal where they predict the same
	predictions int                 // how many are told apart there, at most

	priors  []float64  // of every hypothesis: ways, then pairs
	sets    []faultSet // every fault, and every two that have a pair
	setOf   []int32    // by hypothesis: its faults
	members [][]int32  // by set: its hypotheses
	alone   [][]part   // by fault: its ways by their prior
	cured   [][]bool   // [repair][way]: the repair mends what is wrong in it
	mended  [][]int    // by fault: those that the same repairs put right, itself among them
}

// faultSet is what a hypothesis says is wrong, in whatever way it shows.
type faultSet []int

type way struct {
	fault int
	prior float64
	level int
}

type pair struct{ a, b int32 } // ways, a before b

// A variant of the predictions: with an expansion valve, once a switch that was
// found off is on again, where the subcooling has no target of its own, or several
// of them.
const (
	valveBit   = 1
	putBackBit = 2
	wideBit    = 4
	variants   = 8
)

const (
	first uint8 = iota
	second
	both
)

// pairing is how much more a second fault is to be expected than two faults
// meeting by chance would give: one that doesn't stop the unit waits there until
// another has it looked at. That one call in five or so has two is common practice, no source; of over 4000 systems more than
// half were off in charge (Home Energy May/June 2002), far more than are called for it.
const pairing = 0.55

// dist says where a way's row for a test comes from.
type dist struct {
	row      []float64
	deviates bool // from a healthy unit
	own      bool // the fault's own, not its profile's
}

func newModel(k *Knowledge) (*model, error) {
	m := &model{nt: len(k.tests), noGood: -1}
	l := &loader{k: k}
	var normal [variants][][]float64
	for v := range normal {
		l.wide = v&wideBit != 0
		for _, t := range k.tests {
			shows := t.Normal
			if v&valveBit != 0 && t.NormalValve != "" {
				shows = t.NormalValve
			}
			normal[v] = append(normal[v], l.distribution("", t, shows, farUsual))
		}
	}
	for _, row := range normal[0] {
		m.usual = append(m.usual, top(row))
	}
	var total float64
	for _, f := range k.faults {
		total += f.Prior
	}
	var dists [variants][][]dist
	for i, f := range k.faults {
		if f.ID == "no_fault" {
			m.noGood = len(m.ways)
		}
		for _, w := range k.allWays(f) {
			m.ways = append(m.ways, way{i, w.Share / 100 * f.Prior / total, k.profiles[k.profileAt[w.Profile]].Level})
			for v := range dists {
				row := make([]dist, m.nt)
				out := make([][]float64, m.nt)
				for t := range k.tests {
					row[t] = predict(l, f, w, t, v, normal[v][t])
					out[t] = row[t].row
				}
				dists[v] = append(dists[v], row)
				m.rows[v] = append(m.rows[v], out)
			}
		}
	}
	if m.noGood < 0 {
		return nil, errors.New("diagnose: invalid knowledge: no fault is called no_fault")
	}
	m.pair(k, dists)
	m.index(k)
	m.compare()
	return m, nil
}

// compare works out which ways predict the same for a test.
func (m *model) compare() {
	for v, rows := range m.rows {
		m.same[v] = make([][]int32, m.nt)
		for t := range m.same[v] {
			var kinds [][]float64
			for w := range rows {
				i := slices.IndexFunc(kinds, func(x []float64) bool { return slices.Equal(x, rows[w][t]) })
				if i < 0 {
					i = len(kinds)
					kinds = append(kinds, rows[w][t])
				}
				m.same[v][t] = append(m.same[v][t], int32(i))
			}
			m.predictions = max(m.predictions, len(kinds))
		}
	}
}

// index works out what belongs together: the hypotheses of the same faults, the
// faults of the same repairs, and the ways that a repair cures.
func (m *model) index(k *Knowledge) {
	m.alone = make([][]part, len(k.faults))
	for f := range k.faults {
		m.sets = append(m.sets, faultSet{f})
	}
	for i, w := range m.ways {
		m.setOf = append(m.setOf, int32(w.fault))
		m.alone[w.fault] = append(m.alone[w.fault], part{i, w.prior})
	}
	of := map[[2]int]int32{}
	for _, p := range m.pairs {
		two := [2]int{m.ways[p.a].fault, m.ways[p.b].fault}
		at, ok := of[two]
		if !ok {
			at = int32(len(m.sets))
			of[two] = at
			m.sets = append(m.sets, two[:])
		}
		m.setOf = append(m.setOf, at)
	}
	m.members = make([][]int32, len(m.sets))
	for at, set := range m.setOf {
		m.members[set] = append(m.members[set], int32(at))
	}
	for _, f := range k.faults {
		var same []int
		for g := range k.faults {
			if slices.Equal(f.Repairs, k.faults[g].Repairs) || len(f.Repairs) == 1 && slices.Contains(k.repairs[k.repairAt[f.Repairs[0]]].Also, k.faults[g].ID) {
				same = append(same, g)
			}
		}
		m.mended = append(m.mended, same)
	}
	for _, r := range k.repairs {
		cured := make([]bool, len(m.ways))
		for i, w := range m.ways {
			cured[i] = slices.Contains(k.faults[w.fault].Repairs, r.ID) || slices.Contains(r.Also, k.faults[w.fault].ID)
		}
		m.cured = append(m.cured, cured)
	}
}

// allWays lists the ways in which a fault shows itself, each in every state that
// its profile may be found in; one that lists none has one, its profile's.
func (k *Knowledge) allWays(f Fault) []Way {
	ways := f.Ways
	if len(ways) == 0 {
		ways = []Way{{Share: 100}}
	}
	var out []Way
	for _, w := range ways {
		if w.Profile == "" {
			w.Profile = f.Profile
		}
		at, ok := k.profileAt[w.Profile]
		if !ok || len(k.profiles[at].States) == 0 {
			out = append(out, w)
			continue
		}
		share := w.Share
		for _, s := range k.profiles[at].States {
			w.Share, w.state = share*s.Share/100, s.Shows
			out = append(out, w)
		}
	}
	return out
}

// predict finds what a way of a fault shows on a test: its own words, then the
// fault's, then its profile's, then what every test of a stopped compressor
// shows, then what a healthy unit shows.
func predict(l *loader, f Fault, w Way, t, variant int, normal []float64) dist {
	k := l.k
	l.wide = variant&wideBit != 0
	test := k.tests[t]
	valve := variant&valveBit != 0
	name := w.Profile
	back := variant&putBackBit != 0 && f.PutBack != "" && !test.Sticky && test.ID != "complaint" // what was complained of and found came before
	if back {
		name = f.PutBack
	}
	p := k.profiles[k.profileAt[name]]
	q, _ := k.cat.Quantity(test.Quantity)
	far := farFault
	if w.Slight {
		far = farSlight
	}
	gone := back && q.Kind.Numeric() // what it showed to a meter is gone once the switch is on
	for _, layer := range []struct {
		shows map[TestID]string
		use   bool
		own   bool
	}{{w.Valve, valve, true}, {f.Valve, valve, true}, {w.Shows, !gone, true}, {f.Shows, !gone, true}, {w.state, !back, false}, {p.Valve, valve, false}, {p.Shows, true, false}} {
		if s, ok := layer.shows[test.ID]; ok && layer.use {
			return dist{l.distribution("", test, s, far), true, layer.own}
		}
	}
	if test.Stopped != "" && !p.Compressor {
		return dist{l.distribution("", test, test.Stopped, farUsual), true, false}
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
	for _, w := range m.ways {
		m.priors = append(m.priors, w.prior)
	}
	for a, wa := range m.ways {
		m.from = append(m.from, len(m.pairs))
		for b := a + 1; b < len(m.ways); b++ {
			wb := m.ways[b]
			fa, fb := k.faults[wa.fault], k.faults[wb.fault]
			if wa.fault == wb.fault || fa.Normal || fb.Normal || !plausible(k, fa, fb, dists[0][a], dists[0][b]) {
				continue
			}
			m.pairs = append(m.pairs, pair{int32(a), int32(b)})
			m.priors = append(m.priors, pairing*wa.prior*wb.prior)
		}
	}
	m.from = append(m.from, len(m.pairs))
	for v := range m.pick {
		m.pick[v] = make([]uint8, 0, len(m.pairs)*m.nt)
		for t := range k.tests {
			for _, p := range m.pairs {
				m.pick[v] = append(m.pick[v], choose(k.tests[t], dists[v][p.a][t], dists[v][p.b][t], m.ways[p.a].level, m.ways[p.b].level))
			}
		}
	}
}

// picks tells whose prediction each pair shows on a test.
func (m *model) picks(variant, t int) []uint8 {
	n := len(m.pairs)
	return m.pick[variant][t*n : t*n+n]
}

// plausible leaves out pairs that are one part failed in two ways, or that
// belong to different kinds of unit or season.
func plausible(k *Knowledge, fa, fb Fault, a, b []dist) bool {
	differ := func(x, y string) bool { return x != "" && y != "" && x != y }
	if differ(fa.Mode, fb.Mode) || differ(fa.UnitType, fb.UnitType) || differ(fa.Metering, fb.Metering) || differ(fa.Phase, fb.Phase) {
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
	running := t.Operating || t.ID == "complaint"
	switch {
	case a.deviates && !b.deviates:
		return first
	case b.deviates && !a.deviates:
		return second
	case !a.deviates:
		return first
	case running && la < lb:
		return first
	case running && lb < la:
		return second
	case a.own && !b.own:
		return first
	case b.own && !a.own:
		return second
	}
	return both
}
