package diagnose

import (
	"callout/catalogue"
	"callout/diagnose/energy"
)

// Fault is one thing that can be wrong, or one way in which nothing is.
type Fault struct {
	ID      FaultID `json:"id"`
	Name    string  `json:"name"`
	Prior   float64 `json:"prior"`   // calls in a thousand, roughly
	Profile string  `json:"profile"` // how the unit behaves with it
	// PutBack is the profile once a switch that was found off is on again.
	PutBack  string            `json:"put_back,omitempty"`
	Mode     string            `json:"mode,omitempty"`
	UnitType string            `json:"unit_type,omitempty"`
	Phase    string            `json:"phase,omitempty"` // "single" or "three"; single where the nameplate is silent
	Metering string            `json:"metering,omitempty"`
	Normal   bool              `json:"normal,omitempty"` // nothing is wrong with the unit
	Shows    map[TestID]string `json:"shows"`            // what it changes in its profile: "open 88 weak 12"
	// Passes is after how many minutes it has passed by itself, 0 for what doesn't.
	Passes      float64 `json:"passes,omitempty"`
	PassSay     string  `json:"pass_say,omitempty"` // what is said while it is waited for
	PassBecause string  `json:"pass_because,omitempty"`
	// CameOn is how often it comes on by itself while it is looked at.
	CameOn float64 `json:"came_on,omitempty"`
	// CameOnAlone is how often its compressor comes on by itself though the fan ran all
	// along: no delay held it, its overload was open. CameOn where it is not given.
	CameOnAlone *float64 `json:"came_on_alone,omitempty"`
	// Ways lists the ways in which it shows itself, where it has several.
	Ways []Way `json:"ways,omitempty"`
	// Valve is what it shows instead where an expansion valve meters.
	Valve   map[TestID]string    `json:"valve,omitempty"`
	Repairs []catalogue.RepairID `json:"repairs"`
	// Confirm lists the findings of which one must stand before the verdict:
	// "windings: start_open", or several with " & ".
	Confirm []string `json:"confirm"`
	First   string   `json:"first,omitempty"` // the gate before its verdict
	Proof   []string `json:"proof,omitempty"` // for a normal: what shows it
	// Close is what is said when a call ends with it, where its name won't do.
	Close    string   `json:"close,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
	Source   string   `json:"source"`
}

// Way is one of several ways in which a fault shows itself.
type Way struct {
	Share   float64 `json:"share"`            // percent
	Slight  bool    `json:"slight,omitempty"` // what lies far out is seldom seen
	Profile string  `json:"profile,omitempty"`
	// Valve is what it shows instead where an expansion valve meters.
	Valve map[TestID]string `json:"valve,omitempty"`
	Shows map[TestID]string `json:"shows,omitempty"`

	state map[TestID]string // what its profile shows in one of its states
}

// Test is one question to the unit.
type Test struct {
	ID       TestID               `json:"id"`
	Name     string               `json:"name"`
	Quantity catalogue.QuantityID `json:"quantity"`
	Place    catalogue.PlaceID    `json:"place"`
	Also     []Input              `json:"also,omitempty"`    // other readings that answer it
	Inputs   []Input              `json:"inputs,omitempty"`  // further readings it needs
	May      []Input              `json:"may,omitempty"`     // those that it takes where they are known
	Refs     []string             `json:"refs,omitempty"`    // nameplate values it uses
	AskRef   string               `json:"ask_ref,omitempty"` // the one asked for when it is missing
	Wants    []string             `json:"wants,omitempty"`   // those asked for although another could stand in for them
	Value    string               `json:"value,omitempty"`   // the sum that turns readings into one number
	// Tolerance is the instrument's, one standard deviation, in the value's unit
	// plus percent of the reading.
	Tolerance *Tolerance `json:"tolerance,omitempty"`
	State     string     `json:"state"`               // the energy state it needs
	Operating bool       `json:"operating,omitempty"` // its outcome depends on the unit being powered and called
	Condition string     `json:"condition,omitempty"` // what must be so before it is asked
	Isolated  bool       `json:"isolated,omitempty"`  // it counts only with the compressor's own wires off
	Mode      string     `json:"mode,omitempty"`
	UnitType  string     `json:"unit_type,omitempty"`
	Phase     string     `json:"phase,omitempty"`
	Metering  string     `json:"metering,omitempty"`
	// After lists the findings of which one makes it worth asking; none: always.
	After []string `json:"after,omitempty"`
	// Changes is after how many minutes another look is news and contradicts nothing.
	Changes float64 `json:"changes,omitempty"`
	// Once: it is not put again after it was declined, being dangerous.
	Once bool `json:"once,omitempty"`
	// First names the gate before it is put.
	First string `json:"first,omitempty"`
	// Lifts lists the findings of which one makes it possible where it was not: ice that is
	// gone shows the coil.
	Lifts []string `json:"lifts,omitempty"`
	// Unless lists the findings under which it tells nothing.
	Unless []string                      `json:"unless,omitempty"`
	Values map[catalogue.ValueID]ClassID `json:"values,omitempty"` // observed values that share an outcome
	// Untold is what a value that Values maps to no outcome means: it tells nothing.
	Untold string `json:"untold,omitempty"`
	Sticky bool   `json:"sticky,omitempty"` // as found: does not change with the unit's state
	// Soon: what it shows passes by itself, so that it is looked at early.
	Soon      bool     `json:"soon,omitempty"`
	Optional  bool     `json:"optional,omitempty"` // the part may not be fitted: that it can't be tested says so
	Highest   bool     `json:"highest,omitempty"`
	ProofOnly bool     `json:"proof_only,omitempty"`
	Minutes   float64  `json:"minutes"`
	Cautions  []string `json:"cautions,omitempty"`
	Say       string   `json:"say"`
	Because   string   `json:"because"`
	Classes   []Class  `json:"classes"`
	// Blind are the outcomes that show by themselves where AskRef is not known; one
	// without an ID tells nothing.
	Blind []Class `json:"blind,omitempty"`
	// Beyond says the last outcome where an input is not known and it holds even with
	// the most that the input can be.
	Beyond string `json:"beyond,omitempty"`
	Normal string `json:"normal"` // outcomes on a healthy running unit
	// NormalValve are those where an expansion valve meters, if they differ.
	NormalValve string `json:"normal_valve,omitempty"`
	// Stopped are the outcomes while the compressor stands: pressures level out, lines
	// and air come to the temperatures round them.
	Stopped  string                          `json:"stopped,omitempty"`
	OpenLine ClassID                         `json:"open_line,omitempty"`
	Ohms     *struct{ Closed, Open ClassID } `json:"ohms,omitempty"` // outcome by resistance, where that answers too
	Then     []Sequence                      `json:"then,omitempty"`
	Timers   map[ClassID]string              `json:"timers,omitempty"`
	Source   string                          `json:"source"`
}

// Input is one reading that a test uses.
type Input struct {
	Quantity catalogue.QuantityID `json:"quantity"`
	Place    catalogue.PlaceID    `json:"place"`
	Factor   float64              `json:"factor,omitempty"` // to the test's own unit; 0 is 1
	Or       catalogue.PlaceID    `json:"or,omitempty"`     // a place that does as well where it was read there
	Most     float64              `json:"most,omitempty"`   // what it hardly ever exceeds: stands in for it, see Test.Beyond
}

// Tolerance of an instrument: one standard deviation.
type Tolerance struct {
	Abs     float64 `json:"abs"`
	Percent float64 `json:"percent"`
}

// Class is one outcome of a test. The outcomes of a number are ordered; each
// reaches up to To, times the nameplate value Of where one is named.
type Class struct {
	ID  ClassID  `json:"id"`
	To  *float64 `json:"to,omitempty"`
	Of  string   `json:"of,omitempty"`
	Say string   `json:"say"`
	// In names the outcome that it is a part of: what is said of that one holds of
	// this one too, and its probability is shared between them.
	In ClassID `json:"in,omitempty"`
}

// Sequence is a change between two readings of one test that means something
// by itself.
type Sequence struct {
	From  ClassID `json:"from"`
	To    ClassID `json:"to"`
	Keep  ClassID `json:"keep"`
	Timer string  `json:"timer,omitempty"`
	Say   string  `json:"say"`
}

// profile is one way in which a unit behaves as a whole. The lower its level,
// the nearer to the supply, and the more it hides of other faults.
type profile struct {
	ID         string            `json:"id"`
	Name       string            `json:"name"`
	Level      int               `json:"level"`
	Compressor bool              `json:"compressor"` // it turns
	Shows      map[TestID]string `json:"shows"`
	Valve      map[TestID]string `json:"valve,omitempty"` // instead, where an expansion valve meters
	// States lists the states in which it may be found, where it has several: what
	// several tests show then hangs together.
	States []profileState `json:"states,omitempty"`
}

type profileState struct {
	Share float64           `json:"share"` // percent
	Shows map[TestID]string `json:"shows"`
}

// ref is a value off the nameplate, or what stands in for it.
type ref struct {
	ID       string               `json:"id"`
	Quantity catalogue.QuantityID `json:"quantity,omitempty"`
	Place    catalogue.PlaceID    `json:"place,omitempty"`
	From     string               `json:"from,omitempty"`
	Times    float64              `json:"times,omitempty"`
	Default  float64              `json:"default,omitempty"`
	Said     string               `json:"said,omitempty"`     // how the default is said
	Standard bool                 `json:"standard,omitempty"` // the default is a standard's mark, as good as a label
	Source   string               `json:"source"`
}

type repairRule struct {
	ID      catalogue.RepairID `json:"id"`
	State   string             `json:"state"`
	Circuit bool               `json:"circuit"` // it opens the refrigerant circuit
	// Supply: it works on the supply, so that what was proved dead is proved again.
	Supply bool `json:"supply,omitempty"`
	// Then is what is done in its place, once it was done and did not hold.
	Then catalogue.RepairID `json:"then,omitempty"`
	// Also lists faults that it mends beside those that ask for it.
	Also      []FaultID `json:"also,omitempty"`
	Proof     []string  `json:"proof"`
	Remeasure []TestID  `json:"remeasure"` // tests that it makes out of date
	Cautions  []string  `json:"cautions"`
	Source    string    `json:"source"`

	proof     []clause
	remeasure map[int]bool
}

// leaving is one reading of the run check: taken once before the job is left, after a
// repair and after none.
type leaving struct {
	Proof string `json:"proof"`
	Near  bool   `json:"near,omitempty"` // only while the outdoor unit is proved dead, or was for the last repair
	// Labelled: only where the nameplate says what it is held against.
	Labelled bool `json:"labelled,omitempty"`
	// Instead names the findings of which one does as well.
	Instead []string `json:"instead,omitempty"`
	Source  string   `json:"source"`

	proof   clause
	instead []clause
}

type gate struct {
	ID     string `json:"id"`
	After  string `json:"after,omitempty"` // a gate whose needs come before its own
	Name   string `json:"name"`
	Needs  []need `json:"needs"`
	Source string `json:"source"`
}

type need struct {
	Name    string               `json:"name"`
	Any     []string             `json:"any,omitempty"`
	All     []string             `json:"all,omitempty"`
	Measure []TestID             `json:"measure,omitempty"`
	Absent  bool                 `json:"absent,omitempty"` // nothing is needed where the part of Measure is not fitted
	Unread  bool                 `json:"unread,omitempty"` // nor where the nameplate does not tell what Measure is held against
	Waived  bool                 `json:"waived,omitempty"` // nor where nothing of Measure is left to do: the rest of the gate and the belief decide
	Mark    catalogue.QuantityID `json:"mark,omitempty"`   // nor where the unit's papers tell this
	Renew   *renewal             `json:"renew,omitempty"`  // nor where what can't be measured was renewed, which costs little

	any, all []clause
}

// renewal is a cheap part that is renewed before a dear one is condemned, where nothing
// that is left to do would prove it.
type renewal struct {
	Fault   FaultID `json:"fault"` // what it would be, and whose repair it is
	Name    string  `json:"name"`
	Because string  `json:"because"`
}

type condition struct {
	ID   string   `json:"id"`
	Any  []string `json:"any"`
	Said string   `json:"said"`

	any []clause
}

// conflict is two findings that can't both be true of one unit at one time.
type conflict struct {
	A   string `json:"a"`
	B   string `json:"b"`
	Say string `json:"say"`
	// Early: A passes with a short-cycle delay, so that A seen early and B later say
	// nothing against each other. A is looked at again.
	Early bool `json:"early,omitempty"`

	a, b clause
}

type cautionText struct {
	ID     string `json:"id"`
	Short  string `json:"short,omitempty"` // for one who has heard it whole
	Text   string `json:"text"`
	Source string `json:"source"`
	// With lists the cautions that it is said along with where the unit holds one of
	// Refrigerants; "" is one that is not known.
	With         []string            `json:"with,omitempty"`
	Refrigerants []catalogue.ValueID `json:"refrigerants,omitempty"`
}

// clause is one condition on one test: its outcome is one of a set.
type clause struct {
	test int
	mask uint32
}

// Knowledge is everything the engine knows, loaded and checked. It never
// changes and is safe for concurrent use.
type Knowledge struct {
	cat       *catalogue.Catalogue
	version   string
	faults    []Fault
	tests     []Test
	profiles  []profile
	refs      []ref
	repairs   []repairRule
	gates     []gate
	conds     []condition
	conflicts []conflict
	leaving   []leaving
	energy    *energy.Machine

	testAt    map[TestID]int
	refAt     map[string]int
	repairAt  map[catalogue.RepairID]int
	gateAt    map[string]int
	condAt    map[string]int
	stepAt    map[string]int
	stateAt   map[string]int
	profileAt map[string]int
	caution   map[string]Caution
	along     []cautionText   // said along with others
	answers   map[Input][]int // which tests a reading answers or feeds
	feeds     map[Input][]int // the same, with what a wet bulb is worked out from

	confirm [][][]clause // per fault: alternatives of conjunctions
	after   [][]clause   // per test
	unless  [][]clause   // per test
	lifts   [][]clause   // per test
	proofs  [][]clause   // per fault

	model *model
}

// Faults lists every fault, in the order of the data.
func (k *Knowledge) Faults() []Fault { return append([]Fault(nil), k.faults...) }

// Tests lists every test, in the order of the data.
func (k *Knowledge) Tests() []Test { return append([]Test(nil), k.tests...) }

// Version is the SHA-256 of the knowledge, for the job log.
func (k *Knowledge) Version() string { return k.version }
