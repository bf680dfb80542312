package diagnose

import (
	"fmt"
	"slices"

	"callout/catalogue"
)

// Power says what is known of the supply at one equipment.
type Power string

// What is not declared and proved dead is live.
const (
	Live         Power = "live"
	DeclaredDead Power = "declared_dead"
	ProvedDead   Power = "proved_dead"
)

// Charge says what is known of the outdoor unit's run capacitor.
type Charge string

// A capacitor is charged until it is bled and measured.
const (
	Charged Charge = "charged"
	Bled    Charge = "bled"   // claimed
	Proved  Charge = "proved" // claimed, and measured at nothing
)

// Energy is the state of everything that can hurt. The zero value is not
// valid: a job starts live, charged and closed.
type Energy struct {
	Outdoor    Power  // the outdoor unit
	Indoor     Power  // the air handler, which is fed apart
	Capacitor  Charge // the outdoor unit's run capacitor
	Tester     bool   // the meter was shown to read on a live source
	LockedOut  bool
	ThreePhase bool // a third leg has to be proved dead too
	PanelOpen  bool
	LeadsOff   bool   // the capacitor's wires
	PlugOff    bool   // the compressor's wires
	StartKit   bool   // one is wired in for a try
	Call       string // "calling", "off" or "" while unknown
	GaugesOn   bool
	Disconnect bool // in
	Breaker    bool // not declared off
	Untrusted  bool // pulled, it left a wire live: it takes the breaker
	Tripped    bool // seen tripped or off, which proves nothing dead
	// Doubted: a reading has contradicted that it was off, so that the switch may
	// stand either way until it is told anew.
	Doubted bool
	// Proved lists the places that read nothing since the unit was declared dead.
	Proved []catalogue.PlaceID
}

// The limits of what a meter may show, common practice, no source: a voltage
// meter on a dead wire shows a volt or two of noise, and a clamp a few tenths.
const (
	deadVolts   = 3.0  // below is nothing
	bledVolts   = 5.0  // across a capacitor
	liveSource  = 90.0 // at least, to prove a meter
	liveCurrent = 0.5
	safetySure  = 0.8 // a safety event heard with less is not taken
)

func startEnergy() Energy {
	return Energy{Outdoor: Live, Indoor: Live, Capacitor: Charged, Disconnect: true, Breaker: true}
}

// off reports whether the outdoor unit is declared off.
func (e *Energy) off() bool { return !e.Disconnect || !e.Breaker }

func (e *Energy) proved(p catalogue.PlaceID) bool { return slices.Contains(e.Proved, p) }

var deadPlaces = []catalogue.PlaceID{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground"}

// satisfied tells for each step of the data whether it is done.
var satisfied = map[string]func(*Energy) bool{
	"power_off":        func(e *Energy) bool { return e.off() && !(e.Untrusted && e.Breaker) },
	"lock_out":         func(e *Energy) bool { return e.LockedOut },
	"panel_open":       func(e *Energy) bool { return e.PanelOpen },
	"panel_open_live":  func(e *Energy) bool { return e.PanelOpen },
	"tester":           func(e *Energy) bool { return e.Tester },
	"dead_leg_to_leg":  func(e *Energy) bool { return e.proved("leg_to_leg") },
	"dead_leg_1":       func(e *Energy) bool { return e.proved("leg_1_to_ground") },
	"dead_leg_2":       func(e *Energy) bool { return e.proved("leg_2_to_ground") },
	"capacitor_bled":   func(e *Energy) bool { return e.Capacitor != Charged },
	"capacitor_dead":   func(e *Energy) bool { return e.Capacitor == Proved },
	"leads_off":        func(e *Energy) bool { return e.LeadsOff },
	"leads_on":         func(e *Energy) bool { return !e.LeadsOff },
	"plug_off":         func(e *Energy) bool { return e.PlugOff },
	"plug_on":          func(e *Energy) bool { return !e.PlugOff },
	"kit_on":           func(e *Energy) bool { return e.StartKit },
	"kit_off":          func(e *Energy) bool { return !e.StartKit },
	"lock_off":         func(e *Energy) bool { return !e.LockedOut },
	"disconnect_in":    func(e *Energy) bool { return e.Disconnect && !e.Doubted },
	"breaker_on":       func(e *Energy) bool { return e.Breaker && !e.Tripped },
	"call_on":          func(e *Energy) bool { return e.Call != "off" },
	"call_off":         func(e *Energy) bool { return e.Call == "off" },
	"gauges_on":        func(e *Energy) bool { return e.GaugesOn },
	"dead_leg_3":       func(e *Energy) bool { return !e.ThreePhase || e.proved("leg_3_to_ground") },
	"breaker_off":      func(e *Energy) bool { return !e.Breaker },
	"disconnect_dead":  func(e *Energy) bool { return e.proved("disconnect_line") },
	"air_handler_off":  func(e *Energy) bool { return e.Indoor != Live },
	"air_handler_dead": func(e *Energy) bool { return e.Indoor == ProvedDead },
	"air_handler_on":   func(e *Energy) bool { return e.Indoor == Live },
}

// setLive takes back everything that was believed dead outdoors.
func (e *Energy) setLive() {
	e.Doubted = e.Doubted || !e.Disconnect
	e.Outdoor, e.Capacitor, e.Proved = Live, Charged, nil
	e.Disconnect, e.Breaker = true, true
}

// switched takes a switch as opened. What was proved before is proved again:
// whoever throws a switch may have thrown another.
func (e *Energy) switched(on *bool) {
	if *on {
		*on, e.Proved, e.Capacitor = false, nil, Charged
	}
}

// unproved takes back every proof: whoever worked on the supply may have left it
// on.
func (e *Energy) unproved() {
	e.Proved, e.Capacitor = nil, Charged
	if e.Indoor == ProvedDead {
		e.Indoor = DeclaredDead
	}
	e.settle()
}

// settle works out the power after a change.
func (e *Energy) settle() {
	switch {
	case !e.off():
		e.Outdoor, e.Proved = Live, nil
	case e.proved(deadPlaces[0]) && e.proved(deadPlaces[1]) && e.proved(deadPlaces[2]) && (!e.ThreePhase || e.proved("leg_3_to_ground")):
		e.Outdoor = ProvedDead
	default:
		e.Outdoor = DeclaredDead
	}
	if e.Outdoor == Live {
		e.Capacitor = Charged
	}
}

// declare takes a declaration and reports what does not fit.
func (e *Energy) declare(d catalogue.DeclarationID) []string {
	var bad []string
	switch d {
	case "disconnect_pulled":
		e.switched(&e.Disconnect)
		e.Doubted = false
	case "breaker_off":
		e.switched(&e.Breaker)
	case "disconnect_in", "breaker_on":
		if e.LockedOut {
			bad = append(bad, "It was locked out a moment ago: only the one who locked it takes the lock off. I take it as live.")
			e.LockedOut = false
		}
		if e.LeadsOff {
			bad = append(bad, "Power comes on with the capacitor's wires off: keep each one capped and clear.")
		}
		was := e.off()
		if d == "breaker_on" {
			e.Proved = slices.DeleteFunc(slices.Clone(e.Proved), func(p catalogue.PlaceID) bool { return p == "disconnect_line" })
		}
		e.Disconnect = e.Disconnect || d == "disconnect_in"
		e.Doubted = e.Doubted && d != "disconnect_in"
		e.Breaker = e.Breaker || d == "breaker_on"
		e.Tripped = e.Tripped && d != "breaker_on"
		if was && !e.off() {
			e.Capacitor, e.Tester = Charged, false
		}
	case "locked_out":
		e.LockedOut = true
		if !e.off() {
			bad = append(bad, "You say locked out, but neither the disconnect is pulled nor the breaker off. It is live.")
		}
	case "lock_removed":
		e.LockedOut = false
	case "panel_open", "panel_closed":
		e.PanelOpen = d == "panel_open"
	case "tester_proved":
		e.Tester = true
	case "capacitor_bled":
		if e.Outdoor == Live {
			bad = append(bad, "A capacitor can't stay bled with power on: it counts as charged.")
			break
		}
		if e.Capacitor == Charged {
			e.Capacitor = Bled
		}
	case "leads_off", "compressor_plug_off":
		if e.Outdoor != ProvedDead || e.Capacitor != Proved {
			bad = append(bad, "Hands off: wires come off only once it is proved dead and the capacitor is bled and measured.")
		}
		e.LeadsOff = e.LeadsOff || d == "leads_off"
		e.PlugOff = e.PlugOff || d == "compressor_plug_off"
	case "leads_on", "compressor_plug_on":
		if e.Outdoor != ProvedDead && (e.LeadsOff || e.PlugOff) {
			bad = append(bad, "Hands off: wires go back only while it is proved dead.")
		}
		e.LeadsOff = e.LeadsOff && d != "leads_on"
		e.PlugOff = e.PlugOff && d != "compressor_plug_on"
	case "start_kit_on", "start_kit_off":
		on := d == "start_kit_on"
		if e.StartKit != on && (e.Outdoor != ProvedDead || e.Capacitor != Proved) {
			bad = append(bad, "Hands off: a start kit goes in or comes out only while it is proved dead and the capacitor is bled and measured.")
		}
		e.StartKit = on
	case "calling":
		e.Call = "calling"
	case "call_off":
		e.Call = "off"
	case "gauges_on", "gauges_off":
		e.GaugesOn = d == "gauges_on"
	case "air_handler_off":
		if e.Indoor == Live {
			e.Indoor = DeclaredDead
		}
	case "air_handler_on":
		e.Indoor = Live
	}
	e.settle()
	return bad
}

// dead reports whether a meter reading is nothing.
func dead(r catalogue.Reading) bool {
	return r.Qualifier == catalogue.Nothing || r.Qualifier == "" && r.Value < deadVolts && r.Value > -deadVolts
}

// read takes a reading and reports what does not fit.
func (e *Energy) read(r catalogue.Reading) []string {
	switch r.Quantity {
	case "voltage":
		return e.readVolts(r)
	case "voltage_under_start":
		if e.off() && r.Value >= deadVolts {
			return e.contradiction(fmt.Sprintf("%s V under start", short(r.Value)))
		}
	case "current", "starting_current":
		return e.readAmps(r)
	case "capacitor_voltage":
		if e.Capacitor != Charged && r.Value >= bledVolts {
			e.Capacitor = Charged
			return []string{fmt.Sprintf("%s V across the capacitor: it is charged. Hands off, bleed it again.", short(r.Value))}
		}
	}
	return nil
}

func (e *Energy) contradiction(what string) []string {
	e.Untrusted = e.Untrusted || !e.Disconnect && e.Breaker
	e.setLive()
	return []string{what + ", and it was declared dead. Hands off: it is live. Find what feeds it."}
}

func (e *Energy) readVolts(r catalogue.Reading) []string {
	steady := r.Qualifier == "" || r.Qualifier == catalogue.Nothing
	switch p := r.Place; p {
	case "known_live":
		if steady && r.Value >= liveSource {
			e.Tester = true
			return nil
		}
		e.Tester, e.Proved = false, nil
		e.settle()
		if e.Indoor == ProvedDead {
			e.Indoor = DeclaredDead
		}
		return []string{"The meter does not read on a source that is live: what it showed as dead is not proved."}
	case "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "leg_3_to_ground":
		if !dead(r) && e.off() {
			return e.contradiction(fmt.Sprintf("%s V", short(r.Value)))
		}
		if !dead(r) {
			e.Tester = e.Tester || r.Value >= liveSource
			return nil
		}
		if !e.off() {
			return nil // a finding about the supply, no proof of anything
		}
		if !e.Tester {
			return []string{"Nothing from a meter that is not proved is no proof: read a live source first, then this again."}
		}
		if !e.proved(p) {
			e.Proved = append(slices.Clone(e.Proved), p)
		}
		e.settle()
	case "capacitor":
		switch {
		case !dead(r) && r.Value >= bledVolts && e.Capacitor != Charged:
			e.Capacitor = Charged
			return []string{fmt.Sprintf("%s V across the capacitor: it is charged. Hands off, bleed it again.", short(r.Value))}
		case (dead(r) || r.Value < bledVolts) && steady && e.Capacitor == Bled && e.Outdoor == ProvedDead:
			e.Capacitor = Proved
		}
	case "contactor_line", "contactor_load", "disconnect_load", "compressor_terminals", "line_ab", "line_bc", "line_ca":
		if e.off() && r.Value >= deadVolts {
			return e.contradiction(fmt.Sprintf("%s V at %s", short(r.Value), p))
		}
		e.Tester = e.Tester || r.Value >= liveSource
	case "disconnect_line":
		if !e.Breaker && r.Value >= deadVolts {
			return e.contradiction(fmt.Sprintf("%s V at the disconnect's line side", short(r.Value)))
		}
		if !e.Breaker && dead(r) && !e.Tester {
			return []string{"Nothing from a meter that is not proved is no proof: read a live source first, then this again."}
		}
		if !e.Breaker && dead(r) && !e.proved(p) {
			e.Proved = append(slices.Clone(e.Proved), p)
		}
		e.Tester = e.Tester || r.Value >= liveSource
	case "blower", "transformer_primary", "aux_heat":
		switch {
		case e.Indoor != Live && r.Value >= deadVolts:
			e.Indoor = Live
			return []string{fmt.Sprintf("%s V in the air handler, and it was declared dead. Hands off: it is live.", short(r.Value))}
		case e.Indoor == DeclaredDead && p == "blower" && dead(r) && !e.Tester:
			return []string{"Nothing from a meter that is not proved is no proof: read a live source first, then this again."}
		case e.Indoor == DeclaredDead && p == "blower" && dead(r):
			e.Indoor = ProvedDead
		case r.Value >= liveSource:
			e.Tester = true
		}
	}
	return nil
}

func (e *Energy) readAmps(r catalogue.Reading) []string {
	if r.Value < liveCurrent {
		return nil
	}
	switch r.Place {
	case "blower", "aux_heat":
		if e.Indoor != Live {
			e.Indoor = Live
			return []string{fmt.Sprintf("%s A in the air handler, and it was declared dead. Hands off: it is live.", short(r.Value))}
		}
	default:
		if e.off() {
			return e.contradiction(fmt.Sprintf("%s A", short(r.Value)))
		}
	}
	return nil
}

// observe takes what was seen or heard and reports what does not fit.
func (e *Energy) observe(o catalogue.Observation) []string {
	moving := o.Quantity == "fan_motion" && o.Value != "stopped"
	switch {
	case o.Quantity == "phase":
		e.ThreePhase = o.Value == "three"
		e.settle()
	case o.Quantity == "breaker_state" && e.Breaker:
		e.Tripped = o.Value != "on"
	case o.Quantity == "breaker_reset", o.Quantity == "breaker_isolated":
		bad := e.declare("breaker_on") // whoever resets it has switched it on
		e.Tripped = o.Value != "holds"
		return bad
	case o.Quantity == "thermostat_state" && o.Value == "calling":
		e.Call = "calling"
	case o.Quantity == "thermostat_state":
		e.Call = ""
	case moving && o.Place == "fan" && e.off():
		return e.contradiction("The outdoor fan moves")
	case moving && o.Place == "blower" && e.Indoor != Live:
		e.Indoor = Live
		return []string{"The blower moves, and the air handler was declared dead. Hands off: it is live."}
	case o.Quantity == "start_kit":
		e.StartKit = true // whoever tells what it did has put it in
		if o.Value != "silent" && e.off() {
			return e.contradiction("The compressor was started with the kit")
		}
	case o.Quantity == "compressor_sound" && o.Value != "silent" && e.off():
		return e.contradiction("The compressor makes a sound")
	}
	return nil
}

// path appends the steps that still lead to a state, in order. A step that
// touches wires first leads to dead, bled and proved.
func (k *Knowledge) path(out []int, e *Energy, state string) []int {
	s := k.energy.States[k.stateAt[state]]
	hands := false
	for _, id := range s.Needs {
		touches := id == "leads_on" || id == "plug_on" || id == "kit_off" || id == s.Via
		hands = hands || touches && !satisfied[id](e)
	}
	if hands && (e.Outdoor != ProvedDead || e.Capacitor != Proved) {
		out = k.open(out, e, "dead_bled")
		dead := *e
		dead.Disconnect = false // what is made dead has to be made live again
		e = &dead
	}
	return k.open(out, e, state)
}

// open appends the steps of a state that are not done.
func (k *Knowledge) open(out []int, e *Energy, state string) []int {
	for _, id := range k.energy.States[k.stateAt[state]].Needs {
		if satisfied[id](e) {
			continue
		}
		if id == "power_off" && e.Untrusted {
			id = "breaker_off"
		}
		out = append(out, k.stepAt[id])
	}
	return out
}
