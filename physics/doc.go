// Package physics holds the arithmetic of the trade: saturation of the common
// refrigerants, charge and airflow checks, moist air, and the electrical sums
// done at a unit. It knows no fault, no test and no speech.
//
// Units are those of the North American trade, carried by light types where a
// mix-up would be dangerous or likely: a temperature is not a difference of
// temperatures, a gauge pressure is not an absolute one. Every function is pure
// and safe for concurrent use. Inputs outside a function's range give a
// *RangeError, never a guess; the source of a formula or table is named beside
// it, or it says "common practice, no source".
package physics

import (
	"fmt"
	"math"
)

// Fahrenheit is a temperature in degrees Fahrenheit.
type Fahrenheit float64

// DeltaF is a difference of two temperatures in Fahrenheit degrees.
type DeltaF float64

// PSIG is a gauge pressure in pounds per square inch against the local
// atmosphere.
type PSIG float64

// PSIA is an absolute pressure in pounds per square inch.
type PSIA float64

// Feet is an altitude above sea level.
type Feet float64

// Volts is an RMS voltage unless a function says peak or direct.
type Volts float64

// Amps is an RMS current.
type Amps float64

// Ohms is a resistance. An open line is Open.
type Ohms float64

// Microfarads is a capacitance.
type Microfarads float64

// Hertz is a supply frequency.
type Hertz float64

// Watts is an electrical power.
type Watts float64

// BTUH is a heat flow in British thermal units per hour.
type BTUH float64

// CFM is an air flow in cubic feet per minute at the air's own density.
type CFM float64

// Percent is a share in hundredths: 6 is 6 %.
type Percent float64

// Band is a closed interval: its ends belong to it.
type Band struct{ Low, High float64 }

// Contains says whether x lies in the band, ends included.
func (b Band) Contains(x float64) bool { return x >= b.Low && x <= b.High }

// A RangeError is returned when an input lies outside what a formula or table
// covers.
type RangeError struct {
	What      string  // what was given, in plain words
	Value     float64 // as given
	Low, High float64 // the range covered; High is infinite where there is no limit
	Unit      string  // plain words
}

func (e *RangeError) Error() string {
	switch {
	case math.IsNaN(e.Value) || math.IsInf(e.Value, 0):
		return fmt.Sprintf("physics: %s is not a finite number", e.What)
	case math.IsInf(e.High, 1) && e.Value == e.Low:
		return fmt.Sprintf("physics: %s must be above %g %s", e.What, e.Low, e.Unit)
	case math.IsInf(e.High, 1):
		return fmt.Sprintf("physics: %s %.5g %s is below %g", e.What, e.Value, e.Unit, e.Low)
	}
	return fmt.Sprintf("physics: %s %.5g %s is outside %.5g to %.5g", e.What, e.Value, e.Unit, e.Low, e.High)
}

// within checks low <= x <= high.
func within[T ~float64](what string, x, low, high T, unit string) error {
	if x >= low && x <= high && !math.IsInf(float64(x), 0) { // NaN fails
		return nil
	}
	return &RangeError{What: what, Value: float64(x), Low: float64(low), High: float64(high), Unit: unit}
}

// atLeast checks x >= low.
func atLeast[T ~float64](what string, x, low T, unit string) error {
	if x >= low && !math.IsInf(float64(x), 0) {
		return nil
	}
	return &RangeError{What: what, Value: float64(x), Low: float64(low), High: math.Inf(1), Unit: unit}
}

// positive checks x > 0.
func positive[T ~float64](what string, x T, unit string) error {
	if x > 0 && !math.IsInf(float64(x), 0) {
		return nil
	}
	return &RangeError{What: what, Value: float64(x), Low: 0, High: math.Inf(1), Unit: unit}
}

// first returns the first error that is not nil.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
