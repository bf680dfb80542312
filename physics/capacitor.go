package physics

import (
	"math"
	"time"
)

// CapacitanceUnderLoad is the run capacitance of a working motor from the
// current in the lead between capacitor and start winding and the voltage
// across the capacitor's own terminals (not the line's): I / (2 pi f V). At 60
// Hz that is 2652.6 I/V.
func CapacitanceUnderLoad(i Amps, v Volts, f Hertz) (Microfarads, error) {
	if err := first(
		atLeast("start winding current", i, 0, "amps"),
		positive("capacitor voltage", v, "volts"),
		positive("frequency", f, "hertz"),
	); err != nil {
		return 0, err
	}
	return Microfarads(1e6 * float64(i) / (2 * math.Pi * float64(f) * float64(v))), nil
}

// CapacitorCurrent is the inverse of CapacitanceUnderLoad.
func CapacitorCurrent(c Microfarads, v Volts, f Hertz) (Amps, error) {
	if err := first(positive("capacitance", c, "microfarads"), positive("capacitor voltage", v, "volts"), positive("frequency", f, "hertz")); err != nil {
		return 0, err
	}
	return Amps(float64(c) * 2 * math.Pi * float64(f) * float64(v) / 1e6), nil
}

// DefaultCapacitorTolerance is used, and must be said as an assumption, where a
// run capacitor's label gives none. Labels of 5, 6 and 10 % are normal (5, 10
// and 15 % to IEC 60252-1 by a maker's data sheet; 6 % by trade pages).
const DefaultCapacitorTolerance Percent = 6

// CapacitorBand is the range a label allows, for a tolerance of 0 to 50 %
// either way.
func CapacitorBand(rated Microfarads, tolerance Percent) (Band, error) {
	if err := first(positive("rated capacitance", rated, "microfarads"), within("tolerance", tolerance, 0, 50, "percent")); err != nil {
		return Band{}, err
	}
	d := float64(rated) * float64(tolerance) / 100
	return Band{float64(rated) - d, float64(rated) + d}, nil
}

// CapacitorDeviation is how far a measured capacitance is from the rated one,
// in percent of the rated.
func CapacitorDeviation(measured, rated Microfarads) (Percent, error) {
	if err := first(atLeast("capacitance", measured, 0, "microfarads"), positive("rated capacitance", rated, "microfarads")); err != nil {
		return 0, err
	}
	return Percent(100 * (measured/rated - 1)), nil
}

// What a capacitor may hold and for how long: 50 V or less within a minute of
// disconnection (NEC 460.6, as reported by a code quiz; parts up to 1000 V in
// newer editions). Most run capacitors have no bleed resistor: charged until
// measured.
const (
	SafeVolts     Volts = 50
	DischargeTime       = time.Minute
)

// PeakVolts is the highest instantaneous voltage of a sine: what a capacitor
// may be left with.
func PeakVolts(rms Volts) Volts { return rms * math.Sqrt2 }

// StoredEnergy is in joules, for a direct voltage.
func StoredEnergy(c Microfarads, v Volts) float64 {
	return float64(c) * 1e-6 * float64(v) * float64(v) / 2
}

// BleedTime is how long a resistor takes to bring a capacitor from one direct
// voltage to another: R C ln(from/to). It is zero if from is not above to.
func BleedTime(c Microfarads, r Ohms, from, to Volts) (time.Duration, error) {
	if err := first(positive("capacitance", c, "microfarads"), positive("bleed resistance", r, "ohms"),
		atLeast("starting voltage", from, 0, "volts"), positive("end voltage", to, "volts")); err != nil {
		return 0, err
	}
	if from <= to {
		return 0, nil
	}
	seconds := timeConstant(c, r) * math.Log(float64(from/to))
	if seconds > 1e9 {
		return 0, &RangeError{What: "bleed time", Value: seconds, Low: 0, High: 1e9, Unit: "seconds"}
	}
	return time.Duration(seconds * float64(time.Second)), nil
}

// timeConstant is R C in seconds.
func timeConstant(c Microfarads, r Ohms) float64 { return float64(c) * 1e-6 * float64(r) }

// VoltsLeft is the voltage on a capacitor after a time on a bleed resistor.
func VoltsLeft(c Microfarads, r Ohms, from Volts, after time.Duration) (Volts, error) {
	if err := first(positive("capacitance", c, "microfarads"), positive("bleed resistance", r, "ohms"),
		atLeast("time", after.Seconds(), 0, "seconds")); err != nil {
		return 0, err
	}
	return from * Volts(math.Exp(-after.Seconds()/timeConstant(c, r))), nil
}

// LargestBleed is the largest resistor that brings a capacitor from one direct
// voltage to another within a time.
func LargestBleed(c Microfarads, from, to Volts, in time.Duration) (Ohms, error) {
	if err := first(positive("capacitance", c, "microfarads"), positive("end voltage", to, "volts"),
		positive("starting voltage above the end voltage by", from-to, "volts"), positive("time", in.Seconds(), "seconds")); err != nil {
		return 0, err
	}
	return Ohms(in.Seconds() / (float64(c) * 1e-6 * math.Log(float64(from/to)))), nil
}

// BleedPeakPower is the power in a bleed resistor at the first instant.
func BleedPeakPower(r Ohms, from Volts) (Watts, error) {
	if err := positive("bleed resistance", r, "ohms"); err != nil {
		return 0, err
	}
	return Watts(float64(from) * float64(from) / float64(r)), nil
}
