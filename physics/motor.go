package physics

import (
	"fmt"
	"math"
	"time"
)

// Open is the resistance of an open line. A resistance not measured is NaN.
func Open() Ohms { return Ohms(math.Inf(1)) }

// Windings are the three resistances of a single-phase compressor or a
// permanent-split-capacitor fan motor between common, start and run, with the
// meter's leads zeroed. Open() is an open line, NaN not measured.
type Windings struct{ CR, CS, SR Ohms }

// windingTolerance is the disagreement allowed in C-S + C-R = S-R: the larger
// of 0.1 ohm and 5 %.
func windingTolerance(sum Ohms) Ohms { return max(0.1, 0.05*sum) }

// Identity checks C-S + C-R = S-R within the larger of 0.1 ohm and 5 %
// (relation: Lennox dealer column on compressor checks). off is S-R less the
// sum. All three must be measured and closed.
func (w Windings) Identity() (ok bool, off Ohms, err error) {
	for _, r := range []Ohms{w.CR, w.CS, w.SR} {
		if err := within("winding resistance", r, 0, 1e6, "ohms"); err != nil {
			return false, 0, err
		}
	}
	sum := w.CR + w.CS
	off = w.SR - sum
	return math.Abs(float64(off)) <= float64(windingTolerance(sum))+1e-9, off, nil
}

// StartToRun is C-S over C-R; 3 to 5 is typical of compressors (Lennox dealer
// column).
func (w Windings) StartToRun() (float64, error) {
	if err := first(positive("C-R", w.CR, "ohms"), positive("C-S", w.CS, "ohms"), within("C-R", w.CR, 0, 1e6, "ohms"), within("C-S", w.CS, 0, 1e6, "ohms")); err != nil {
		return 0, err
	}
	return float64(w.CS / w.CR), nil
}

// IdentifyTerminals names three pins, 0, 1 and 2, from the resistances between
// them: the highest pair is start to run, the third pin is common; of the other
// two pairs the lower is to run. It fails if a pair is open, if two pairs are
// too near to tell, or if the highest is not about the sum of the others.
func IdentifyTerminals(r01, r02, r12 Ohms) (common, start, run int, err error) {
	pairs := [3]Ohms{r12, r02, r01} // by the pin left out
	for _, r := range pairs {
		if err := within("winding resistance", r, 0, 1e6, "ohms"); err != nil {
			return 0, 0, 0, err
		}
	}
	common = 0
	for pin := range pairs {
		if pairs[pin] > pairs[common] {
			common = pin
		}
	}
	a, b := (common+1)%3, (common+2)%3
	// common to a is the pair that leaves b out, and the other way round.
	if pairs[b] > pairs[a] {
		start, run = a, b
	} else {
		start, run = b, a
	}
	w := Windings{CR: pairs[start], CS: pairs[run], SR: pairs[common]}
	if ok, off, err := w.Identity(); err != nil {
		return 0, 0, 0, err
	} else if !ok {
		return 0, 0, 0, fmt.Errorf("physics: highest pair %.2f ohm is %+.2f from the sum of the others: zero the leads and measure again", float64(w.SR), float64(off))
	}
	if w.CS-w.CR < 0.1 {
		return 0, 0, 0, fmt.Errorf("physics: the lower pairs, %.2f and %.2f ohm, are too near to tell start from run", float64(w.CR), float64(w.CS))
	}
	return common, start, run, nil
}

// A WindingPattern is what open and closed lines between the three terminals
// say.
type WindingPattern int

const (
	WindingsUnknown       WindingPattern = iota // too little measured
	WindingsClosed                              // continuity everywhere; check Identity
	OverloadOpen                                // C-R and C-S open, S-R closed: internal overload, not a bad winding
	RunOpen                                     // run winding open
	StartOpen                                   // start winding open
	AllOpen                                     // every pair open: more than one break, or the leads are off the pins
	WindingsContradictory                       // cannot be: measure again
)

// Pattern reads the windings. An open overload is given its time before
// anything is condemned: see OverloadWait. With S-R not measured, one open
// winding is told from the other pair.
//
// Sources: overload pattern, supply-house note on compressor ohm checks and
// Goodman IO-395 chart; no continuity means an open winding, makers' test
// pages.
func (w Windings) Pattern() WindingPattern {
	open := func(r Ohms) bool { return math.IsInf(float64(r), 1) }
	unknown := func(r Ohms) bool { return math.IsNaN(float64(r)) }
	if unknown(w.CR) || unknown(w.CS) {
		return WindingsUnknown
	}
	switch cr, cs := open(w.CR), open(w.CS); {
	case cr && cs && unknown(w.SR):
		return WindingsUnknown
	case cr && cs && open(w.SR):
		return AllOpen
	case cr && cs:
		return OverloadOpen
	case cr || cs:
		if !open(w.SR) && !unknown(w.SR) {
			return WindingsContradictory // S-R runs through both windings
		}
		if cr {
			return RunOpen
		}
		return StartOpen
	case open(w.SR):
		return WindingsContradictory
	}
	return WindingsClosed
}

// OverloadWait is how long an open internal overload is given to cool before a
// compressor is condemned for it (Goodman IO-395 chart: at least 2 h).
const OverloadWait = 2 * time.Hour

// CoolShellWait is the same where the shell is cool to the hand and nothing has heated
// the compressor since (common practice, no source: windings and shell come to one
// temperature in some ten minutes).
const CoolShellWait = 30 * time.Minute

// An InsulationVerdict is what one megohm reading to ground says. One reading
// alone never condemns: external leads, contactor and relays lower it.
type InsulationVerdict int

const (
	InsulationGood     InsulationVerdict = iota // at least 0.5 megohm
	InsulationMarginal                          // at least 1000 ohm per rated volt: isolate the leads, measure again
	InsulationLow                               // below: isolate the leads, measure again, then suspect a ground
)

// JudgeInsulation reads a winding's resistance to ground for a hermetic motor
// of a rated voltage: 1000 ohm per volt is probably acceptable, 0.5 megohm the
// simple limit (Copeland AE4-1294).
func JudgeInsulation(toGround Ohms, rated Volts) (InsulationVerdict, error) {
	if err := positive("rated voltage", rated, "volts"); err != nil {
		return 0, err
	}
	if math.IsNaN(float64(toGround)) || toGround < 0 {
		return 0, &RangeError{What: "resistance to ground", Value: float64(toGround), Low: 0, High: math.Inf(1), Unit: "ohms"}
	}
	switch {
	case toGround >= 0.5e6:
		return InsulationGood, nil
	case toGround >= 1000*Ohms(rated):
		return InsulationMarginal, nil
	}
	return InsulationLow, nil
}

// PercentOf is a current as a share of a rating: of locked-rotor or of rated
// load.
func PercentOf(i, rating Amps) (Percent, error) {
	if err := first(atLeast("current", i, 0, "amps"), positive("rated current", rating, "amps")); err != nil {
		return 0, err
	}
	return Percent(100 * i / rating), nil
}

// A MotorState is what a compressor's steady current says.
type MotorState int

const (
	NotDrawing  MotorState = iota // under a twentieth of rated load
	LightLoad                     // under half: unloaded, not pumping, or one winding only
	Running                       // up to the rating and a tenth
	HighLoad                      // above: overloaded, low voltage or a bad run circuit
	LockedRotor                   // near the locked-rotor current: it is not turning
)

// JudgeRunningCurrent reads a steady compressor current against its ratings. A
// locked rotor's current falls with the voltage, so the locked-rotor rating is
// scaled by the voltage when both voltages are known (0 is unknown); from 60 %
// of it the rotor is taken as not turning. The bounds are common practice, no
// source; that the rated load current is a rating and not a target too.
func JudgeRunningCurrent(i, rla, lra Amps, v, rated Volts) (MotorState, error) {
	if err := first(atLeast("current", i, 0, "amps"), positive("rated load current", rla, "amps"), atLeast("locked-rotor current", lra, rla, "amps")); err != nil {
		return 0, err
	}
	locked := lra
	if v > 0 && rated > 0 {
		locked *= Amps(v / rated)
	}
	switch {
	case i < 0.05*rla:
		return NotDrawing, nil
	case i >= 0.6*locked:
		return LockedRotor, nil
	case i < 0.5*rla:
		return LightLoad, nil
	case i <= 1.1*rla:
		return Running, nil
	}
	return HighLoad, nil
}
