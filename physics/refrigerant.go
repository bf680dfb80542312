package physics

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
)

// A Refrigerant is named as on a nameplate: "R-410A".
type Refrigerant string

// The refrigerants with a saturation table.
const (
	R22   Refrigerant = "R-22"
	R410A Refrigerant = "R-410A"
	R32   Refrigerant = "R-32"
	R454B Refrigerant = "R-454B"
	R134a Refrigerant = "R-134a"
	R407C Refrigerant = "R-407C"
)

// Refrigerants lists the refrigerants that have a table, oldest first.
func Refrigerants() []Refrigerant {
	return []Refrigerant{R22, R134a, R407C, R410A, R32, R454B}
}

// ParseRefrigerant reads a refrigerant's name with or without R, dash, space
// and case: "410a", "R410A", "r-410A". It fails with an
// *UnknownRefrigerantError.
func ParseRefrigerant(name string) (Refrigerant, error) {
	if r := Refrigerant(name); slices.Contains(Refrigerants(), r) {
		return r, nil
	}
	plain := func(s string) string {
		s = strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(s))
		return strings.TrimPrefix(s, "R")
	}
	for _, r := range Refrigerants() {
		if plain(string(r)) == plain(name) {
			return r, nil
		}
	}
	return "", &UnknownRefrigerantError{Name: name}
}

// An UnknownRefrigerantError names a refrigerant without a table.
type UnknownRefrigerantError struct{ Name string }

func (e *UnknownRefrigerantError) Error() string {
	if e.Name == "" {
		return "physics: refrigerant not given: read it from the nameplate"
	}
	return fmt.Sprintf("physics: no saturation table for refrigerant %q: have %s", e.Name, listed())
}

func listed() string {
	var names []string
	for _, r := range Refrigerants() {
		names = append(names, string(r))
	}
	return strings.Join(names, ", ")
}

// A Branch is one side of the saturation dome. A blend has a different
// pressure on each.
type Branch int

const (
	Dew    Branch = iota // saturated vapour: superheat, evaporator
	Bubble               // saturated liquid: subcooling, condenser outlet
)

func (b Branch) String() string {
	if b == Bubble {
		return "bubble"
	}
	return "dew"
}

// SeaLevel is the standard atmosphere at sea level.
const SeaLevel PSIA = 14.696

// Atmosphere is the standard atmosphere at an altitude, -1000 to 30000 ft:
// 14.696 (1 - 6.8754e-6 z)^5.2559 (ASHRAE Fundamentals, psychrometrics chapter).
func Atmosphere(z Feet) (PSIA, error) {
	if err := within("altitude", z, -1000, 30000, "feet"); err != nil {
		return 0, err
	}
	return SeaLevel * PSIA(math.Pow(1-6.8754e-6*float64(z), 5.2559)), nil
}

// DensityRatio is the ratio of air density at an altitude to that at sea level
// and the same temperature, by which factors such as 1.08 shrink.
func DensityRatio(z Feet) (float64, error) {
	p, err := Atmosphere(z)
	return float64(p / SeaLevel), err
}

//go:embed data/saturation.csv
var saturationCSV []byte

// The tables are read once, on first use, and never written again.
var saturation = sync.OnceValues(func() (map[Refrigerant]*curve, error) {
	return readSaturation(bytes.NewReader(saturationCSV))
})

// curve is one refrigerant's table: a row each whole degree from low.
type curve struct {
	low  int
	logp [2][]float64 // by Branch: ln psia
}

// readSaturation reads the generated table; every refrigerant must be there,
// each degree once, pressures rising, dew not above bubble.
func readSaturation(r io.Reader) (map[Refrigerant]*curve, error) {
	rows := csv.NewReader(r)
	rows.Comment = '#'
	rows.FieldsPerRecord = 5
	head, err := rows.Read()
	if err != nil {
		return nil, fmt.Errorf("physics: saturation table: %w", err)
	}
	if got := strings.Join(head, ","); got != "refrigerant,fahrenheit,bubble_psia,dew_psia,method" {
		return nil, fmt.Errorf("physics: saturation table: header %q", got)
	}
	curves := map[Refrigerant]*curve{}
	for {
		row, err := rows.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("physics: saturation table: %w", err)
		}
		line, _ := rows.FieldPos(0)
		if err := addRow(curves, row); err != nil {
			return nil, fmt.Errorf("physics: saturation table line %d: %w", line, err)
		}
	}
	for _, r := range Refrigerants() {
		if c := curves[r]; c == nil || len(c.logp[Dew]) < 2 {
			return nil, fmt.Errorf("physics: saturation table: %s missing", r)
		}
	}
	return curves, nil
}

func addRow(curves map[Refrigerant]*curve, row []string) error {
	name, err := ParseRefrigerant(row[0])
	if err != nil {
		return err
	}
	t, err := strconv.Atoi(row[1])
	if err != nil {
		return fmt.Errorf("temperature %q is not a whole degree", row[1])
	}
	c := curves[name]
	if c == nil {
		c = &curve{low: t}
		curves[name] = c
	}
	n := len(c.logp[Dew])
	if t != c.low+n {
		return fmt.Errorf("%s at %d F where %d F was expected", name, t, c.low+n)
	}
	for branch, field := range [2]string{Dew: row[3], Bubble: row[2]} {
		p, err := strconv.ParseFloat(field, 64)
		if err != nil || !(p > 0) {
			return fmt.Errorf("pressure %q is not a positive number", field)
		}
		if n > 0 && math.Log(p) <= c.logp[branch][n-1] {
			return fmt.Errorf("%s pressure does not rise at %d F", name, t)
		}
		c.logp[branch] = append(c.logp[branch], math.Log(p))
	}
	if c.logp[Dew][n] > c.logp[Bubble][n] {
		return fmt.Errorf("%s dew pressure above bubble at %d F", name, t)
	}
	return nil
}

func (r Refrigerant) curve() (*curve, error) {
	all, err := saturation()
	if err != nil {
		return nil, err
	}
	c := all[r]
	if c == nil {
		return nil, &UnknownRefrigerantError{Name: string(r)}
	}
	return c, nil
}

// reciprocal is 1/T on the Rankine scale: ln p is nearly linear in it.
func reciprocal(t float64) float64 { return 1 / (t + 459.67) }

// AbsolutePressure is the saturation pressure at t, -60 to 155 F. It fails with
// a *RangeError or an *UnknownRefrigerantError.
func (r Refrigerant) AbsolutePressure(t Fahrenheit, b Branch) (PSIA, error) {
	c, err := r.curve()
	if err != nil {
		return 0, err
	}
	rows := c.logp[b]
	high := c.low + len(rows) - 1
	if err := within(string(r)+" saturation temperature", t, Fahrenheit(c.low), Fahrenheit(high), "degrees"); err != nil {
		return 0, err
	}
	i := min(int(math.Floor(float64(t)))-c.low, len(rows)-2)
	x0, x1 := reciprocal(float64(c.low+i)), reciprocal(float64(c.low+i+1))
	share := (reciprocal(float64(t)) - x0) / (x1 - x0)
	return PSIA(math.Exp(rows[i] + share*(rows[i+1]-rows[i]))), nil
}

// SaturationTemperature is the inverse of AbsolutePressure.
func (r Refrigerant) SaturationTemperature(p PSIA, b Branch) (Fahrenheit, error) {
	c, err := r.curve()
	if err != nil {
		return 0, err
	}
	rows := c.logp[b]
	// Half of the table's last decimal keeps a printed end point inside.
	low, high := math.Exp(rows[0])-5e-5, math.Exp(rows[len(rows)-1])+5e-5
	if err := within(string(r)+" absolute pressure", p, PSIA(low), PSIA(high), "psi"); err != nil {
		return 0, err
	}
	lp := math.Log(float64(p))
	i := sort.Search(len(rows)-2, func(i int) bool { return rows[i+1] >= lp })
	share := (lp - rows[i]) / (rows[i+1] - rows[i])
	x0, x1 := reciprocal(float64(c.low+i)), reciprocal(float64(c.low+i+1))
	return Fahrenheit(1/(x0+share*(x1-x0)) - 459.67), nil
}

// Pressure is the gauge pressure of saturation at t and an altitude.
func (r Refrigerant) Pressure(t Fahrenheit, b Branch, z Feet) (PSIG, error) {
	atm, err := Atmosphere(z)
	if err != nil {
		return 0, err
	}
	p, err := r.AbsolutePressure(t, b)
	return PSIG(p - atm), err
}

// Temperature is the saturation temperature at a gauge pressure and altitude.
func (r Refrigerant) Temperature(p PSIG, b Branch, z Feet) (Fahrenheit, error) {
	atm, err := Atmosphere(z)
	if err != nil {
		return 0, err
	}
	return r.SaturationTemperature(PSIA(p)+atm, b)
}

// Superheat is how far a vapour line is above the dew point at its pressure:
// suction superheat from the suction gauge and suction line, discharge
// superheat from the discharge ones. Negative means the pair cannot be right or
// liquid is present.
func (r Refrigerant) Superheat(p PSIG, line Fahrenheit, z Feet) (DeltaF, error) {
	t, err := r.Temperature(p, Dew, z)
	return DeltaF(line - t), err
}

// Subcooling is how far a liquid line is below the bubble point at its
// pressure. Negative means flash gas, or the pair cannot be right.
func (r Refrigerant) Subcooling(p PSIG, line Fahrenheit, z Feet) (DeltaF, error) {
	t, err := r.Temperature(p, Bubble, z)
	return DeltaF(t - line), err
}

// Glide is dew minus bubble temperature at one pressure; 0 for a pure
// refrigerant.
func (r Refrigerant) Glide(p PSIG, z Feet) (DeltaF, error) {
	dew, err := r.Temperature(p, Dew, z)
	if err != nil {
		return 0, err
	}
	bubble, err := r.Temperature(p, Bubble, z)
	return DeltaF(dew - bubble), err
}

// Slope is the change of saturation temperature for one psi at t, in F per psi:
// it turns a gauge's error into a temperature error.
func (r Refrigerant) Slope(t Fahrenheit, b Branch) (float64, error) {
	c, err := r.curve()
	if err != nil {
		return 0, err
	}
	high := Fahrenheit(c.low + len(c.logp[b]) - 1)
	lo, hi := max(t-0.5, Fahrenheit(c.low)), min(t+0.5, high)
	p0, err := r.AbsolutePressure(lo, b)
	if err != nil {
		return 0, err
	}
	p1, err := r.AbsolutePressure(hi, b)
	if err != nil {
		return 0, err
	}
	return float64(hi-lo) / float64(p1-p0), nil
}

// CompressionRatio is absolute discharge over absolute suction pressure. It is
// at least 1 for a running compressor; the suction must be above a vacuum.
func CompressionRatio(suction, discharge PSIG, z Feet) (float64, error) {
	atm, err := Atmosphere(z)
	if err != nil {
		return 0, err
	}
	s, d := PSIA(suction)+atm, PSIA(discharge)+atm
	if err := first(positive("absolute suction pressure", s, "psi"), positive("absolute discharge pressure", d, "psi")); err != nil {
		return 0, err
	}
	return float64(d / s), nil
}

// compression is how hot compressing makes a refrigerant: the exponent of the
// pressure ratio along the isentrope, and how much more than along it the
// temperature rises in a compressor of usual losses.
type compression struct{ exponent, losses float64 }

// CoolProp 8.0.0 (HEOS), mean over boiling at 10 to 55 F, condensing at 85 to
// 125 F and 5 to 25 F of superheat, at an isentropic efficiency of 0.62 (common
// practice, no source).
var compressions = map[Refrigerant]compression{
	R22: {0.168, 1.37}, R410A: {0.168, 1.30}, R32: {0.204, 1.34},
	R134a: {0.118, 1.36}, R407C: {0.140, 1.33}, R454B: {0.178, 1.32},
}

// DischargeExpected is the temperature at which a sound compressor sends out gas
// that it draws in at the suction line's temperature, within about 10 F. Gas
// that leaks back inside comes out hotter, liquid that is drawn in makes it
// colder. It fails where CompressionRatio does or the refrigerant is not known.
func (r Refrigerant) DischargeExpected(suction, discharge PSIG, line Fahrenheit, z Feet) (Fahrenheit, error) {
	c, ok := compressions[r]
	if !ok {
		return 0, fmt.Errorf("physics: no compression data for %q", r)
	}
	ratio, err := CompressionRatio(suction, discharge, z)
	if err != nil {
		return 0, err
	}
	const zero = 459.67
	return line + (line+zero)*Fahrenheit(c.losses*(math.Pow(ratio, c.exponent)-1)), nil
}
