package diagnose

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"callout/physics"
)

// A sum turns the readings of one test into one number on the scale of its
// outcomes, or straight into an outcome. The formulas and tables stand in
// physics; here they are only put together.

// sumInput is what a sum works on: the test's own reading first, then its
// inputs in the order of the data; open readings are +Inf.
type sumInput struct {
	v    []float64
	job  *state
	cold bool   // the windings were given their time to cool
	own  string // the test's first reference
	refs func(id string) (float64, bool)
}

// sumResult is the number, or an outcome by name, and the texts for the words.
type sumResult struct {
	x       float64
	class   ClassID
	text    map[string]string
	refused string // why no outcome may be drawn from these readings
}

type sum func(in sumInput) sumResult

var sums = map[string]sum{
	"capacitance": func(in sumInput) sumResult { return deviation(in, in.v[0]) },
	"capacitance_under_load": func(in sumInput) sumResult {
		uf, err := physics.CapacitanceUnderLoad(physics.Amps(in.v[1]), physics.Volts(in.v[0]), in.job.frequency())
		if err != nil {
			return sumResult{refused: err.Error()}
		}
		return deviation(in, float64(uf))
	},
	"windings":      windings,
	"superheat":     superheat,
	"subcooling":    subcooling,
	"suction_level": suctionLevel,
	"head_level":    headLevel,
	"split":         split,
	"pumping":       pumping,
	"standing":      standing,
	"sag": func(in sumInput) sumResult {
		if in.v[1] < 150 {
			return sumResult{refused: "no sag can be worked out without a whole supply"}
		}
		x := 100 * (1 - in.v[0]/in.v[1])
		return sumResult{x: x, text: map[string]string{"x": short(math.Round(x)) + "%", "target": short(in.v[1]) + " V"}}
	},
	"compression": compression,
	"rating":      func(in sumInput) sumResult { return sumResult{x: in.v[0] * 1.001} },
	"circuit":     circuit,
	"protection":  protection,
	"heat_rise":   func(in sumInput) sumResult { return degrees(in.v[0] - in.v[1]) },
	"air_rise":    func(in sumInput) sumResult { return degrees(in.v[0] - in.v[1]) },
	"line_drop":   func(in sumInput) sumResult { return degrees(in.v[1] - in.v[0]) },
