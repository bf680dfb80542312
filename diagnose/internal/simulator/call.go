package simulator

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"
)

// Noticed is something the technician can't help seeing while doing something
// else, and says without being asked.
type Noticed struct{ Quantity, Place, Value string }

func (w *World) notice(quantity, place, value string) {
	w.noticed = append(w.noticed, Noticed{quantity, place, value})
}

// found takes, of what was noticed, how the breaker stood before it was switched.
func (w *World) found() (list []Noticed) {
	w.noticed = slices.DeleteFunc(w.noticed, func(n Noticed) bool {
		if n.Quantity != "breaker_state" {
			return false
		}
		list = append(list, n)
		return true
	})
	return list
}

// TakeNoticed gives what was noticed since it was last asked.
func (w *World) TakeNoticed() []Noticed {
	n := w.noticed
	w.noticed = nil
	return n
}

// FaultIDs lists every fault the simulator can make, sorted.
func FaultIDs() []string {
	ids := make([]string, 0, len(faultTable))
	for id := range faultTable {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	return ids
}

// Normal says whether a fault is one of the ways in which nothing is wrong.
func Normal(id string) bool { return faultTable[id].normal }

// Mends says whether a repair puts a fault right.
func Mends(repair, fault string) bool {
	for _, r := range faultTable[fault].mends {
		if r == repair {
			return true
		}
	}
	return false
}

// seconds are the faults that are found beside another one: what wears, leaks
// or gets dirty by itself. Common practice, no source.
var seconds = []string{
	"undercharge", "outdoor_coil_dirty", "filter_blocked", "run_capacitor_weak", "run_capacitor_failed",
	"capacitor_terminal_broken", "contactor_drop", "contactor_burnt", "fan_capacitor_failed", "overcharge", "indoor_coil_dirty",
	"fan_motor_seized", "start_wire_broken",
}

// A Setup says what kind of call to make.
type Setup struct {
	Fault  string  // this fault; "" draws one by how often it is met
	Pairs  float64 // share of calls with a second fault
	Traps  bool    // now and then the disconnect leaves one leg live
	Expert bool    // no observation is misjudged
	Visit  bool    // a maintenance visit: nothing is complained of
	Town   uint64  // whose habits it has; 0 is home, see habits
}

// NewCall makes a call from a seed: a unit, a day, faults, a technician.
func NewCall(seed uint64, s Setup) *World {
	r := seeded(seed)
	if s.Fault == "" {
		s.Fault = rare(seed)
	}
	for {
		w := newWorld(seed, r, s)
		if w != nil {
			return w
		}
	}
}

// own draws a trait of this unit, apart from the rest, so that every seed's call
// stays what it was before units had the trait.
func (w *World) own(p float64) bool {
	w.traits++
	return rand.New(rand.NewPCG(w.seed, 0xa0761d6478bd642f^w.traits)).Float64() < p
}

// rare gives the few calls with a fault that the rest have not, or "". They are drawn apart,
// so that every other seed's call stays what it was before there were such units.
func rare(seed uint64) string {
	x := rand.New(rand.NewPCG(seed, 0xd1b54a32d192ed03)).Float64()
	for _, f := range rares {
		if x -= f.share; x < 0 {
			return f.id
		}
	}
	return ""
}

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15)) }

func newWorld(seed uint64, r *rand.Rand, s Setup) *World {
	w := &World{Unit: newUnit(r), r: r, seed: seed, gain: map[string]float64{}, proved: map[string]bool{}, habits: town(s.Town), loose: between(r, 0.28, 0.40)}
	h := &w.habits
	w.careless, w.loose = h.careless, w.loose*h.loose
	w.Unit.Approach *= h.approach
	w.Unit.StartOhms = round(w.Unit.StartOhms*h.ratio, 0.05)
	if w.Unit.Delay > 0 {
		w.Unit.Delay = h.delay
	}
	if s.Expert {
		w.careless = 0
	}
	w.Heating = w.Unit.HeatPump && chance(r, h.winter)
	if w.Heating {
		w.outdoor, w.indoorDB = between(r, 8, 52), between(r, 62, 72)
		w.indoorWB = w.indoorDB - between(r, 10, 15)
	} else {
		w.outdoor, w.indoorDB = between(r, 74, 106), between(r, 73, 84)
		w.indoorWB = w.indoorDB - between(r, 9, 15)
	}
	w.outdoor += h.warmer
	w.gain["volts"] = 0.006 * h.meters * r.NormFloat64()
	w.gain["clamp"] = 0.015 * h.meters * r.NormFloat64()
	w.gain["cap"] = 0.010 * h.meters * r.NormFloat64()
	w.gain["ohms"] = 0.010 * h.meters * r.NormFloat64()
	w.gain["low"] = 1.0 * h.meters * r.NormFloat64()
	w.gain["high"] = 2.5 * h.meters * r.NormFloat64()
	for _, place := range []string{"suction_line", "liquid_line", "liquid_line_after_drier", "discharge_line", "outdoor_air", "return_air", "supply_air", "condenser_air", "compressor_shell", "outdoor_coil", "indoor_coil"} {
		w.gain["temp "+place] = 0.7 * h.meters * r.NormFloat64()
	}
	w.batteries, w.pastFuse, w.doorSwitch, w.energisedHeats = w.own(h.batteries), w.own(h.pastFuse), w.own(h.doors), w.own(h.heats)
	base := w.Unit.healthy()
	w.volts = between(r, 234, 247)
	if chance(r, 0.12) {
		w.volts = between(r, 203, 212)
	}
	w.sourceOhms = base.sourceOhms * between(r, 0.6, 1.4) * 36 / math.Max(w.Unit.LRA/4, 10)
	first := s.Fault
	if first == "" {
		first = draw(r, w, FaultIDs())
	}
	if !faultTable[first].fits(w) {
		return nil
	}
	w.Faults = []string{first}
	if !Normal(first) && chance(r, s.Pairs*h.pairs) {
		if second := draw(r, w, seconds); second != first && together(first, second) {
			w.Faults = append(w.Faults, second)
		}
	}
	for _, id := range w.Faults {
		w.settings = append(w.settings, setting{id, math.Pow(r.Float64(), h.severity), r.Float64()})
	}
	tripsOnLocked := chance(r, h.trips)
	traps := s.Traps && chance(r, 0.3)
	w.disconnectIn, w.breakerOn, w.leadsOn, w.plugOn, w.calling, w.airHandlerOn, w.arrival = true, true, true, true, true, true, true
	w.rebuild()
	w.p.tripsOnLocked, w.p.pullFails = tripsOnLocked, traps
	if s.Visit {
		w.said = "maintenance"
	}
	w.arrive()
	if !w.worthACall() {
		return nil
	}
	return w
}

// draw picks a fault by its weight among those that fit.
func draw(r *rand.Rand, w *World, ids []string) string {
	total := 0.0
	for _, id := range ids {
		if faultTable[id].fits(w) {
			total += w.habits.weight(id)
		}
	}
	x := r.Float64() * total
	for _, id := range ids {
		if faultTable[id].fits(w) {
			if x -= w.habits.weight(id); x <= 0 {
				return id
			}
		}
	}
	return ids[len(ids)-1]
}

// together says whether two faults can be in one unit as two separate finds:
// not two of the same part, not two states of the charge.
func together(a, b string) bool {
	part := map[string]string{
		"run_capacitor_weak": "herm", "run_capacitor_failed": "herm", "run_capacitor_wrong": "herm", "fan_capacitor_failed": "capacitor fan",
		"capacitor_terminal_broken": "herm", "start_wire_broken": "herm",
		"contactor_drop": "contactor", "contactor_burnt": "contactor", "contactor_coil_open": "contactor", "contactor_stuck": "contactor", "contactor_welded": "contactor", "contactor_terminal_burnt": "contactor",
		"undercharge": "charge", "overcharge": "charge", "charge_lost": "charge", "non_condensables": "charge", "drier_restricted": "charge", "metering_starved": "charge", "metering_floods": "charge", "bulb_loose": "charge", "valves_leak": "charge", "valve_leaks_inside": "charge",
		"fan_motor_seized": "fan", "fan_motor_open": "fan", "fan_motor_grounded": "fan", "fan_wire_broken": "fan", "fan_backwards": "fan", "fan_blade_damaged": "fan", "board_fan_relay": "fan",
		"compressor_seized": "herm", "start_winding_open": "herm", "run_winding_open": "herm", "compressor_turn_short": "herm", "start_gear_failed": "herm", "compressor_hard_start": "herm",
	}
	// A broken terminal at the capacitor beside a failed section is one of the
	// pairs that are met.
	if a == "run_capacitor_failed" && (b == "capacitor_terminal_broken" || b == "start_wire_broken") || b == "run_capacitor_failed" && (a == "capacitor_terminal_broken" || a == "start_wire_broken") {
		return true
	}
	pa, pb := part[a], part[b]
	return a != b && (pa == "" || pa != pb)
}

// arrive sets what the technician finds.
func (w *World) arrive() {
	p := &w.p
	if p.breakerOff {
		w.breakerOn = w.once("off", 0.4)
		w.tripped = w.breakerOn
	}
	if p.pullOut {
		w.disconnectIn = false
	}
	if p.welded {
		w.calling = false
	}
	if p.overloadHot {
		w.overloadUntil, p.overloadHot = between(w.r, 15, 70), false
	}
	w.cache = nil
	r := w.settle()
	w.noticed, w.tripTold = nil, false
	if p.breakerSize > 0 {
		w.tripped = w.overloaded(r) && w.once("small and tripped", 0.8)
		w.cache = nil
	}
	if p.breakerWeak || r.state == "locked" && p.tripsOnLocked {
		w.tripped, w.cache = true, nil
	}
	if r.state == "locked" && w.once("hot", 0.12) {
		// It has tried all day: the overload is open, and takes its time.
		w.overloadUntil = between(w.r, 20, 80)
		w.cache = nil
	}
	// What is left on the run capacitor once the contactor drops out: mostly the
	// windings drain it.
	w.capVolts = 0
}

// worthACall says whether anybody would have called about this: a fault too
// mild to notice makes no call.
func (w *World) worthACall() bool {
	if w.Faults[0] == "compressor_hard_start" && !w.startsWithKit() {
		return false // what no kit starts is worn out
	}
	if w.tripped || Normal(w.Faults[0]) {
		return true
	}
	if w.p.breakerSize > 0 {
		return w.tripsLater() // one that holds makes no call
	}
	if len(w.Faults) == 1 {
		switch w.Faults[0] { // found on maintenance, or by the noise and the bill
		case "run_capacitor_weak", "contactor_drop", "supply_joint_burnt", "conductor_small", "run_capacitor_wrong", "supply_low", "fan_blade_damaged", "compressor_turn_short", "start_relay_stuck":
			return true
		}
	}
	return w.felt()
}

// startsWithKit says whether the compressor starts with a start kit and not without.
func (w *World) startsWithKit() bool {
	s := *w
	s.tripped, s.overloadUntil, s.noticed, s.cache = false, 0, nil, nil
	alone := s.settle().state
	s.kit, s.cache = true, nil
	return alone == "locked" && s.settle().state == "running"
}

// felt says whether the faults show in what the unit does.
func (w *World) felt() bool {
	r := w.settle()
	if r.state != "running" || r.fan != "running" || r.blower != "running" {
		return true
	}
	p := &w.p
	if p.noise != "none" || p.worn || p.crankcase || p.welded || p.defrostNever != "" || p.auxOpen || p.auxRelay || p.auxStuck || p.ducts != "good" || p.drainBlocked {
		return true
	}
	healthy := *w
	healthy.p = w.Unit.healthy()
	healthy.p.volts, healthy.p.sourceOhms = w.volts, w.sourceOhms
	healthy.cache = nil
	h := healthy.settle()
	if r.circuit.heating != h.circuit.heating {
		return true
	}
	c := r.point
	return c.capacity < 0.93*h.point.capacity || c.evap < 30 && !w.Heating || c.power > 1.10*h.point.power || c.floods && !h.point.floods || r.highOpen || r.lowOpen
}

// unnoticed says whether what is left after the repairs would make nobody call:
// the unit is put back in service and runs as it should.
func (w *World) unnoticed() bool {
	s := *w
	s.disconnectIn, s.breakerOn, s.leadsOn, s.plugOn, s.calling, s.airHandlerOn = true, true, true, true, true, true
	s.tripped, s.poweredAt, s.overloadUntil, s.cache = false, 0, 0, nil
	s.noticed = nil
	return !s.felt() && !s.tripped && !s.tripsLater()
}

// Declare does what a declaration says and reports what was noticed.
func (w *World) Declare(id string) {
	w.cache = nil
	switch id {
	case "disconnect_pulled":
		if w.arrival && w.p.pullOut {
			w.notice("connection", "disconnect", "loose")
		}
		w.arrival = false
		w.disconnectIn = false
		w.dead()
	case "disconnect_in":
		w.disconnectIn = true
		w.live()
	case "breaker_off":
		w.switchedOff = w.switchedOff || w.breakerOn && !w.tripped
		w.breakerOn = false
		w.dead()
	case "breaker_on":
		if w.tripped {
			if !w.tripTold {
				w.notice("breaker_state", "breaker", "tripped")
			}
		} else if !w.breakerOn && !w.switchedOff {
			w.notice("breaker_state", "breaker", "off")
		}
		w.breakerOn, w.tripped = true, false
		w.live()
	case "locked_out":
		w.locked = true
	case "lock_removed":
		w.locked = false
	case "panel_open":
		w.panelOpen = true
	case "panel_closed":
		w.panelOpen = false
	case "capacitor_bled":
		if !w.once("badly bled", w.habits.bled) {
			w.capVolts = 0
		}
		w.gain["badly bled"] = 1 // the second time it is done with care
	case "leads_off":
		w.leadsOn = false
	case "leads_on":
		w.leadsOn = true
	case "compressor_plug_off":
		w.plugOn = false
	case "compressor_plug_on":
		w.plugOn = true
	case "start_kit_on", "start_kit_off":
		w.kit = id == "start_kit_on"
	case "calling":
		if !w.calling || w.p.statSatisfied || w.p.statWrongMode {
			if w.p.statWrongMode {
				w.notice("thermostat_state", "thermostat", "wrong_mode")
			} else if w.p.statSatisfied {
				w.notice("thermostat_state", "thermostat", "satisfied")
			}
		}
		w.p.statSatisfied, w.p.statWrongMode = false, false
		w.calling = true
		w.live()
	case "call_off":
		w.calling = false
	case "gauges_on":
		w.gaugesOn = true
	case "gauges_off":
		w.gaugesOn = false
	case "blower_capacitor_bled":
		w.blowerBled, w.bleeds = !w.airHandlerOn, true
	case "air_handler_off":
		w.airHandlerOn = false
	case "air_handler_on":
		w.airHandlerOn, w.blowerBled, w.bleeds = true, false, false
		w.live()
	}
	w.cache = nil
	w.settle() // what trips, trips now
	w.forget()
}

// dead notes that power was taken off; the run capacitor may hold what it had
// (up to the catalogue's highest voltage; in the field it can be near 500 V).
func (w *World) dead() {
	if w.capVolts == 0 && w.once("holds charge", w.habits.charged) {
		w.capVolts = round(between(w.r, 60, 290), 1)
	}
}

// blowerVolts is what is left on the blower's capacitor, or runs it: about the
// peak of what it held.
func (w *World) blowerVolts() float64 {
	switch {
	case w.Unit.CapBlower == 0 || w.blowerBled:
		return 0
	case w.airHandlerOn:
		return round(1.4*w.p.volts, 1)
	case w.once("blower holds charge", 0.25):
		return 180
	}
	return 0
}

// live notes that power or a call came back, for the board's delay.
func (w *World) live() { w.poweredAt = w.Now }

// forget drops the proofs of what is live again.
func (w *World) forget() {
	r := w.settle()
	if r.leg1 > 0 || r.leg2 > 0 {
		for _, place := range []string{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "closed", "herm", "fan_section"} {
			delete(w.proved, place)
		}
	}
	if w.airHandlerOn && !w.p.primaryLost {
		delete(w.proved, "blower")
		delete(w.proved, "blower_capacitor")
	}
}

// Pass moves the clock.
func (w *World) Pass(minutes float64) {
	w.Now += minutes
	w.cache = nil
	switch {
	case w.tripped || !w.tripsLater():
		w.tripAt = 0
	case w.tripAt == 0:
		w.tripAt = w.Now + between(w.r, 10, 30)
	case w.Now >= w.tripAt:
		w.trip("later")
		w.tripAt, w.cache = 0, nil
	}
}

// Mend does a repair: faults that it mends are gone, others stay.
func (w *World) Mend(repair string) (mended []string) {
	var left []setting
	for _, s := range w.settings {
		if Mends(repair, s.id) {
			mended = append(mended, s.id)
			continue
		}
		left = append(left, s)
	}
	w.settings = left
	trips, fails := w.p.tripsOnLocked, w.p.pullFails
	w.rebuild()
	w.p.tripsOnLocked, w.p.pullFails = trips, fails
	w.overloadUntil = math.Min(w.overloadUntil, w.Now+20)
	if repair == "reset_breaker" || repair == "replace_breaker" {
		w.breakerOn, w.tripped = true, false
	}
	if repair == "replace_control_fuse" || repair == "repair_control_short" {
		if w.fuseBlown && len(mended) == 0 {
			mended = append(mended, "control fuse")
		}
		w.fuseBlown = false // settle blows it again if the short is still there
	}
	if repair == "fit_start_kit" {
		w.kit = false // no longer for a try: what it was fitted for is gone
	}
	if repair == "seat_disconnect" {
		w.disconnectIn, w.arrival = true, false
	}
	w.cache = nil
	w.forget()
	return mended
}
