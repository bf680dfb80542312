package joblog

import (
	"fmt"
	"slices"
)

// unit is a UCUM code (case-sensitive variant) with the name that The Unified
// Code for Units of Measure gives it. Codes and names are from memory of that
// specification's tables; the test compares them with a general library.
type unit struct {
	code, name string
}

// units are those that a log may hold.
func units() []unit {
	return []unit{
		{"V", "volt"},
		{"mV", "millivolt"},
		{"A", "ampere"},
		{"mA", "milliampere"},
		{"uA", "microampere"},
		{"Ohm", "ohm"},
		{"kOhm", "kiloohm"},
		{"MOhm", "megaohm"},
		{"uF", "microfarad"},
		{"Hz", "hertz"},
		{"W", "watt"},
		{"kW", "kilowatt"},
		{"[degF]", "degree Fahrenheit"},
		{"Cel", "degree Celsius"},
		{"K", "kelvin"},
		{"[psi]", "pound per square inch"},
		{"kPa", "kilopascal"},
		{"bar", "bar"},
		{"um[Hg]", "micrometer of mercury column"},
		{"[in_i'H2O]", "inch of water column"},
		{"Pa", "pascal"},
		{"[ft_i]/min", "foot per minute"},
		{"[cft_i]/min", "cubic foot per minute"},
		{"[oz_av]", "ounce"},
		{"[lb_av]", "pound"},
		{"g", "gram"},
		{"kg", "kilogram"},
		{"%", "percent"},
		{"[ft_i]", "foot"},
		{"[in_i]", "inch"},
		{"m", "meter"},
		{"s", "second"},
		{"min", "minute"},
		{"h", "hour"},
		{"[Btu_IT]/h", "british thermal unit per hour"},
		{"1", "one"},
		// Annotations in braces stand for the unit 1: UCUM has no code for a
		// wire gauge or a ton of refrigeration.
		{"{AWG}", "wire gauge number"},
		{"12000.[Btu_IT]/h", "ton of refrigeration"},
	}
}

var knownUnits = func() []string {
	var codes []string
	for _, u := range units() {
		codes = append(codes, u.code)
	}
	return codes
}()

func checkUnit(name, code string) error {
	if !slices.Contains(knownUnits, code) {
		return fmt.Errorf("%s: %q is not a unit that the log knows", name, code)
	}
	return nil
}
