package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The published table, typed again cell by cell and read through the function:
// Carrier 38VTA manual Table 4 (80 F/70 F as in the Celsius copy, 13.9 C). -1 is
// a printed dash.
func TestTargetSuperheatTable(t *testing.T) {
	wet := []Fahrenheit{50, 52, 54, 56, 58, 60, 62, 64, 66, 68, 70, 72, 74, 76}
	const dash = -1
	table := map[Fahrenheit][]int{
		55:  {9, 12, 14, 17, 20, 23, 26, 29, 32, 35, 37, 40, 42, 45},
		60:  {7, 10, 12, 15, 18, 21, 24, 27, 30, 33, 35, 38, 40, 43},
		65:  {dash, 6, 10, 13, 16, 19, 21, 24, 27, 30, 33, 36, 38, 41},
		70:  {dash, dash, 7, 10, 13, 16, 19, 21, 24, 27, 30, 33, 36, 39},
		75:  {dash, dash, dash, 6, 9, 12, 15, 18, 21, 24, 28, 31, 34, 37},
		80:  {dash, dash, dash, dash, 5, 8, 12, 15, 18, 21, 25, 28, 31, 35},
		85:  {dash, dash, dash, dash, dash, dash, 8, 11, 15, 19, 22, 26, 30, 33},
		90:  {dash, dash, dash, dash, dash, dash, 5, 9, 13, 16, 20, 24, 27, 31},
		95:  {dash, dash, dash, dash, dash, dash, dash, 6, 10, 14, 18, 22, 25, 29},
		100: {dash, dash, dash, dash, dash, dash, dash, dash, 8, 12, 15, 20, 23, 27},
		105: {dash, dash, dash, dash, dash, dash, dash, dash, 5, 9, 13, 17, 22, 26},
		110: {dash, dash, dash, dash, dash, dash, dash, dash, dash, 6, 11, 15, 20, 25},
		115: {dash, dash, dash, dash, dash, dash, dash, dash, dash, dash, 8, 14, 18, 23},
	}
	numbered, within3, within5, squares := 0, 0, 0, 0.0
	for outdoor, row := range table {
		require.Len(t, row, len(wet))
		for i, want := range row {
			got, err := TargetSuperheat(wet[i], outdoor)
			if want == dash {
				var refused *NoTargetError
				require.ErrorAs(t, err, &refused, "%g/%g", outdoor, wet[i])
				assert.Equal(t, SluggingRisk, refused.Reason)
				continue
			}
			require.NoError(t, err)
			assert.Equal(t, DeltaF(want), got, "%g/%g", outdoor, wet[i])
			// The trade's approximation is a cross-check only: it strays.
			off := approximateSuperheat(wet[i], outdoor) - float64(want)
			numbered++
			squares += off * off
			if math.Abs(off) <= 3 {
				within3++
			}
			if math.Abs(off) <= 5 {
				within5++
			}
		}
	}
	// Computed apart from this code over the same cells: rms 1.6 F, 94 % within
	// 3 F, 98 % within 5 F.
	assert.Equal(t, 118, numbered)
	assert.InDelta(t, 1.6, math.Sqrt(squares/float64(numbered)), 0.05)
	assert.InDelta(t, 0.94, float64(within3)/float64(numbered), 0.006)
	assert.InDelta(t, 0.98, float64(within5)/float64(numbered), 0.006)
}

func approximateSuperheat(wet, outdoor Fahrenheit) float64 {
	return float64(3*wet-80-outdoor) / 2
}

// Between the cells, and the four dash cells where the approximation would give
// a chargeable number: there the program must refuse.
func TestTargetSuperheatBetween(t *testing.T) {
	got, err := TargetSuperheat(67, 95)
	require.NoError(t, err)
	assert.InDelta(t, 12.0, float64(got), 1e-9)
	assert.InDelta(t, 13.0, approximateSuperheat(67, 95), 1e-9)

	got, err = TargetSuperheat(67, 92.5) // mean of 12 and 14.5
	require.NoError(t, err)
	assert.InDelta(t, 13.25, float64(got), 1e-9)

	for _, trap := range []struct {
		outdoor, wet Fahrenheit
		formula      float64
	}{{85, 60, 7.5}, {90, 60, 5}, {95, 62, 5.5}, {100, 64, 6}} {
		assert.InDelta(t, trap.formula, approximateSuperheat(trap.wet, trap.outdoor), 1e-9)
		_, err := TargetSuperheat(trap.wet, trap.outdoor)
		assertRefused(t, err, SluggingRisk)
	}
}

func TestTargetSuperheatRefuses(t *testing.T) {
	tests := []struct {
		wet, outdoor Fahrenheit
		want         NoTarget
	}{
		{61, 85, SluggingRisk},    // between a dash and a number
		{61.99, 85, SluggingRisk}, // however near
		{64, 97.5, SluggingRisk},  // 95 has a number, 100 a dash
		{50, 62, SluggingRisk},
		{67, 54.9, ColdOutdoor}, // CEC 2008 RA3.2.1: 55 F or above
		{67, -10, ColdOutdoor},
		{49.9, 60, OffTable},
		{76.1, 95, OffTable},
		{76, 115.1, OffTable},
		{Fahrenheit(math.NaN()), 95, OffTable},
		{67, Fahrenheit(math.NaN()), OffTable},
	}
	for _, tt := range tests {
		_, err := TargetSuperheat(tt.wet, tt.outdoor)
		assertRefused(t, err, tt.want)
	}
	_, err := TargetSuperheat(67, 54.9)
	assert.EqualError(t, err, "physics: no target superheat at 54.9 F outdoors: below 55 F the charge is weighed in")
	_, err = TargetSuperheat(67, 55)
	assert.NoError(t, err)
}

func assertRefused(t *testing.T, err error, want NoTarget) {
	t.Helper()
	var refused *NoTargetError
	require.ErrorAs(t, err, &refused)
	assert.Equal(t, want, refused.Reason, "%v", err)
}

// More wet bulb or less outdoor heat never lowers the target.
func FuzzTargetSuperheat(f *testing.F) {
	f.Add(67.0, 95.0, 0.5)
	f.Fuzz(func(t *testing.T, wet, outdoor, step float64) {
		if !(step > 0 && step < 10) {
			return
		}
		here, err := TargetSuperheat(Fahrenheit(wet), Fahrenheit(outdoor))
		if err != nil {
			return
		}
		require.GreaterOrEqual(t, float64(here), 5.0)
		require.LessOrEqual(t, float64(here), 45.0)
		if wetter, err := TargetSuperheat(Fahrenheit(wet+step), Fahrenheit(outdoor)); err == nil {
			require.GreaterOrEqual(t, float64(wetter), float64(here)-1e-9)
		}
		if cooler, err := TargetSuperheat(Fahrenheit(wet), Fahrenheit(outdoor-step)); err == nil {
			require.GreaterOrEqual(t, float64(cooler), float64(here)-1e-9)
		}
	})
}

// Lennox TSA-H4 manual 507994-01, Figure 18: the whole figure and its three
// worked examples.
func TestTargetSplit(t *testing.T) {
	table := map[Fahrenheit][14]DeltaF{
		80: {24, 24, 24, 23, 23, 22, 22, 22, 20, 19, 18, 17, 16, 15},
		78: {23, 23, 23, 22, 22, 21, 21, 20, 19, 18, 17, 16, 15, 14},
		76: {22, 22, 22, 21, 21, 20, 19, 19, 18, 17, 16, 15, 14, 13},
		74: {21, 21, 21, 20, 19, 19, 18, 17, 16, 16, 15, 14, 13, 12},
		72: {20, 20, 19, 18, 17, 17, 16, 15, 15, 14, 13, 12, 11, 10},
		70: {19, 19, 18, 18, 17, 17, 16, 15, 15, 14, 13, 12, 11, 10},
	}
	for dry, row := range table {
		for i, want := range row {
			got, err := TargetSplit(dry, Fahrenheit(57+i))
			require.NoError(t, err)
			assert.Equal(t, want, got, "%g/%d", dry, 57+i)
		}
	}
	target, err := TargetSplit(72, 64)
	require.NoError(t, err)
	require.Equal(t, DeltaF(15), target)
	for _, off := range [][2]Fahrenheit{{69.9, 60}, {80.1, 60}, {75, 56.9}, {75, 70.1}} {
		_, err := TargetSplit(off[0], off[1])
		assertRefused(t, err, OffTable)
	}
	// CEC Table RA3.2-3, row 70 F, as remembered, agrees within 0.6 F... and
	// both fall with the wet bulb.
	remembered := []float64{19.1, 18.7, 18.2, 17.7, 17.2, 16.5, 15.9, 15.2, 14.4, 13.7, 12.8, 11.9, 11.0, 10.0}
	for i, want := range remembered {
		got, err := TargetSplit(70, Fahrenheit(57+i))
		require.NoError(t, err)
		assert.InDelta(t, want, float64(got), 0.61)
	}
}

// California Energy Commission 2008 Residential Appendix RA3-14 to RA3-16; the
// rater's subcooling band is from memory. That the engine holds to them is tested there.
func TestPassBands(t *testing.T) {
	assert.Equal(t, [2]DeltaF{5, 6}, [2]DeltaF{SuperheatTolerance(Installer), SuperheatTolerance(Rater)})
	assert.Equal(t, [2]DeltaF{3, 4}, [2]DeltaF{SubcoolingTolerance(Installer), SubcoolingTolerance(Rater)})
	assert.Equal(t, [2]DeltaF{3, 4}, [2]DeltaF{SplitTolerance(Installer), SplitTolerance(Rater)})
	assert.Equal(t, Band{4, 25}, ValveSuperheatBand(Installer)) // RA3-15 step 9
	assert.Equal(t, Band{3, 26}, ValveSuperheatBand(Rater))
	assert.True(t, ValveSuperheatBand(Installer).Contains(25))
	assert.False(t, ValveSuperheatBand(Installer).Contains(25.1))
}

// Armstrong chart pair: 317 psig is 100 F. In 80 F air that is 20 F over.
func TestOverAmbientAndDifference(t *testing.T) {
	over, err := R410A.CondensingOverAmbient(318.5, 80, 0)
	require.NoError(t, err)
	assert.InDelta(t, 20, float64(over), 0.1)
	below, err := R410A.EvaporatorDifference(118.4, 75, 0)
	require.NoError(t, err)
	assert.InDelta(t, 35, float64(below), 0.1)
	_, err = R410A.CondensingOverAmbient(900, 80, 0)
	assert.Error(t, err)
	_, err = R410A.EvaporatorDifference(900, 80, 0)
	assert.Error(t, err)
}

func TestReadGridRefuses(t *testing.T) {
	good := `{"what":"w","source":"s","row":"r","column":"c","columns":[1,2],"rows":[1,2],"cells":[[1,null],[3,4]]}`
	_, err := readGrid([]byte(good))
	require.NoError(t, err)
	for text, want := range map[string]string{
		`{"what":"w","extra":1}`: "unknown field",
		good + "x":               "after the table",
		`{"what":"w"}`:           "must be said",
		`{"what":"w","source":"s","row":"r","column":"c","columns":[1],"rows":[1,2],"cells":[[1],[3]]}`:       "fewer than two",
		`{"what":"w","source":"s","row":"r","column":"c","columns":[2,1],"rows":[1,2],"cells":[[1,1],[3,1]]}`: "must rise",
		`{"what":"w","source":"s","row":"r","column":"c","columns":[1,2],"rows":[1,2],"cells":[[1,1]]}`:       "1 rows of cells",
		`{"what":"w","source":"s","row":"r","column":"c","columns":[1,2],"rows":[1,2],"cells":[[1,1],[1]]}`:   "has 1 cells",
		`[`: "EOF",
	} {
		_, err := readGrid([]byte(text))
		assert.ErrorContains(t, err, want, text)
	}
}
