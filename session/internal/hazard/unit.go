package hazard

import "time"

// Unit is a physical installation: an outdoor unit behind a breaker and a disconnect
// in series, with a dual run capacitor, and an air handler that is fed apart. The zero
// value has every switch open and nothing charged.
type Unit struct {
	Breaker, Disconnect, Air bool // closed
	LeavesLeg                int  // the leg, 1 or 2, that the open disconnect leaves on; 0: none
	BreakerLeaves            int  // the same of the breaker
	LockedBreaker            bool
	LockedDisconnect         bool
	LockedAir                bool
	Herm, Fan                float64 // volts DC on the capacitor's sections
	Holds                    bool    // the bleeding resistor is broken: the capacitor holds
	MeterDead                bool

	openedBreaker, openedDisconnect, openedAir bool // by the technician
}

// NewUnit is one as it is found: all on and running.
func NewUnit() *Unit { return &Unit{Breaker: true, Disconnect: true, Air: true} }

const (
	legVolts = 120.0 // a leg to ground
	peak     = 340.0 // what a capacitor may be left at: the crest of 240 V
)

// through reports whether a leg comes through one switch.
func through(closed bool, leaves, leg int) bool { return closed || leaves == leg }

// LineLeg reports whether a leg is live before the disconnect.
func (u *Unit) LineLeg(leg int) bool { return through(u.Breaker, u.BreakerLeaves, leg) }

// Leg reports whether a leg is live past the disconnect.
func (u *Unit) Leg(leg int) bool {
	return u.LineLeg(leg) && through(u.Disconnect, u.LeavesLeg, leg)
}

// Pass lets time pass: a unit with both legs charges its capacitor; one without keeps
// what charge it has, for most run capacitors have no bleeder.
func (u *Unit) Pass(time.Duration) {
	if u.Leg(1) && u.Leg(2) {
		u.Herm, u.Fan = peak, peak
	}
}

// Bleed holds a resistor to each section.
func (u *Unit) Bleed() {
	if u.Leg(1) && u.Leg(2) || u.Holds {
		return
	}
	u.Herm, u.Fan = 0, 0
}

// lock puts a lock on whatever the technician opened. A handle that somebody closed
// meanwhile is opened first: a lock does not go on otherwise.
func (u *Unit) lock() {
	for _, x := range []struct{ opened, closed, locked *bool }{{&u.openedBreaker, &u.Breaker, &u.LockedBreaker},
		{&u.openedDisconnect, &u.Disconnect, &u.LockedDisconnect}, {&u.openedAir, &u.Air, &u.LockedAir}} {
		if *x.opened {
			*x.closed, *x.locked = false, true
		}
	}
}

// unlock takes every lock off.
func (u *Unit) unlock() { u.LockedBreaker, u.LockedDisconnect, u.LockedAir = false, false, false }

// Read is what the meter shows at a place, in volts; ok is false where the unit has no
// such place.
func (u *Unit) Read(place string) (v float64, ok bool) {
	leg := func(live bool) float64 {
		if live {
			return legVolts
		}
		return 0
	}
	switch place {
	case "known_live":
		v = 2 * legVolts
	case "leg_to_leg", "contactor_line", "disconnect_load":
		v = between(leg(u.Leg(1)), leg(u.Leg(2)))
	case "leg_1_to_ground":
		v = leg(u.Leg(1))
	case "leg_2_to_ground":
		v = leg(u.Leg(2))
	case "disconnect_line":
		v = max(leg(u.LineLeg(1)), leg(u.LineLeg(2))) // each leg to the other and to ground, the highest
	case "blower":
		v = 2 * leg(u.Air)
	case "capacitor":
		v = max(u.Herm, u.Fan)
	case "herm":
		v = u.Herm
	case "fan_section":
		v = u.Fan
	default:
		return 0, false
	}
	if u.MeterDead {
		v = 0
	}
	return v, true
}

// between is leg to leg: the legs are of opposite phase, and one alone, its partner
// floating through the load at its own level, reads nothing.
func between(a, b float64) float64 {
	if a > 0 && b > 0 {
		return a + b
	}
	return 0
}

// Hurts reports whether a hand would be hurt where a need says that it goes.
func (u *Unit) Hurts(need string) bool {
	switch need {
	case "outdoor":
		return u.Leg(1) || u.Leg(2)
	case "line_side":
		return u.LineLeg(1) || u.LineLeg(2)
	case "indoor":
		return u.Air
	case "capacitor":
		return u.Herm >= Harmful || u.Fan >= Harmful
	}
	return false
}

// Tell lets the unit follow what is done: a switch, a lock, a bleed.
func (u *Unit) Tell(t Told) {
	switch t.Declaration {
	case "disconnect_pulled":
		u.Disconnect, u.openedDisconnect = false, true
	case "disconnect_in":
		u.Disconnect, u.LockedDisconnect, u.openedDisconnect = true, false, false
	case "breaker_off":
		u.Breaker, u.openedBreaker = false, true
	case "breaker_on":
		u.Breaker, u.LockedBreaker, u.openedBreaker = true, false, false
	case "air_handler_off":
		u.Air, u.openedAir = false, true
	case "air_handler_on":
		u.Air, u.LockedAir, u.openedAir = true, false, false
	case "locked_out":
		u.lock()
	case "lock_removed":
		u.unlock()
	case "capacitor_bled":
		u.Bleed()
	}
	u.Pass(0)
}

// Meddle lets somebody else close what is open and not locked. A lock on one of two
// switches in series keeps hands off both: the ledger trusts that much.
func (u *Unit) Meddle() {
	if !u.LockedBreaker && !u.LockedDisconnect {
		u.Breaker, u.Disconnect = true, true
	}
	u.Air = u.Air || !u.LockedAir
	u.Pass(0)
}
