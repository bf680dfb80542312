package diagnose

import "time"

// view is everything worked out from a job's state at one moment.
type view struct {
	k   *Knowledge
	s   *state
	now time.Time

	epochs   [][]outcome // by epoch, then by test
	standing []*outcome  // per test, the finding that still holds; nil if none
	warnings []Warning   // contradictions between readings

	mass     []float64     // belief in each hypothesis: single faults, then pairs
	marginal []float64     // belief in each fault, alone or in a pair
	evidence [][]*evidence // by epoch, then by test: the findings that bear on the belief
	ranked   []hypothesis
	paths    map[string][]int
	rivals   []hypothesis
	heard    []testimony
	variant  int // which predictions hold: see valveBit and putBackBit
}

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
