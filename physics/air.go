package physics

import "math"

// Moist air by the equations of ASHRAE Fundamentals (2017) chapter 1, inch-pound
// forms. Pressures are absolute: see Atmosphere.

// VaporPressure is the saturation pressure of water, over ice below freezing,
// -60 to 250 F (Hyland and Wexler equations 5 and 6).
func VaporPressure(t Fahrenheit) (PSIA, error) {
	if err := within("air temperature", t, -60, 250, "degrees"); err != nil {
		return 0, err
	}
	x := float64(t) + 459.67
	var ln float64
	if t <= 32.018 {
		ln = -1.0214165e4/x - 4.8932428 - 5.3765794e-3*x + 1.9202377e-7*x*x +
			3.5575832e-10*x*x*x - 9.0344688e-14*x*x*x*x + 4.1635019*math.Log(x)
	} else {
		ln = -1.0440397e4/x - 1.1294650e1 - 2.7022355e-2*x + 1.2890360e-5*x*x -
			2.4780681e-9*x*x*x + 6.5459673*math.Log(x)
	}
	return PSIA(math.Exp(ln)), nil
}

// Air is a state of moist air at a pressure.
type Air struct {
	DryBulb  Fahrenheit
	Pressure PSIA
	// Ratio is the humidity ratio in pounds of water a pound of dry air.
	Ratio float64
}

// AirFromRH is air at a dry bulb, relative humidity (0 to 100 %) and altitude.
func AirFromRH(dryBulb Fahrenheit, rh Percent, z Feet) (Air, error) {
	p, err := Atmosphere(z)
	if err != nil {
		return Air{}, err
	}
	pws, err := VaporPressure(dryBulb)
	if err = first(err, within("relative humidity", rh, 0, 100, "percent")); err != nil {
		return Air{}, err
	}
	if err := within("vapour pressure", pws*PSIA(rh)/100, 0, p*0.9, "psi"); err != nil {
		return Air{}, err
	}
	return Air{dryBulb, p, ratioAt(pws*PSIA(rh)/100, p)}, nil
}

// AirFromWetBulb is air at a dry bulb, a wet bulb not above it, and altitude. A
// wet bulb lower than dry air could have is a *RangeError.
func AirFromWetBulb(dryBulb, wetBulb Fahrenheit, z Feet) (Air, error) {
	p, err := Atmosphere(z)
	if err != nil {
		return Air{}, err
	}
	if err := first(within("dry bulb", dryBulb, -60, 150, "degrees"), within("wet bulb", wetBulb, -60, dryBulb, "degrees")); err != nil {
		return Air{}, err
	}
	w := ratioFromWetBulb(float64(dryBulb), float64(wetBulb), p)
	if w < 0 {
		dry := Air{dryBulb, p, 0}
		return Air{}, &RangeError{What: "wet bulb", Value: float64(wetBulb), Low: float64(dry.WetBulb()), High: float64(dryBulb), Unit: "degrees"}
	}
	return Air{dryBulb, p, w}, nil
}

func ratioAt(vapor, p PSIA) float64 { return 0.621945 * float64(vapor/(p-vapor)) }

// ratioFromWetBulb is equations 33 and 35: above and below freezing.
func ratioFromWetBulb(t, wet float64, p PSIA) float64 {
	pws, err := VaporPressure(Fahrenheit(wet))
	if err != nil || pws >= p {
		return math.Inf(1)
	}
	ws := ratioAt(pws, p)
	if wet >= 32 {
		return ((1093-0.556*wet)*ws - 0.240*(t-wet)) / (1093 + 0.444*t - wet)
	}
	return ((1220-0.04*wet)*ws - 0.240*(t-wet)) / (1220 + 0.444*t - 0.48*wet)
}

// WetBulb is the thermodynamic wet bulb, to 0.001 F.
func (a Air) WetBulb() Fahrenheit {
	low, high := float64(a.DewPoint()), float64(a.DryBulb)
	if math.IsNaN(low) {
		low = -60
	}
	for high-low > 1e-4 {
		mid := (low + high) / 2
		if ratioFromWetBulb(float64(a.DryBulb), mid, a.Pressure) > a.Ratio {
			high = mid
		} else {
			low = mid
		}
	}
	return Fahrenheit((low + high) / 2)
}

// VaporPressure is the partial pressure of the air's water.
func (a Air) VaporPressure() PSIA {
	return a.Pressure * PSIA(a.Ratio/(0.621945+a.Ratio))
}

// DewPoint is the temperature at which the air would be saturated; NaN for air
// drier than saturation at -60 F.
func (a Air) DewPoint() Fahrenheit {
	low, high := Fahrenheit(-60), a.DryBulb
	want := a.VaporPressure()
	if p, err := VaporPressure(low); err != nil || p > want {
		return Fahrenheit(math.NaN())
	}
	for high-low > 1e-4 {
		mid := (low + high) / 2
		if p, err := VaporPressure(mid); err != nil || p > want {
			high = mid
		} else {
			low = mid
		}
	}
	return (low + high) / 2
}

// RelativeHumidity is the vapour pressure as a share of saturation.
func (a Air) RelativeHumidity() Percent {
	pws, err := VaporPressure(a.DryBulb)
	if err != nil {
		return Percent(math.NaN())
	}
	return Percent(100 * a.VaporPressure() / pws)
}

// Enthalpy is in Btu a pound of dry air, zero at 0 F dry.
func (a Air) Enthalpy() float64 {
	t := float64(a.DryBulb)
	return 0.240*t + a.Ratio*(1061+0.444*t)
}

// Volume is in cubic feet a pound of dry air.
func (a Air) Volume() float64 {
	return 0.370486 * (float64(a.DryBulb) + 459.67) * (1 + 1.607858*a.Ratio) / float64(a.Pressure)
}

// Conversions: international table units.
const (
	BTUHPerWatt = 3.412141633
	BTUHPerTon  = 12000
)

// Standard air: 0.075 lb/ft3 and 0.24 Btu/(lb F) (ACHR News 145073).
const (
	standardMassFlow = 60 * 0.075 // pounds an hour for each cfm: "4.5"
	standardHeat     = 0.24
)

// SensibleFactor is the "1.08" of the trade, Btu/h for a cfm and a degree:
// 60 x 0.075 x 0.24, less with altitude.
func SensibleFactor(z Feet) (float64, error) {
	ratio, err := DensityRatio(z)
	return standardMassFlow * standardHeat * ratio, err
}

// SensibleFactorOf is the same for air of a density in lb/ft3, above 0: 0.62 at
// 0.043 (ACHR News 145073).
func SensibleFactorOf(density float64) (float64, error) {
	if err := positive("air density", density, "pounds a cubic foot"); err != nil {
		return 0, err
	}
	return 60 * density * standardHeat, nil
}

// SensibleHeat is the heat that an air flow carries over a dry-bulb difference.
func SensibleHeat(flow CFM, d DeltaF, z Feet) (BTUH, error) {
	k, err := SensibleFactor(z)
	if err = first(err, atLeast("airflow", flow, 0, "cfm")); err != nil {
		return 0, err
	}
	return BTUH(k * float64(flow) * float64(d)), nil
}

// TotalHeat is the heat that an air flow gives up from state in to state out:
// 4.5 x cfm x enthalpy difference at sea level, less with altitude.
func TotalHeat(flow CFM, in, out Air, z Feet) (BTUH, error) {
	ratio, err := DensityRatio(z)
	if err = first(err, atLeast("airflow", flow, 0, "cfm")); err != nil {
		return 0, err
	}
	return BTUH(standardMassFlow * ratio * float64(flow) * (in.Enthalpy() - out.Enthalpy())), nil
}

// AirflowFromRise is the air flow that a heat flow warms by a rise of more than
// 0 F. With electric heat: only the strips on, the compressor off, the blower
// at the speed under test, the thermometer out of sight of the elements.
func AirflowFromRise(heat BTUH, rise DeltaF, z Feet) (CFM, error) {
	k, err := SensibleFactor(z)
	if err = first(err, positive("heat", heat, "Btu/h"), positive("temperature rise", rise, "degrees")); err != nil {
		return 0, err
	}
	return CFM(float64(heat) / (k * float64(rise))), nil
}

// Heat is the heat of an electric power.
func Heat(w Watts) BTUH { return BTUH(w * BTUHPerWatt) }
