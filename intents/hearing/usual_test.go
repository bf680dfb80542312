package hearing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/catalogue"
)

// What is usual is common practice; the standard ratings of breakers are NEC 240.6(A), from memory.
func TestUsualReadings(t *testing.T) {
	e := newTestEar(t)
	for _, c := range []struct {
		quantity  catalogue.QuantityID
		place     catalogue.PlaceID
		value     float64
		qualifier catalogue.Qualifier
		usual     bool
	}{
		{"liquid_pressure", "liquid_line", 4.3, "", false},
		{"liquid_pressure", "liquid_line", 423, "", true},
		{"voltage", "compressor_terminals", 29, "", false},
		{"voltage", "compressor_terminals", 229, "", true},
		{"voltage", "compressor_terminals", 0.4, "", true},
		{"voltage", "compressor_terminals", 0, catalogue.Nothing, true},
		{"max_overcurrent", "unit", 28, "", false},
		{"max_overcurrent", "unit", 30, "", true},
		{"starting_current", "compressor_common", 3, "", false},
		{"resistance", "common_to_run", 0, catalogue.OpenLine, true},
		{"insulation_resistance", "winding_to_ground", 0.02, "", true}, // not listed: anything is
	} {
		assert.Equal(t, c.usual, e.usual.has(catalogue.Reading{Quantity: c.quantity, Place: c.place, Value: c.value, Qualifier: c.qualifier}), "%+v", c)
	}
}

// A usual reading is taken before one as likely that is not, and what is not usual must be
// heard more clearly to be recorded.
func TestWhatIsNotUsualIsHeldLessLikely(t *testing.T) {
	e := newTestEar(t)
	low, high := "Head pressure 4.3.", "Head pressure 423."
	hear := func(fit ...audio.Hypothesis) Heard {
		return e.Understand(alone(heard(fit[0].Text, fit[0].LogLikelihood, fit...)))
	}
	assert.Equal(t, high, hear(hyp(low, -3), hyp(high, -4)).Text, "a nat behind")
	assert.Equal(t, low, hear(hyp(low, -3), hyp(high, -6)).Text, "three")
	odds := func(p float64) float64 { return math.Log(p / (1 - p)) }
	assert.InDelta(t, unusual, odds(hear(hyp(high, -1)).Certainty)-odds(hear(hyp(low, -1)).Certainty), 1e-6)
	assert.Greater(t, hear(hyp(low, -1)).Certainty, 0.5)
}

func TestUsualFileIsChecked(t *testing.T) {
	e := newTestEar(t)
	for _, bad := range []struct{ data, why string }{
		{`{"ranges": [{"quantity": "nonsense", "spans": [[1, 2]]}]}`, `"nonsense" is no quantity`},
		{`{"ranges": [{"quantity": "voltage", "places": ["filter"], "spans": [[1, 2]]}]}`, `voltage at "filter"`},
		{`{"ranges": [{"quantity": "wet_bulb", "spans": [[50, 40]]}]}`, "50 to 40 is no part of 20 to 95"},
		{`{"ranges": [{"quantity": "wet_bulb", "spans": [[50, 60], [55, 70]]}]}`, "not in order"},
		{`{"ranges": [{"quantity": "wet_bulb"}]}`, "no spans"},
		{`{"ranges": [{"quantity": "wet_bulb", "spans": [[50, 60]]}, {"quantity": "wet_bulb", "spans": [[50, 60]]}]}`, "twice"},
		{`{"rages": []}`, "unknown field"},
	} {
		_, err := loadUsual([]byte(bad.data), e.parser.Catalogue())
		require.Error(t, err, bad.data)
		assert.Contains(t, err.Error(), bad.why)
	}
}
