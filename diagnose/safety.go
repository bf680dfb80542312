package diagnose

import (
	"time"

	"callout/diagnose/energy"
)

// Energy is the state of everything that can hurt.
type Energy = energy.State

// Power says what is known of the supply at one equipment.
type Power = energy.Power

// Charge says what is known of the outdoor unit's run capacitor.
type Charge = energy.Charge

// The states of a supply and of the capacitor, see package energy.
const (
	Live         = energy.Live
	DeclaredDead = energy.DeclaredDead
	ProvedDead   = energy.ProvedDead
	Charged      = energy.Charged
	Bled         = energy.Bled
	Proved       = energy.Proved
)

// safetySure is how clearly a safety event must be heard to be taken. Common
// practice, no source.
const safetySure = 0.8

// touch lets an event change what can hurt.
func (k *Knowledge) touch(en *Energy, e Event) []energy.Warning {
	sure := e.Certainty <= 0 || e.Certainty >= safetySure
	switch {
	case e.Reading != nil:
		r := *e.Reading
		if k.cat.CheckReading(r) != nil {
			return nil
		}
		return k.energy.Read(en, r, sure, e.At)
	case e.Observation != nil:
		return k.energy.Observe(en, *e.Observation, e.At)
	case e.Declaration != "":
		return k.energy.Declare(en, e.Declaration, e.At)
	case e.Repair != "":
		at, ok := k.repairAt[e.Repair]
		return k.energy.Repaired(en, e.Repair, ok && k.repairs[at].Supply, e.At)
	}
	return nil
}

// Unproved is a state of which nothing counts as proved any more.
func (k *Knowledge) Unproved(e Energy) Energy {
	k.energy.Lapse(&e)
	return e
}

// feel takes an event and warns of what does not fit.
func (s *state) feel(e Event) {
	for _, w := range s.k.touch(&s.energy, e) {
		s.warnings = append(s.warnings, Warning{ID: w.ID, Seq: e.Seq, Text: w.Text})
	}
}

// struck takes what was struck: it proves nothing, and what it took back stays
// taken back.
func (s *state) struck(e Event) {
	with := s.energy
	s.k.touch(&with, e)
	s.lapsed(s.k.energy.Meet(&s.energy, &with), s.k.energy.Lines.Struck, e.Seq)
}

// age takes back the proofs that are too old.
func (s *state) age(now time.Time, seq uint64) {
	s.lapsed(s.k.energy.Age(&s.energy, now), s.k.energy.Lines.LapsedTime, seq)
	s.k.energy.Age(&s.settled, now)
}

// lapsed names the proofs that stand no more.
func (s *state) lapsed(names []string, why string, seq uint64) {
	if text := s.k.energy.Named(names); text != "" {
		s.warnings = append(s.warnings, Warning{ID: energy.Lapsed, Seq: seq, Text: why + " " + text})
	}
}

// liveCurrent is what a clamp on a dead wire shows at most, A: common practice, no
// source.
const liveCurrent = 0.5
