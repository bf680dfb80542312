package diagnose

import (
	"time"

	"callout/catalogue"
)

// view is everything worked out from a job's state at one moment.
type view struct {
	k   *Knowledge
	s   *state
	now time.Time

	epochs   [][]outcome // by epoch, then by test
	standing []*outcome  // per test, the finding that still holds; nil if none
	warnings []Warning   // contradictions between readings

	mass     []float64 // belief in each hypothesis: single faults, then pairs
	marginal []float64 // belief in each fault, alone or in a pair
	ranked   []hypothesis
	paths    map[string][]int
	rivals   []hypothesis
	variant  int // which predictions hold: see valveBit and putBackBit
}

// cureRate is the probability that a repair, done, has mended its fault.
// Common practice, no source.
const cureRate = 0.97

func (s *state) look(now time.Time) *view {
	v := &view{k: s.k, s: s, now: now}
	if m := s.metering(); m == "txv" || m == "eev" {
		v.variant |= valveBit
	}
	if len(s.trips) > 0 {
		v.variant |= putBackBit
	}
	for e := 0; e <= s.epoch; e++ {
		v.epochs = append(v.epochs, s.outcomes(e))
	}
	v.conflicts()
	v.stand()
	v.believe()
	return v
}

// outcomes works out what every test showed in one epoch.
func (s *state) outcomes(epoch int) []outcome {
	out := make([]outcome, len(s.k.tests))
	seen := make([]bool, len(s.k.tests))
	v := &view{k: s.k, s: s}
	for _, r := range s.records {
		if r.epoch > epoch || r.epoch < epoch && !ambient(r.in) {
			continue
		}
		for _, i := range s.k.answers[r.in] {
			if !seen[i] {
				seen[i] = true
				if !v.applies(&s.k.tests[i]) {
					continue
				}
				out[i] = s.outcomeOf(i, epoch)
			}
		}
	}
	return out
}

// conflicts names findings of the same time that can't both be, and takes both
// out of the belief until they are measured again.
func (v *view) conflicts() {
	now := v.epochs[v.s.epoch]
	for i := range now {
		if o := &now[i]; o.done && o.conflict != "" {
			v.warnings = append(v.warnings, Warning{ID: "contradicts_reading", Seq: o.seq, With: o.with, Text: o.conflict})
		}
	}
	for _, c := range v.k.conflicts {
		a, b := &now[c.a.test], &now[c.b.test]
		if !a.in(c.a) || !b.in(c.b) || a.segment != b.segment {
			continue
		}
		old, young := a, b
		if a.seq > b.seq {
			old, young = b, a
		}
		v.warnings = append(v.warnings, Warning{ID: "contradicts_reading", Seq: young.seq, With: []uint64{old.seq}, Text: c.Say})
		twiceA, twiceB := v.s.repeated(c.a.test), v.s.repeated(c.b.test)
		if twiceA && twiceB {
			continue // said twice each: it is what it is
		}
		a.counts, a.again = false, !twiceA
		b.counts, b.again = false, !twiceB
	}
}

// repeated reports whether a test was answered more than once in this epoch.
func (s *state) repeated(i int) bool {
	t := &s.k.tests[i]
	return len(s.find(t, Input{Quantity: t.Quantity, Place: t.Place}, s.epoch)) > 1
}

// stand finds for each test the finding that still holds: this epoch's, or an
// earlier one of a thing at rest that no repair has touched since.
func (v *view) stand() {
	v.standing = make([]*outcome, len(v.k.tests))
	for i := range v.k.tests {
		for e := v.s.epoch; e >= 0; e-- {
			if o := &v.epochs[e][i]; o.done {
				v.standing[i] = o
				break
			}
			if e == 0 || v.k.tests[i].Operating && !v.k.tests[i].Sticky && v.k.tests[i].ID != "start_volts" || v.touched(e-1, i) {
				break
			}
		}
	}
}

// touched reports whether the repair that ended an epoch makes a test's
// earlier finding out of date.
func (v *view) touched(epoch, test int) bool {
	for _, r := range v.s.repairs {
		if r.epoch == epoch && v.k.repairs[v.k.repairAt[r.id]].remeasure[test] {
			return true
		}
	}
	return false
}

func (v *view) holds(c clause) bool {
	o := v.standing[c.test]
	return o != nil && o.in(c)
}

func (v *view) anyHolds(list []clause) bool {
	for _, c := range list {
		if v.holds(c) {
			return true
		}
	}
	return false
}

func (v *view) allHold(list []clause) bool {
	for _, c := range list {
		if !v.holds(c) {
			return false
		}
	}
	return true
}

// believe works out the exact posterior over every hypothesis: the prior, times
// the likelihood of every finding that counts, epoch by epoch. Between epochs a
// repair moves belief from what it cures to what is left. The products are
// brought back to a sum of one every few findings, so that none underflows.
func (v *view) believe() {
	m := v.k.model
	n := len(m.ways)
	v.mass = make([]float64, n+len(m.pairs))
	mode := v.s.mode()
	unit, metering := v.s.mark("unit_type"), v.s.metering()
	fits := make([]float64, n)
	for i, w := range m.ways {
		f := &v.k.faults[w.fault]
		fits[i] = 1
		switch {
		case f.Mode != "" && mode == "":
			fits[i] = 0.5
		case f.Mode != "" && f.Mode != mode,
			f.UnitType != "" && unit != "" && f.UnitType != string(unit),
			f.Metering != "" && metering != "" && f.Metering != string(metering):
			fits[i] = 0
		}
		v.mass[i] = w.prior * fits[i]
	}
	for j, p := range m.pairs {
		v.mass[n+j] = p.prior * fits[p.a] * fits[p.b]
	}
	normalise(v.mass)
	for e, outs := range v.epochs {
		n := 0
		for t := range outs {
			if o := &outs[t]; o.done && o.counts {
				v.update(t, o)
				if n++; n%8 == 0 {
					normalise(v.mass)
				}
			}
		}
		normalise(v.mass)
		if e == 0 { // seen before anything was mended
			v.notFitted()
			v.cameOn()
			v.unseated()
		}
		for _, r := range v.s.repairs {
			if r.epoch == e {
				v.repair(r.id)
			}
		}
	}
	v.marginal = make([]float64, len(v.k.faults))
	for i, w := range m.ways {
		v.marginal[w.fault] += v.mass[i]
	}
	for j, p := range m.pairs {
		v.marginal[m.ways[p.a].fault] += v.mass[n+j]
		v.marginal[m.ways[p.b].fault] += v.mass[n+j]
	}
}

// cameOn weighs that the unit stood still and then ran with nothing done to it,
// or that it stood still for longer than any delay lasts.
func (v *view) cameOn() {
	const seldom = 0.02 // a fault that comes and goes, or a look misjudged
	var weigh func(f *Fault) float64
	switch {
	case v.s.cameOn:
		weigh = func(f *Fault) float64 { return max(seldom, f.CameOn) }
	case v.s.heldTooLong():
		weigh = func(f *Fault) float64 { return max(seldom, 1-2*f.CameOn) }
	default:
		return
	}
	m := v.k.model
	by := make([]float64, len(v.k.faults))
	for f := range by {
		by[f] = weigh(&v.k.faults[f])
	}
	for i, w := range m.ways {
		v.mass[i] *= by[w.fault]
	}
	for j, p := range m.pairs {
		v.mass[len(m.ways)+j] *= min(by[m.ways[p.a].fault], by[m.ways[p.b].fault])
	}
	normalise(v.mass)
}

// unseated weighs that the unit had no supply until its disconnect was found
// loose and put in again: something else would hardly have healed by that.
func (v *view) unseated() {
	if !v.s.unseated {
		return
	}
	const hardly = 0.05
	m := v.k.model
	by := make([]float64, len(v.k.faults))
	for f := range by {
		by[f] = hardly
		if x := &v.k.faults[f]; x.PutBack != "" && x.Shows["connection_disconnect"] != "" {
			by[f] = 1
		}
	}
	for i, w := range m.ways {
		v.mass[i] *= by[w.fault]
	}
	for j, p := range m.pairs {
		v.mass[len(m.ways)+j] *= max(by[m.ways[p.a].fault], by[m.ways[p.b].fault])
	}
	normalise(v.mass)
}

// absent is how likely it is that a part that matters can't be tested, against
// one that is not fitted. Common practice, no source.
const absent = 0.2

// notFitted takes an optional part's test that can't be done as a sign that the
// part is not there.
func (v *view) notFitted() {
	m := v.k.model
	n := len(m.ways)
	for t := range v.s.cannot {
		if !v.k.tests[t].Optional {
			continue
		}
		less := make([]bool, n)
		for i, w := range m.ways {
			_, shows := v.k.faults[w.fault].Shows[v.k.tests[t].ID]
			if less[i] = shows && top(m.rows[v.variant][i][t]) != m.usual[t]; less[i] {
				v.mass[i] *= absent
			}
		}
		for j, p := range m.pairs {
			if less[p.a] || less[p.b] {
				v.mass[n+j] *= absent
			}
		}
	}
	normalise(v.mass)
}

func (v *view) update(t int, o *outcome) {
	m := v.k.model
	n := len(m.ways)
	like := make([]float64, n)
	for i := range like {
		like[i] = o.likelihood(m.rows[v.variant][i][t])
		v.mass[i] *= like[i]
	}
	pick := m.pick[v.variant]
	for j, p := range m.pairs {
		switch pick[j*m.nt+t] {
		case first:
			v.mass[n+j] *= like[p.a]
		case second:
			v.mass[n+j] *= like[p.b]
		default:
			v.mass[n+j] *= (like[p.a] + like[p.b]) / 2
		}
	}
}

func normalise(p []float64) {
	var sum float64
	for _, x := range p {
		sum += x
	}
	if sum <= 0 {
		return
	}
	for i := range p {
		p[i] /= sum
	}
}

// cures reports whether a repair mends what is wrong in a way of a fault.
func (v *view) cures(id catalogue.RepairID, way int) bool {
	for _, r := range v.k.faults[v.k.model.ways[way].fault].Repairs {
		if r == id {
			return true
		}
	}
	return false
}

// repair moves belief to what is left once a repair is done.
func (v *view) repair(id catalogue.RepairID) {
	m := v.k.model
	n := len(m.ways)
	for i := 0; i < n; i++ {
		if v.cures(id, i) {
			v.mass[m.noGood] += cureRate * v.mass[i]
			v.mass[i] *= 1 - cureRate
		}
	}
	for j, p := range m.pairs {
		left := -1
		switch a, b := v.cures(id, p.a), v.cures(id, p.b); {
		case a && b:
			left = m.noGood
		case a:
			left = p.b
		case b:
			left = p.a
		default:
			continue
		}
		v.mass[left] += cureRate * v.mass[n+j]
		v.mass[n+j] *= 1 - cureRate
	}
}

// hypothesis is one explanation: one fault or a pair, in every way that it may
// show itself.
// part is one way of a hypothesis and the belief in it.
// leading lists the most probable hypotheses, at most limit, until they hold
// the given share of the belief.
// rank puts the hypotheses in order, the ways of each taken together.
// alone is the hypothesis of one fault, its ways by their prior, whatever is
// believed of it by now.
// row is what a hypothesis predicts for a test.
