package hazard

import (
	"time"

	"callout/catalogue"
)

// knows reports whether the meter was shown a known source lately.
func (s *standing) knows(at time.Time) bool { return !s.source.IsZero() && at.Sub(s.source) <= MaxAge }

// isolated reports whether a switch before the area is told open and locked.
func (s *standing) isolated(a area) bool {
	off := func(x sw) bool { return x.open && x.locked }
	switch a {
	case outdoor:
		return off(s.disconnect) || off(s.breaker)
	case lineSide:
		return off(s.breaker)
	}
	return off(s.air)
}

// takes lists the dead readings that prove an area.
func (s *standing) takes(a area) []catalogue.PlaceID {
	switch {
	case a == lineSide:
		return []catalogue.PlaceID{"disconnect_line"}
	case a == indoor:
		return []catalogue.PlaceID{"blower"}
	case s.three:
		return []catalogue.PlaceID{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "leg_3_to_ground"}
	}
	return []catalogue.PlaceID{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground"}
}

// lacks says what an area lacks to be dead, locked and proved: every reading that it
// takes, between two proofs of the meter, not too old. It is "" where it lacks nothing.
func (s *standing) lacks(a area, now time.Time) string {
	if !s.tried[a] && s.because[a] != "" {
		return s.because[a]
	}
	for _, p := range s.takes(a) {
		when, ok := s.proofs[a].enclosed[p]
		_, waits := s.proofs[a].waiting[p]
		switch {
		case waits && !ok:
			return "the meter was not proved again after the dead readings"
		case !ok:
			return "not every reading was taken, locked, with a proved meter"
		case now.Sub(when) > MaxAge:
			return "the dead readings are too old"
		}
	}
	if !s.isolated(a) {
		return "no switch before it is told open and locked"
	}
	return ""
}

// charged says what the capacitor lacks to be bled and then measured at nothing, as a
// whole or section by section.
func (s *standing) charged(now time.Time) string {
	old := false
	young := func(p catalogue.PlaceID) bool {
		when, ok := s.measured[p]
		old = old || ok && now.Sub(when) > MaxAge
		return s.absent[p] || ok && now.Sub(when) <= MaxAge
	}
	switch {
	case young("capacitor") || young("herm") && young("fan_section"):
		if !s.bled {
			return "not bled"
		}
		return ""
	case old:
		return "its measurement is too old"
	case s.because[outdoor] != "":
		return "not measured since: " + s.because[outdoor]
	}
	return "not measured, with the supply locked and a proved meter"
}

// blowerCharged says the same of the blower's capacitor, where it has one.
func (s *standing) blowerCharged(now time.Time) string {
	switch {
	case s.absent["blower_capacitor"]:
		return ""
	case !s.blowerBled || s.blowerMeasured.IsZero():
		return "not bled and then measured"
	case now.Sub(s.blowerMeasured) > MaxAge:
		return "its measurement is too old"
	}
	return ""
}

// Outdoor says what the unit past the disconnect lacks to be proved dead, "" if
// nothing.
func (l *Ledger) Outdoor(now time.Time) string { return l.s.lacks(outdoor, now) }

// LineSide says the same of the disconnect's line side.
func (l *Ledger) LineSide(now time.Time) string { return l.s.lacks(lineSide, now) }

// Indoor says the same of the air handler.
func (l *Ledger) Indoor(now time.Time) string { return l.s.lacks(indoor, now) }

// Capacitor says what the run capacitor lacks to be proved bled.
func (l *Ledger) Capacitor(now time.Time) string { return l.s.charged(now) }

// BlowerCapacitor says what the blower's capacitor lacks.
func (l *Ledger) BlowerCapacitor(now time.Time) string { return l.s.blowerCharged(now) }
