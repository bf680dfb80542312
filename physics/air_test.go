package physics

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// PsychroLib 2.5.0 at sea level and 5000 ft, written by
// generate/psychrometrics.py: a general library, not ours.
func TestMoistAirAgreesWithPsychroLib(t *testing.T) {
	f, err := os.Open("testdata/psychrometrics.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 81)
	for _, row := range rows[1:] {
		var v [8]float64
		for i, field := range row {
			v[i], err = strconv.ParseFloat(field, 64)
			require.NoError(t, err)
		}
		z := Feet(0)
		if v[0] < 14 {
			z = 5000
		}
		a, err := AirFromRH(Fahrenheit(v[1]), Percent(v[2]), z)
		require.NoError(t, err)
		assert.InDelta(t, v[0], float64(a.Pressure), 0.003, row)
		assert.InDelta(t, v[3], float64(a.WetBulb()), 0.02, row)
		assert.InEpsilon(t, v[4], a.Ratio, 0.002, row)
		assert.InDelta(t, v[5], float64(a.DewPoint()), 0.02, row)
		assert.InDelta(t, v[6], a.Enthalpy(), 0.005, row)
		assert.InEpsilon(t, v[7], a.Volume(), 0.0005, row)
		assert.InDelta(t, v[2], float64(a.RelativeHumidity()), 1e-6, row)
		back, err := AirFromWetBulb(Fahrenheit(v[1]), a.WetBulb(), z)
		require.NoError(t, err)
		assert.InDelta(t, a.Ratio, back.Ratio, 2e-6, row)
	}
}

// ASHRAE Fundamentals 2017 ch.1 as quoted by the PsychroLib test suite.
func TestASHRAEPoints(t *testing.T) {
	for temp, want := range map[Fahrenheit]float64{41: 0.12656, 77: 0.45973, 122: 1.79140} {
		p, err := VaporPressure(temp)
		require.NoError(t, err)
		assert.InEpsilon(t, want, float64(p), 0.0003, temp)
	}
	for temp, want := range map[Fahrenheit]float64{41: 0.005425, 77: 0.020173} {
		a, err := AirFromRH(temp, 100, 0)
		require.NoError(t, err)
		assert.InEpsilon(t, want, a.Ratio, 0.005, temp)
	}
	// Example 1: 100 F dry bulb, 65 F wet bulb.
	a, err := AirFromWetBulb(100, 65, 0)
	require.NoError(t, err)
	assert.InDelta(t, 0.00523, a.Ratio, 0.0001)
	assert.InDelta(t, 40, float64(a.DewPoint()), 1)
	assert.InDelta(t, 13, float64(a.RelativeHumidity()), 1)
	assert.InDelta(t, 29.80, a.Enthalpy(), 0.1)
	assert.InEpsilon(t, 14.22, a.Volume(), 0.01)
}

// Wet bulb by dry bulb and humidity at 14.696 psia, and the AHRI rating points'
// humidities; computed with PsychroLib 2.5.0, one printed decimal.
func TestWetBulbTable(t *testing.T) {
	humidity := []Percent{20, 30, 40, 50, 60, 70, 80}
	for dry, row := range map[Fahrenheit][7]float64{
		70: {50.0, 53.0, 55.8, 58.4, 61.0, 63.4, 65.7},
		75: {53.2, 56.5, 59.6, 62.6, 65.3, 67.9, 70.4},
		80: {56.4, 60.1, 63.5, 66.7, 69.6, 72.5, 75.1},
		85: {59.6, 63.6, 67.3, 70.8, 74.0, 77.0, 79.8},
		95: {66.0, 70.7, 75.1, 79.1, 82.7, 86.1, 89.3},
	} {
		for i, want := range row {
			a, err := AirFromRH(dry, humidity[i], 0)
			require.NoError(t, err)
			assert.InDelta(t, want, float64(a.WetBulb()), 0.1, "%g F %g %%", dry, humidity[i])
		}
	}
	for _, p := range [][3]float64{{80, 67, 51.1}, {95, 75, 39.8}, {47, 43, 72.7}, {17, 15, 69.4}, {70, 60, 56.1}} {
		a, err := AirFromWetBulb(Fahrenheit(p[0]), Fahrenheit(p[1]), 0)
		require.NoError(t, err)
		assert.InDelta(t, p[2], float64(a.RelativeHumidity()), 0.2, p)
	}
	high, err := AirFromRH(80, 50, 5000)
	require.NoError(t, err)
	assert.InDelta(t, 65.9, float64(high.WetBulb()), 0.1)
}

func TestAirErrors(t *testing.T) {
	for _, wet := range []Fahrenheit{81, 30} { // above dry bulb; drier than dry air
		_, err := AirFromWetBulb(80, wet, 0)
		var out *RangeError
		require.ErrorAs(t, err, &out, wet)
	}
	_, err := AirFromRH(80, 101, 0)
	assert.EqualError(t, err, "physics: relative humidity 101 percent is outside 0 to 100")
	_, err = AirFromRH(240, 100, 0) // above boiling
	assert.Error(t, err)
	_, err = AirFromRH(80, 50, 50000)
	assert.Error(t, err)
	_, err = AirFromWetBulb(80, 67, -5000)
	assert.Error(t, err)
	_, err = VaporPressure(300)
	assert.Error(t, err)
	_, err = SensibleFactorOf(0)
	assert.Error(t, err)
}

// "1.08": ACHR News 145073 (0.62 at 400 F); altitude factors by the standard
// atmosphere.
func TestSensibleFactor(t *testing.T) {
	for z, want := range map[Feet]float64{0: 1.08, 1000: 1.042, 3000: .968, 5000: .899, 7000: .833, 10000: .743} {
		got, err := SensibleFactor(z)
		require.NoError(t, err)
		assert.InDelta(t, want, got, 0.002, z)
	}
	hot, err := SensibleFactorOf(0.043)
	require.NoError(t, err)
	assert.InDelta(t, 0.62, hot, 0.01)
	// Dry air at 70 F: 1.0784 (PsychroLib).
	dry, err := AirFromRH(70, 0, 0)
	require.NoError(t, err)
	k, err := SensibleFactorOf(1 / dry.Volume())
	require.NoError(t, err)
	assert.InDelta(t, 1.0784, k, 0.0005)
}

// 1200 cfm, 80/67 in, 60/57.5 out: enthalpies 31.45 and 24.74 (PsychroLib).
func TestTotalHeat(t *testing.T) {
	in, err := AirFromWetBulb(80, 67, 0)
	require.NoError(t, err)
	out, err := AirFromWetBulb(60, 57.5, 0)
	require.NoError(t, err)
	assert.InDelta(t, 31.45, in.Enthalpy(), 0.05)
	assert.InDelta(t, 24.74, out.Enthalpy(), 0.05)
	total, err := TotalHeat(1200, in, out, 0)
	require.NoError(t, err)
	assert.InEpsilon(t, 36231, float64(total), 0.005)
	sensible, err := SensibleHeat(1200, 20, 0)
	require.NoError(t, err)
	assert.InEpsilon(t, 25920, float64(sensible), 0.005)
	assert.InDelta(t, 0.715, float64(sensible/total), 0.005)
	_, err = TotalHeat(-1, in, out, 0)
	assert.Error(t, err)
	_, err = SensibleHeat(-1, 20, 0)
	assert.Error(t, err)
}

func TestAirflowFromRise(t *testing.T) {
	tests := []struct {
		source string
		heat   BTUH
		rise   DeltaF
		want   float64
		within float64
	}{
		// Trade page's worked example, with its own 3.414.
		{"235 V x 75 A, 74 to 110 F", 235 * 75 * 3.414, 36, 1548, 1},
		{"240 V x 40 A", Heat(240 * 40), 26, 1166.8, 1},
		{"Goodman SSZ140301 manual p.28 at 47 F", 29000, 25.6, 1049, 5},
	}
	for _, tt := range tests {
		got, err := AirflowFromRise(tt.heat, tt.rise, 0)
		require.NoError(t, err)
		assert.InDelta(t, tt.want, float64(got), tt.within, tt.source)
	}
	assert.InDelta(t, 60171, 235*75*3.414, 1)
	assert.InDelta(t, 3412.14, float64(Heat(1000)), 0.01)
	_, err := AirflowFromRise(1000, 0, 0)
	assert.EqualError(t, err, "physics: temperature rise must be above 0 degrees")
}

// Goodman SSZ140301 manual p.28: rise, capacity and COP fall with the outdoor
// temperature; 16 F at 17 F outdoors is normal.
func TestHeatingExample(t *testing.T) {
	outdoor := []Fahrenheit{65, 60, 55, 50, 47, 45, 40, 35, 30, 25, 20, 17, 15, 10, 5, 0, -5, -10}
	rise := []float64{32.1, 30.4, 28.6, 26.8, 25.6, 24.8, 23.0, 21.2, 19.9, 18.4, 17.0, 16.0, 15.4, 13.8, 12.3, 10.7, 9.1, 7.5}
	mbh := []float64{36.5, 34.5, 32.5, 30.4, 29.0, 28.1, 26.1, 24.1, 22.6, 20.9, 19.2, 18.2, 17.5, 15.7, 13.9, 12.1, 10.3, 8.5}
	cop := []float64{4.44, 4.28, 4.10, 3.91, 3.78, 3.69, 3.50, 3.29, 3.01, 2.84, 2.67, 2.55, 2.48, 2.28, 2.07, 1.85, 1.62, 1.36}
	for i, o := range outdoor {
		got, err := HeatingExample(o)
		require.NoError(t, err)
		assert.InDelta(t, rise[i], float64(got.Rise), 1e-9)
		assert.InDelta(t, mbh[i]*1000, float64(got.Capacity), 1e-6)
		assert.InDelta(t, cop[i], got.COP, 1e-9)
	}
	middle, err := HeatingExample(22.5)
	require.NoError(t, err)
	assert.InDelta(t, (17.0+18.4)/2, float64(middle.Rise), 1e-9)
	for _, o := range []Fahrenheit{65.1, -10.1} {
		_, err := HeatingExample(o)
		assert.Error(t, err)
	}
	g, err := heatingGrid()
	require.NoError(t, err)
	for _, row := range g.Cells {
		for _, cell := range row {
			require.NotNil(t, cell)
		}
	}
}

// Armstrong, Bard, Nortek, Ducane board data.
func TestDefrostIntervals(t *testing.T) {
	assert.Equal(t, []time.Duration{30 * time.Minute, time.Hour, 90 * time.Minute}, DefrostIntervals())
}
