package physics

import "math"

// VoltageUnbalance is NEMA's: the largest deviation of the three line voltages
// from their mean, in percent of the mean (NEMA MG 1; worked in SymCom
// 201-575-AU p.5). Not (highest - lowest)/mean, which doubles it.
func VoltageUnbalance(ab, bc, ca Volts) (Percent, error) {
	if err := first(positive("voltage", ab, "volts"), positive("voltage", bc, "volts"), positive("voltage", ca, "volts")); err != nil {
		return 0, err
	}
	mean := (ab + bc + ca) / 3
	worst := max(math.Abs(float64(ab-mean)), math.Abs(float64(bc-mean)), math.Abs(float64(ca-mean)))
	return Percent(100 * worst / float64(mean)), nil
}

// Limits of unbalance for a motor (NEMA guidance as reported by ABB and by
// engineers quoting MG 1).
const (
	UnbalanceNoDerating Percent = 1
	UnbalanceDoNotRun   Percent = 5
	// At 3 % the motor may carry UnbalanceLoadAt3 of its rated load.
	UnbalanceLoadAt3 = 0.90
)

// MotorVoltageBand is the range a motor must work in: rated voltage within 10 %
// at rated frequency (NEMA Condensed MG 1-2011, 9.9.1).
func MotorVoltageBand(rated Volts) (Band, error) {
	if err := positive("rated voltage", rated, "volts"); err != nil {
		return Band{}, err
	}
	return Band{0.9 * float64(rated), 1.1 * float64(rated)}, nil
}

// UnitVoltageBand is the range of a unit with one or two nameplate voltages
// (208/230): the lower less 10 % to the higher plus 10 %, so 187 to 253 V.
func UnitVoltageBand(low, high Volts) (Band, error) {
	if err := first(positive("rated voltage", low, "volts"), within("higher rated voltage", high, low, 1000, "volts")); err != nil {
		return Band{}, err
	}
	return Band{0.9 * float64(low), 1.1 * float64(high)}, nil
}

// A Service is a supply as the utility delivers it.
type Service int

const (
	Split120240   Service = iota // 120/240 V single phase, three wires
	Network120208                // 120/208 V, two legs and neutral of a wye
	Wye208                       // 208 V between any two legs, three phase
	Delta240                     // 240 V three wire
)

// ServiceBand is the range of voltage the utility must hold between two legs
// (COMAR 20.50.07.02, Maryland; the same as range A service voltage of ANSI
// C84.1 as remembered).
func ServiceBand(s Service) Band {
	switch s {
	case Split120240:
		return Band{228, 252}
	case Network120208, Wye208:
		return Band{197, 219}
	}
	return Band{216, 252}
}

// LegToNeutralBand is the range between one leg and neutral where the service
// has one (same source); ok is false where it has none.
func LegToNeutralBand(s Service) (b Band, ok bool) {
	if s == Split120240 || s == Network120208 {
		return Band{114, 126}, true
	}
	return Band{}, false
}

// Sag is the fall of voltage from standing to starting, in percent of the
// standing voltage; negative if it rises.
func Sag(standing, starting Volts) (Percent, error) {
	if err := first(positive("standing voltage", standing, "volts"), within("starting voltage", starting, 0, 1000, "volts")); err != nil {
		return 0, err
	}
	return Percent(100 * (1 - starting/standing)), nil
}

// TorqueRatio is a motor's starting torque as a share of that at rated voltage:
// about the square of the voltage ratio (NEMA Condensed MG 1-2011, 9.9.2).
func TorqueRatio(v, rated Volts) (float64, error) {
	return squareRatio(v, rated)
}

// PowerRatio is a resistance heater's power as a share of that at rated
// voltage: the square of the voltage ratio.
func PowerRatio(v, rated Volts) (float64, error) {
	return squareRatio(v, rated)
}

func squareRatio(v, rated Volts) (float64, error) {
	if err := first(within("voltage", v, 0, 1000, "volts"), positive("rated voltage", rated, "volts")); err != nil {
		return 0, err
	}
	r := float64(v / rated)
	return r * r, nil
}

// StripHeatAmps is the current of a single-phase resistance heater at its rated
// power and voltage.
func StripHeatAmps(w Watts, v Volts) (Amps, error) {
	if err := first(atLeast("heater power", w, 0, "watts"), positive("voltage", v, "volts")); err != nil {
		return 0, err
	}
	return Amps(float64(w) / float64(v)), nil
}

// StripHeatAt is what a heater rated at one voltage draws and gives at another.
func StripHeatAt(rated Watts, ratedVolts, v Volts) (Watts, Amps, error) {
	ratio, err := PowerRatio(v, ratedVolts)
	if err = first(err, positive("rated power", rated, "watts"), positive("voltage", v, "volts")); err != nil {
		return 0, 0, err
	}
	w := rated * Watts(ratio)
	return w, Amps(float64(w) / float64(v)), nil
}

// TransformerAmps is the rated current of a winding of a transformer.
func TransformerAmps(va float64, v Volts) (Amps, error) {
	if err := first(positive("transformer rating", va, "volt-amperes"), positive("voltage", v, "volts")); err != nil {
		return 0, err
	}
	return Amps(va / float64(v)), nil
}
