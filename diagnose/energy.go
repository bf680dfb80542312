package diagnose

import (
	"time"

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
	PanelOpen  bool
	LeadsOff   bool   // the capacitor's wires
	PlugOff    bool   // the compressor's wires
	Call       string // "calling", "off" or "" while unknown
	GaugesOn   bool
	Disconnect bool // in
	Breaker    bool // on
	// Proved lists the places that read nothing since the unit was declared dead.
	Proved []catalogue.PlaceID

	testerAt time.Time
}
