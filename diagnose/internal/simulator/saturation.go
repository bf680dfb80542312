package simulator

import "math"

// antoine holds ln(psia) = a - b/(F + c), fitted to tables of saturation over
// -30 to 150 F: within 0.7 % in pressure, 0.5 F.
type antoine struct{ a, b, c float64 }

func (k antoine) psia(f float64) float64 { return math.Exp(k.a - k.b/(f+k.c)) }
func (k antoine) temp(p float64) float64 { return k.b/(k.a-math.Log(p)) - k.c }

type fluid struct{ bubble, dew antoine }

func fluidOf(name string) fluid {
	pure := func(a, b, c float64) fluid { return fluid{antoine{a, b, c}, antoine{a, b, c}} }
	switch name {
	case "R-22":
		return pure(12.59337, 3816.467, 427.0)
	case "R-32":
		return pure(13.39976, 4173.387, 451.5)
	case "R-134a":
		return pure(12.59973, 3886.082, 407.0)
	case "R-454B":
		return fluid{antoine{13.1133, 3987.043, 442.5}, antoine{13.3495, 4225.881, 454.5}}
	case "R-407C":
		return fluid{antoine{12.75619, 3847.607, 429.0}, antoine{13.0745, 4038.019, 423.0}}
	}
	return fluid{antoine{13.32685, 4137.161, 450.5}, antoine{13.35241, 4164.068, 452.0}} // R-410A
}
