// Package energy keeps what can hurt: which switches are open and locked, what
// was proved dead and when, which capacitors are bled. What sets, clears, proves
// and contradicts each of them is data (energy.json); this package reads it.
package energy

import (
	"time"
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
	Proved  Charge = "proved" // claimed, and each section measured at nothing
)

// Fact is one thing that is so or not. Those named here are read by the engine;
// the data adds its own.
type Fact uint

// The facts that the engine reads.
const (
	Disconnect Fact = iota // in
	Breaker                // not declared off
	Tripped                // seen tripped or off, which proves nothing dead
	Doubted                // a reading has contradicted that the disconnect was out
	Meter                  // it was shown to read on a source known to be live
	PanelOpen
	LeadsOff // the capacitor's wires
	PlugOff  // the compressor's wires
	StartKit // one is wired in for a try
	Calling
	CallOff
	IndoorOff   // the air handler is declared off
	OutdoorOff  // the outdoor unit is declared off
	OutdoorLock // what was declared off outdoors is locked
	OutdoorDead
	IndoorDead
	CapacitorBled // claimed
	CapacitorDead
	SeenTripped // and not reset since
	known
)

var names = [known]string{"disconnect", "breaker", "tripped", "doubted", "meter", "panel_open", "leads_off", "plug_off", "start_kit", "calling", "call_off", "indoor_off",
	"outdoor_off", "outdoor_locked", "outdoor_dead", "indoor_dead", "capacitor_bled", "capacitor_dead", "seen_tripped"}

// most is how many proofs a machine may hold.
const most = 8

type set uint64

func (s set) has(f Fact) bool { return s>>f&1 != 0 }
func (s set) none() bool      { return s == 0 }

// State is the state of everything that can hurt. The zero value is not valid: a
// job begins with Machine.Start, live, charged and closed. It is a value: a copy
// is independent.
type State struct {
	Outdoor   Power  // the outdoor unit
	Indoor    Power  // the air handler, which is fed apart
	Capacitor Charge // the outdoor unit's run capacitor

	facts set
	since [most]time.Time // when the oldest reading of each proof was taken
}

// Is reports whether a fact holds.
func (s *State) Is(f Fact) bool { return s.facts.has(f) }

// Same reports whether two states hold the same facts, whenever they were proved.
func (s *State) Same(o *State) bool { return s.facts == o.facts }

// view works out the words for the whole.
func (s *State) view() {
	s.Outdoor, s.Indoor, s.Capacitor = Live, Live, Charged
	if s.Is(OutdoorOff) {
		s.Outdoor = DeclaredDead
	}
	if s.Is(OutdoorDead) {
		s.Outdoor = ProvedDead
	}
	if s.Is(IndoorOff) {
		s.Indoor = DeclaredDead
	}
	if s.Is(IndoorDead) {
		s.Indoor = ProvedDead
	}
	if s.Is(CapacitorBled) {
		s.Capacitor = Bled
	}
	if s.Is(CapacitorDead) {
		s.Capacitor = Proved
	}
}
