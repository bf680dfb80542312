// Package hazard is a second, simple model of what can hurt at a residential
// heat pump, written apart from the engine so that it can judge it: a physical
// unit with its switches, legs, capacitors and a meter that may die; a ledger of
// what the technician has told, which accepts no more than a careful safety
// person would; and a table of which work is hands-on where. It reads no data of
// the engine.
//
// The order that the ledger asks for is that of the lock-out and test rules, from
// memory: OSHA 29 CFR 1910.147(d)(3) to (d)(6) (isolate, lock, release what is
// stored, then verify), 1910.333(b)(2)(iv)(B) (the tester is checked on a known
// source before and after, and every conductor is tested), and NFPA 70E
// article 120 (each conductor to ground and to the others).
package hazard

import (
	"time"

	"callout/catalogue"
)

// MaxAge is how old a dead reading may be before work must not rest on it any
// more. Common practice, no source: rules ask for a new test whenever the work
// was left or the state may have changed, and name no number of hours.
const MaxAge = 2 * time.Hour

// Volts of a reading, with where the limits come from.
const (
	// Harmful is from where a circuit must be put into a safe state before work on
	// it: 50 V, OSHA 29 CFR 1910.333(a)(1), from memory. A source that shows less
	// proves no meter for line voltage.
	Harmful = 50.0
	// Dead is the most that a dead conductor may read: common practice, no source;
	// a good meter's whisper on a loose lead is a few volts.
	Dead = 10.0
	// Discharged is the most that a bled capacitor may read, in volts DC: common
	// practice, no source.
	Discharged = 10.0
	// Control is from where a 24 V circuit is on: common practice, no source.
	Control = 15.0
)

// Told is one thing that the technician has told. Exactly one of Reading,
// Observation, Declaration, Repair and Absent is set.
type Told struct {
	ID          int
	At          time.Time
	Reading     *catalogue.Reading
	Observation *catalogue.Observation
	Declaration catalogue.DeclarationID
	Repair      catalogue.RepairID
	Absent      catalogue.PlaceID // a part that is not fitted
}

// Prompt is one thing that the program tells the technician to do.
type Prompt struct {
	Does     string // test, make_safe, energise, repair, proof, wait, ask_nameplate or done
	Test     string
	Quantity string
	Place    string
	Declare  []string
	Repair   string
	Say      string
	Cautions []string // the texts given with it
}
