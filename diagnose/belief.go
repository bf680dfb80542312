package diagnose

import (
	"callout/diagnose/energy"
	"slices"
	"time"
)

// view is everything worked out from a job's state at one moment.
type view struct {
	k        *Knowledge
	s        *state
	now      time.Time
	settling bool // see keptOff

	epochs   [][]outcome // by epoch, then by test
	standing []*outcome  // per test, the finding that still holds; nil if none
	warnings []Warning   // contradictions between readings

	mass     []float64     // belief in each hypothesis: single faults, then pairs
	marginal []float64     // belief in each fault, alone or in a pair
	evidence [][]*evidence // by epoch, then by test: the findings that bear on the belief
	ranked   []hypothesis
	from     *Energy // where the ways to the tests are counted from
	on       circumstances
	shorted  bool
}

func (s *state) look(now time.Time) *view {
	v := &view{k: s.k, s: s, now: now, from: &s.energy, on: s.circumstances(), shorted: s.shorted()}
	s.forget()
	for e := 0; e <= s.epoch; e++ {
		v.epochs = append(v.epochs, s.outcomes(e, v.on))
	}
	v.conflicts()
	v.stand()
	v.believe()
	return v
}

// forget drops what was worked out for one look alone.
func (s *state) forget() {
	for i := range s.missed {
		s.missed[i].known = false
	}
	clear(s.likely)
	for i := range s.ways {
		s.ways[i].known, s.courses[i].known = false, false
	}
}

// circumstances are what every prediction hangs on: the season, the kind of
// unit, and which predictions hold (see valveBit).
type circumstances struct {
	mode, unit, metering, phase string
	variant                     int
}

func (s *state) circumstances() circumstances {
	c := circumstances{mode: s.mode(), unit: string(s.mark("unit_type")), metering: string(s.metering()), phase: string(s.mark("phase"))}
	if c.phase == "" {
		c.phase = "single"
	}
	if c.metering == "txv" || c.metering == "eev" {
		c.variant |= valveBit
	}
	if len(s.trips) > 0 {
		c.variant |= putBackBit
	}
	if _, wide := s.subcoolingBand(); wide {
		c.variant |= wideBit
	}
	return c
}

// understood is what the tests showed in one epoch, as it was last worked out,
// and from what. It is no part of the state.
type understood struct {
	from context
	outs []outcome
	fed  []int // by test: how many records could answer or feed it
	read map[reply]outcome
}

// reply is one record taken as the answer to a test.
type reply struct {
	test int
	at   int // of the record, counted from 1
}

// context is everything beside the records of its own that an outcome hangs on.
type context struct {
	on       circumstances
	rated    int // nameplate values and marks taken so far
	unread   int // and those that can't be read
	trips    int
	lastTrip span
	coolBy   time.Time
	tripped  bool
	heard    int
	passed   uint64
}

// outcomes lists what every test showed in one epoch. Only what a new record
// touches is worked out again.
func (s *state) outcomes(epoch int, on circumstances) []outcome {
	n := len(s.k.tests)
	for len(s.understood) <= epoch {
		s.understood = append(s.understood, understood{outs: make([]outcome, n), fed: make([]int, n)})
	}
	from := context{on: on, rated: s.marks, unread: len(s.unread), trips: len(s.trips), coolBy: s.coolBy(epoch), tripped: s.energy.Is(energy.Tripped), heard: s.heard, passed: s.passed}
	if from.trips > 0 {
		from.lastTrip = s.trips[from.trips-1]
	}
	u := &s.understood[epoch]
	if u.from != from {
		u.from = from
		clear(u.outs)
		clear(u.fed)
		clear(u.read)
	}
	for i, fed := range s.fed {
		if fed == u.fed[i] {
			continue
		}
		u.fed[i], u.outs[i] = fed, outcome{}
		if s.k.tests[i].applies(on) {
			u.outs[i] = s.outcomeOf(i, epoch)
		}
	}
	if epoch < s.epoch {
		return u.outs
	}
	s.outs = append(s.outs[:0], u.outs...) // of which conflicting ones are set aside
	return s.outs
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
		if c.Early {
			if a.seq < b.seq && v.s.early(a) && !v.s.repeated(c.a.test) {
				a.counts, a.again = false, true
			}
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
	n, _ := s.own(i)
	return n > 1
}

// stand finds for each test the finding that still holds: this epoch's, or an
// earlier one of a thing at rest that no repair has touched since.
func (v *view) stand() {
	v.standing = slices.Grow(v.s.standing[:0], len(v.k.tests))[:len(v.k.tests)]
	v.s.standing = v.standing
	clear(v.standing)
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
	r := v.s.repairs[epoch] // each repair ends one
	return v.k.repairs[v.k.repairAt[r.id]].remeasure[test]
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
