package catalogue_test

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

func TestEmbeddedDataIsValid(t *testing.T) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	assert.NotEmpty(t, c.Quantities)
	for _, d := range c.Declarations {
		if d.Opposite != "" {
			assert.NotEqual(t, d.ID, d.Opposite)
		}
	}
}

// A plain number in every quantity's range is a reading; the neighbours are not.
func TestCheckReading(t *testing.T) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	for _, q := range c.Quantities {
		r := catalogue.Reading{Quantity: q.ID, Place: q.Places[0], Value: q.Min, Unit: q.Unit}
		if !q.Kind.Numeric() {
			assert.ErrorContains(t, c.CheckReading(r), "not a number", q.ID)
			o := catalogue.Observation{Quantity: q.ID, Place: q.Places[0], Value: q.Values[0].ID}
			assert.NoError(t, c.CheckObservation(o))
			o.Value = "no such choice"
			assert.ErrorContains(t, c.CheckObservation(o), "takes one of")
			continue
		}
		assert.NoError(t, c.CheckReading(r), q.ID)
		assert.True(t, c.Plausible(r), q.ID)
		r.Value = q.Max + 1
		assert.False(t, c.Plausible(r), q.ID)
		r.Place = "no such place"
		assert.ErrorContains(t, c.CheckReading(r), "is not taken at")
	}
}

func TestLoadRefusesBadData(t *testing.T) {
	good := fstest.MapFS{
		"units.json":        {Data: []byte(`[{"id":"A","name":"amps","one":"amp","short":"A","spoken":[]}]`)},
		"quantities.json":   {Data: []byte(`[{"id":"current","name":"current","kind":"measured","unit":"A","places":["fan"],"min":0,"max":9}]`)},
		"places.json":       {Data: []byte(`[{"id":"fan","name":"the fan"}]`)},
		"declarations.json": {Data: []byte(`[]`)}, "commands.json": {Data: []byte(`[]`)}, "repairs.json": {Data: []byte(`[]`)},
	}
	_, err := catalogue.LoadFrom(good)
	require.NoError(t, err)
	for _, row := range []struct{ file, from, to, want string }{
		{"quantities.json", `"unit":"A"`, `"unit":"X"`, `no unit "X"`},
		{"quantities.json", `"fan"`, `"cellar"`, `no place "cellar"`},
		{"quantities.json", `"max":9`, `"max":0`, "is empty"},
		{"quantities.json", `"min":0`, `"minimum":0`, "unknown field"},
		{"quantities.json", `measured`, `guessed`, "unknown kind"},
		{"places.json", `]`, `,{"id":"fan","name":"again"}]`, "is there twice"},
		{"places.json", `]`, `,{"id":"roof","name":"the roof"}]`, "used by no quantity"},
		{"declarations.json", `[]`, `[{"id":"x","name":"x","spoken":["x"],"opposite":"y","safety":true}]`, "does not point back"},
	} {
		bad := fstest.MapFS{}
		for k, v := range good {
			bad[k] = v
		}
		bad[row.file] = &fstest.MapFile{Data: []byte(strings.Replace(string(good[row.file].Data), row.from, row.to, 1))}
		_, err := catalogue.LoadFrom(bad)
		require.ErrorIs(t, err, catalogue.ErrInvalid, row.want)
		assert.ErrorContains(t, err, row.want)
	}
	delete(good, "units.json")
	_, err = catalogue.LoadFrom(good)
	assert.ErrorContains(t, err, "units.json")
}

// TestAChargedCapacitorIsPlausible: a run capacitor rated 370 or 440 V keeps the
// peak of what it ran on, 523.3 or 622.3 V (V x sqrt 2), more than any line of a
// 240 V unit shows.
func TestAChargedCapacitorIsPlausible(t *testing.T) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	for _, v := range []float64{0, 340, 523.3, 622.3} {
		assert.True(t, c.Plausible(catalogue.Reading{Quantity: "voltage", Place: "capacitor", Value: v, Unit: "V"}), "%g", v)
	}
	assert.False(t, c.Plausible(catalogue.Reading{Quantity: "voltage", Place: "capacitor", Value: 700, Unit: "V"}))
	assert.False(t, c.Plausible(catalogue.Reading{Quantity: "voltage", Place: "contactor_line", Value: 340, Unit: "V"}), "no line of a 240 V unit")
}

// TestPossible: unusual is not impossible; a negative capacitance and a mains of 5000 V are.
func TestPossible(t *testing.T) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	for _, x := range []struct {
		q     catalogue.QuantityID
		p     catalogue.PlaceID
		v     float64
		wants bool
	}{
		{"capacitance", "herm", -5, false}, {"capacitance", "herm", 0, true}, {"capacitance", "herm", 500, true}, {"capacitance", "herm", 5000, false},
		{"voltage", "contactor_line", 480, true}, {"voltage", "contactor_line", 5000, false}, {"voltage", "capacitor", 700, true},
		{"suction_pressure", "suction_line", -12, true}, {"suction_pressure", "suction_line", -20, false},
		{"temperature", "outdoor_air", -30, true}, {"temperature", "suction_line", 900, false},
		{"locked_rotor_amps", "fan", 2, true}, {"locked_rotor_amps", "compressor", 2, false},
	} {
		assert.Equal(t, x.wants, c.Possible(catalogue.Reading{Quantity: x.q, Place: x.p, Value: x.v}), "%s at %s: %g", x.q, x.p, x.v)
	}
	assert.True(t, c.Plausible(catalogue.Reading{Quantity: "locked_rotor_amps", Place: "fan", Value: 2}), "a small fan motor")
}
