package physics

import "time"

// A HeatingPoint is what one labelled example unit gave at an outdoor
// temperature by its heat pump alone.
type HeatingPoint struct {
	Rise     DeltaF // supply over return
	Capacity BTUH
	COP      float64
}

// HeatingExample interpolates a published heating table, outdoor -10 to 65 F:
// one 2.5 ton unit near 1050 cfm with 70 F return air (Goodman SSZ140301 manual
// p.28). It shows how the rise falls with the outdoor temperature; field
// tolerance about 5 F, and another unit differs.
func HeatingExample(outdoor Fahrenheit) (HeatingPoint, error) {
	g, err := heatingGrid()
	if err != nil {
		return HeatingPoint{}, err
	}
	low, high := Fahrenheit(g.Rows[0]), Fahrenheit(g.Rows[len(g.Rows)-1])
	if err := within("outdoor temperature", outdoor, low, high, "degrees"); err != nil {
		return HeatingPoint{}, err
	}
	var v [3]float64
	for i := range v {
		v[i], _ = g.at(float64(outdoor), float64(i+1)) // no dashes: a test holds it
	}
	return HeatingPoint{DeltaF(v[0]), BTUH(v[1] * 1000), v[2]}, nil
}

// Defrost controls as seen on makers' boards (Armstrong 48478A006, Bard 2100-399
// and 2100-443, Nortek/Kelvinator JT4BE, Ducane 2HP13).
const (
	// DefrostStart is where most coil sensors close; one closes at 32 F.
	DefrostStart Fahrenheit = 30
	// DefrostStopLow and DefrostStopHigh span where the sensors open (Bard,
	// Nortek). Between start and stop the contact depends on its history: it
	// must not be judged there.
	DefrostStopLow  Fahrenheit = 57
	DefrostStopHigh Fahrenheit = 68
	// DefrostLimit is the forced end: 10 minutes (Bard, Nortek), 14 on others.
	DefrostLimit     = 10 * time.Minute
	DefrostLimitLong = 14 * time.Minute
	// OffCycleDelay is the timed-off period after power or a call ends.
	OffCycleDelay = 5 * time.Minute
)

// DefrostIntervals are the selectable compressor run times between defrosts.
func DefrostIntervals() []time.Duration {
	return []time.Duration{30 * time.Minute, 60 * time.Minute, 90 * time.Minute}
}
