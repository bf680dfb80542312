package hazard

import (
	"time"

	"callout/catalogue"
)

// sw is one switch: what was told of it.
type sw struct{ open, locked bool }

// Ledger keeps what was told and says what of it is proved. Nothing that was once
// doubted comes back by striking the doubt.
type Ledger struct {
	told     []Told
	struck   map[int]bool
	sittings []int // the number told when the program was started anew, each time
	s        standing
}

// standing is what follows from all that was told.
type standing struct {
	disconnect, breaker, air sw
	lockWaits                bool      // locked out was told before any switch was open
	three                    bool      // phases
	tripped                  bool      // the breaker was seen tripped and not reset since
	grounds                  bool      // the windings to ground were read
	source                   time.Time // the meter read a known source, since the last void
	proofs                   [areas]proof
	because                  [areas]string // why the last proof of it fell, "" if none did
	tried                    [areas]bool   // a dead reading was told since
	bled                     bool
	measured                 map[catalogue.PlaceID]time.Time // the capacitor at nothing
	blowerBled               bool
	blowerMeasured           time.Time // the blower's capacitor at nothing
	absent                   map[catalogue.PlaceID]bool
}

// area is one place of work that is proved dead by itself.
type area int

const (
	outdoor  area = iota // past the disconnect
	lineSide             // the disconnect's line side
	indoor               // the air handler
	areas
)

// proof holds the dead readings of an area: those that wait for the meter to be
// proved again, and those that it was proved again after.
type proof struct {
	waiting, enclosed map[catalogue.PlaceID]time.Time
}

// Why a proof fell.
const (
	restored = "power was restored"
	readLive = "it was read or seen alive"
)

// NewLedger begins with nothing told and everything live.
func NewLedger() *Ledger { return &Ledger{struck: map[int]bool{}, s: fresh()} }

func fresh() standing {
	s := standing{absent: map[catalogue.PlaceID]bool{}}
	s.void("")
	return s
}

// void forgets every proof, the meter's too.
func (s *standing) void(because string) {
	s.source = time.Time{}
	s.voidOutdoor(because)
	s.voidIndoor(because)
}

// voidIndoor forgets what was proved at the air handler and its blower's capacitor.
func (s *standing) voidIndoor(because string) {
	s.forget(indoor, because)
	s.blowerBled, s.blowerMeasured = false, time.Time{}
}

// voidOutdoor forgets what was proved at the outdoor unit and its capacitor.
func (s *standing) voidOutdoor(because string) {
	s.forget(outdoor, because)
	s.forget(lineSide, because)
	s.recharge()
}

func (s *standing) forget(a area, because string) {
	s.proofs[a], s.because[a] = proof{map[catalogue.PlaceID]time.Time{}, map[catalogue.PlaceID]time.Time{}}, because
	s.tried[a] = false
}

func (s *standing) recharge() { s.bled, s.measured = false, map[catalogue.PlaceID]time.Time{} }

// Tell takes one thing that was told.
func (l *Ledger) Tell(t Told) {
	l.told = append(l.told, t)
	l.s.apply(t, false)
}

// Resume marks that the program was started anew: what was proved before is hearsay.
func (l *Ledger) Resume() {
	l.sittings = append(l.sittings, len(l.told))
	l.s.void(anew)
}

const anew = "the program was started anew"

// Strike takes back what was told as id. What it supported falls; what it
// contradicted stays fallen.
func (l *Ledger) Strike(id int) {
	l.struck[id] = true
	l.s = fresh()
	next := 0
	for i, t := range l.told {
		for ; next < len(l.sittings) && l.sittings[next] <= i; next++ {
			l.s.void(anew)
		}
		l.s.apply(t, l.struck[t.ID])
	}
	if next < len(l.sittings) {
		l.s.void(anew)
	}
}

// apply lets one thing count. Of a thing that was struck only the doubt counts.
func (s *standing) apply(t Told, struck bool) {
	before := s.because
	switch {
	case t.Reading != nil:
		s.reading(t.At, *t.Reading, struck)
	case t.Observation != nil:
		s.observation(*t.Observation, struck)
	case t.Declaration != "":
		s.declaration(t.Declaration, struck)
	case t.Repair != "":
		s.repair(t.Repair, struck)
	case t.Absent != "" && !struck:
		s.absent[t.Absent] = true
	}
	for a := range s.because {
		if struck && s.because[a] != before[a] {
			s.because[a] += ", since struck"
		}
	}
}

func (s *standing) declaration(d catalogue.DeclarationID, struck bool) {
	opens := func(x *sw) {
		if !struck {
			x.open, x.locked = true, x.locked || s.lockWaits
			s.lockWaits = false
		}
	}
	closes := func(x *sw) {
		if !struck {
			*x = sw{}
		}
	}
	switch d {
	case "disconnect_pulled":
		opens(&s.disconnect)
	case "disconnect_in":
		closes(&s.disconnect)
		s.voidOutdoor(restored)
	case "breaker_off":
		opens(&s.breaker)
	case "breaker_on":
		closes(&s.breaker)
		s.voidOutdoor(restored)
	case "air_handler_off":
		opens(&s.air)
	case "air_handler_on":
		closes(&s.air)
		s.voidIndoor(restored)
	case "locked_out":
		if !struck {
			s.lock()
		}
	case "lock_removed":
		if !struck {
			s.lockWaits, s.disconnect.locked, s.breaker.locked, s.air.locked = false, false, false, false
		}
		s.void("the lock was taken off")
	case "capacitor_bled":
		s.bled = s.bled || !struck
	case "blower_capacitor_bled":
		s.blowerBled = s.blowerBled || !struck
	}
}

// lock puts the lock on every switch that is open, or on the next to be opened.
func (s *standing) lock() {
	s.lockWaits = !s.disconnect.open && !s.breaker.open && !s.air.open
	for _, x := range []*sw{&s.disconnect, &s.breaker, &s.air} {
		x.locked = x.locked || x.open
	}
}

// repair notes work that closes a switch or brings a supply back.
func (s *standing) repair(r catalogue.RepairID, struck bool) {
	switch r {
	case "reset_breaker", "replace_breaker":
		s.livens(&s.breaker, struck)
		s.tripped = s.tripped && struck
		s.voidOutdoor(restored)
	case "seat_disconnect":
		s.livens(&s.disconnect, struck)
		s.voidOutdoor(restored)
	case "restore_supply", "call_utility", "replace_conductors", "repair_supply_joint", "replace_disconnect_fuse":
		s.voidOutdoor(restored)
	case "restore_air_handler", "close_air_handler":
		s.livens(&s.air, struck)
		s.voidIndoor(restored)
	}
}

func (s *standing) observation(o catalogue.Observation, struck bool) {
	switch {
	case o.Quantity == "phase" && !struck:
		s.three = o.Value == "three"
	case o.Quantity == "breaker_state" && o.Value == "tripped":
		s.tripped = s.tripped || !struck
	case o.Quantity == "breaker_state" && o.Value == "on" && s.breaker.open,
		o.Quantity == "breaker_reset", o.Quantity == "breaker_isolated":
		if !struck {
			s.breaker = sw{}
			s.tripped = o.Quantity != "breaker_state" && o.Value != "holds"
		}
		s.voidOutdoor(readLive)
	case alive(o):
		s.voidOutdoor(readLive)
	case o.Quantity == "fan_motion" && o.Place == "blower" && o.Value == "running":
		s.livens(&s.air, struck)
		s.voidIndoor(readLive)
	}
}

// alive reports whether what was seen takes power at the outdoor unit.
func alive(o catalogue.Observation) bool {
	switch o.Quantity {
	case "compressor_sound":
		return o.Value == "running" || o.Value == "hum" || o.Value == "hum_then_click"
	case "fan_motion":
		return o.Place == "fan" && o.Value == "running"
	case "start_kit", "starts_again":
		return o.Value != "silent"
	}
	return false
}

// reading takes a number: of the meter on its known source, of a dead place, or
// of something that is alive.
func (s *standing) reading(at time.Time, r catalogue.Reading, struck bool) {
	steady := r.Qualifier != "unsteady" && r.Qualifier != "open_line"
	switch {
	case r.Quantity == "voltage" && r.Place == "known_live":
		s.meter(at, steady && r.Qualifier == "" && r.Value >= Harmful, struck)
	case (r.Quantity == "insulation_resistance" || r.Quantity == "resistance") && r.Place == "winding_to_ground":
		s.grounds = s.grounds || !struck
	case r.Quantity == "capacitor_voltage" && r.Place == "blower_capacitor":
		s.blowerCapacitor(at, r, steady, struck)
	case r.Quantity == "voltage" && r.Place == "capacitor", r.Quantity == "capacitor_voltage":
		s.capacitor(at, r, steady, struck)
	case r.Quantity == "voltage" || r.Quantity == "voltage_under_start":
		s.volts(at, r, steady, struck)
	case (r.Quantity == "current" || r.Quantity == "starting_current") && r.Qualifier != "nothing" && r.Value >= 0.5:
		if r.Place == "blower" || r.Place == "aux_heat" {
			s.livens(&s.air, struck)
			s.voidIndoor(readLive)
		} else {
			s.voidOutdoor(readLive)
		}
	case r.Quantity == "control_voltage" && (!steady || r.Value >= Control):
		s.livens(&s.air, struck) // the transformer is in the air handler
		s.voidIndoor(readLive)
	}
}

// livens takes a switch for closed: it was closed, or what it feeds was read alive.
func (s *standing) livens(x *sw, struck bool) {
	if !struck {
		*x = sw{}
	}
}

// meter takes a reading of the known source. One that fails takes with it all that
// the meter showed.
func (s *standing) meter(at time.Time, good, struck bool) {
	if !good {
		s.void("the meter failed on its known source")
		return
	}
	if struck {
		return
	}
	s.source = at
	for a := range s.proofs {
		p := &s.proofs[a]
		for place, when := range p.waiting {
			p.enclosed[place] = when
			delete(p.waiting, place)
		}
	}
}

// where names the area that a voltage reading belongs to; ok is false for a place
// that proves nothing dead.
func where(p catalogue.PlaceID) (a area, ok bool) {
	switch p {
	case "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "leg_3_to_ground":
		return outdoor, true
	case "disconnect_line":
		return lineSide, true
	case "blower":
		return indoor, true
	}
	return 0, false
}

func (s *standing) volts(at time.Time, r catalogue.Reading, steady, struck bool) {
	a, proves := where(r.Place)
	dead := steady && r.Value < Dead
	if dead && proves && !struck {
		s.tried[a] = true
	}
	switch {
	case dead && proves && !struck && s.isolated(a) && s.knows(at):
		s.proofs[a].waiting[r.Place] = at
	case dead:
	case r.Place == "blower" || r.Place == "aux_heat" || r.Place == "transformer_primary" || r.Place == "blower_command":
		s.voidIndoor(readLive)
	case r.Place == "disconnect_line" && !s.breaker.open:
		// before the pulled disconnect the line is live, as it should be
		s.forget(lineSide, readLive)
	default:
		s.voidOutdoor(readLive)
	}
}

func (s *standing) capacitor(at time.Time, r catalogue.Reading, steady, struck bool) {
	switch {
	case !steady || r.Value >= Discharged:
		s.recharge()
	case !struck && s.bled && s.isolated(outdoor) && s.knows(at):
		s.measured[r.Place] = at
	}
}

func (s *standing) blowerCapacitor(at time.Time, r catalogue.Reading, steady, struck bool) {
	switch {
	case !steady || r.Value >= Discharged:
		s.blowerBled, s.blowerMeasured = false, time.Time{}
	case !struck && s.blowerBled && s.isolated(indoor) && s.knows(at):
		s.blowerMeasured = at
	}
}
