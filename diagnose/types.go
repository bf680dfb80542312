package diagnose

import (
	"strings"
	"time"

	"callout/catalogue"
)

// FaultID names one fault, for example "run_capacitor_failed".
type FaultID string

// TestID names one test: one question to the unit, answered by one or more
// readings, for example "compressor_current".
type TestID string

// ClassID names one outcome of a test, for example "locked".
type ClassID string

// Event is one thing that happened in a job. Exactly one payload is set:
// Reading, Observation, Declaration, Repair, Cannot, Resumed or Unsettled.
type Event struct {
	Seq         uint64 // unique in the job
	At          time.Time
	Reading     *catalogue.Reading
	Observation *catalogue.Observation
	Declaration catalogue.DeclarationID
	Repair      catalogue.RepairID
	Cannot      TestID
	Lack        *Lack   // with Cannot: what it fails for, where that is not the test itself
	Certainty   float64 // 0..1 that it was heard right; 0 means 1
	// Resumed: the job was put down and taken up again, so that every proof lapses.
	Resumed bool
	// Unsettled: something was said that puts every proof in doubt.
	Unsettled bool
	// Struck: it was taken back. Nothing of it counts, but what it had put in doubt
	// is proved again.
	Struck bool
}

// Lack is what a test can't be done for: a step towards its energy state (by
// what is declared or read there), or a nameplate value (by its quantity and
// place). Every test that needs the step is then left out until it is done after
// all; a test that needs the value does without it if it can.
type Lack struct {
	Declare  catalogue.DeclarationID
	Quantity catalogue.QuantityID
	Place    catalogue.PlaceID
	Absent   bool // the part is not fitted
}

// Warning says that something does not fit, and what to do about it.
type Warning struct {
	// ID: "contradicts_energy", "contradicts_reading", "implausible",
	// "impossible", "not_ready", "unproved_repair", "overfused",
	// "breaker_small", "wire_small", "bad_event".
	ID   string
	Seq  uint64   // the event that raised it
	With []uint64 // the other events it does not fit with
	Text string
}

// Assessment is everything the engine has to say at one moment.
type Assessment struct {
	Mode     string    // "cooling", "heating" or "" while unknown
	Findings []Finding // what each counted reading means, oldest first
	Causes   []Cause   // most probable first
	Verdict  *Verdict  // nil until earned
	Next     Next
	Energy   Energy
	Timers   []Timer // those still running
	Warnings []Warning
	Proof    ProofState
	Normal   bool // the verdict is that the unit has no fault
}

// Finding is one reading understood: "47 A is 81% of the locked-rotor 58 A: the
// rotor is not turning".
type Finding struct {
	Seq      uint64 // the event that completed it
	Test     TestID
	Quantity catalogue.QuantityID // of the reading that it is made of
	Class    ClassID              // the most probable outcome
	Text     string
	Rated    int  // how many nameplate values that it can be held against are known
	Plain    bool // it says no more than what was seen
	Sure     bool // false where another outcome lies within the instrument's tolerance
	Current  bool // false once a repair or a later state has overtaken it
}

// Cause is one explanation of the call: no fault, one fault or two at once.
type Cause struct {
	Faults      []FaultID // one entry, or two for a pair; an entry may be a "nothing wrong"
	Name        string
	Probability float64
	Because     []string // the findings that speak most for it, strongest first
}

// Verdict is an earned decision.
type Verdict struct {
	Faults      []FaultID
	Name        string
	Probability float64
	Because     string   // one clause, with its numbers
	By          []TestID // whose findings Because gives
	Reasons     []string
	Repairs     []catalogue.RepairID // in the order to do them; none if nothing is wrong
	RuledOut    []string
	WouldChange string // what reading would change the engine's mind
	Cautions    []Caution
}

// The kinds of a Next.
const (
	DoTest      = "test"
	DoMakeSafe  = "make_safe"
	DoEnergise  = "energise"
	DoRepair    = "repair"
	DoProof     = "proof"
	DoWait      = "wait"
	DoDone      = "done"
	DoNameplate = "ask_nameplate"
)

// Next is the one thing to do now.
type Next struct {
	Kind     string
	Test     TestID
	Quantity catalogue.QuantityID
	Place    catalogue.PlaceID
	Declare  []catalogue.DeclarationID // say these once they are so
	Repair   catalogue.RepairID
	Wait     time.Duration
	Needs    []string // the states it needs, in words
	Say      string   // the whole prompt, written English
	Short    string   // the same for one who knows the choices; "" if it is short enough
	Step     string   // of a step towards a test or repair: the same without what it is for
	Because  string   // one clause
	Cautions []Caution
	Minutes  float64 // of the technician's time
}

// Caution is a safety line; it is said before the step it belongs to.
type Caution struct {
	ID    string
	Text  string
	Short string // a name for one who has heard it whole; "" if it is short enough
}

// Name is the caution's short name, or all of it where it has none.
func (c Caution) Name() string {
	if c.Short == "" {
		return strings.TrimSuffix(c.Text, ".")
	}
	return c.Short
}

// Timer is a wait that is running.
type Timer struct {
	ID    string // "short_cycle_delay", "overload_cooling", "bleed", "settle"
	Text  string
	Until time.Time
}

// ProofState says how far the last repair is proved.
type ProofState struct {
	Repairs  []catalogue.RepairID // done and to be proved; empty before any repair
	Items    []ProofItem
	Complete bool // every item that a repair asks for is done and good
	Failed   bool // an item is done and not good: the diagnosis goes on
}

// ProofItem is one reading that proves a repair.
type ProofItem struct {
	Test TestID
	Name string
	Done bool
	OK   bool
	Text string // the finding, once done
	// Beside: it is of the run check and not of the repair, which is proved without it.
	Beside bool
}
