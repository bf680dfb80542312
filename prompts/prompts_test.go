package prompts

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

func book(t *testing.T) *Book {
	t.Helper()
	c, err := catalogue.Load()
	require.NoError(t, err)
	b, err := Load(c)
	require.NoError(t, err)
	return b
}

func TestSpeakable(t *testing.T) {
	b := book(t)
	for written, spoken := range map[string]string{
		"47 A is 81% of the locked-rotor 58 A.": "47 amps is 81 percent of the locked-rotor 58 amps.",
		"40 µF ±5%, 370 V":                      "40 microfarads plus or minus 5 percent, 370 volts",
		"1 A":                                   "1 amp",
		"12°F over 3 kΩ":                        "12 degrees over 3 kilohms",
		"R-410A at 118 psig":                    "R-410A at 118 psi",
		"2 inWC drop":                           "2 inches of water drop",
		"no number, A":                          "no number, A",
	} {
		assert.Equal(t, spoken, b.Speakable(written), written)
	}
}

func TestReadingsAreReadBack(t *testing.T) {
	b := book(t)
	for want, r := range map[string]catalogue.Reading{
		"current, compressor's common wire: 47 A":                                {Quantity: "current", Place: "compressor_common", Value: 47, Unit: "A"},
		"capacitance, compressor section of the capacitor: nothing":              {Quantity: "capacitance", Place: "herm", Unit: "uF", Qualifier: catalogue.Nothing},
		"resistance, common to run: open line":                                   {Quantity: "resistance", Place: "common_to_run", Unit: "Ohm", Qualifier: catalogue.OpenLine},
		"rated-load amps: 13.4 A":                                                {Quantity: "rated_load_amps", Place: "compressor", Value: 13.4, Unit: "A"},
		"voltage, line side of the contactor: 238 V, unsteady":                   {Quantity: "voltage", Place: "contactor_line", Value: 238, Unit: "V", Qualifier: catalogue.Unsteady},
		"temperature, outdoor air: -4.5°F":                                       {Quantity: "temperature", Place: "outdoor_air", Value: -4.5, Unit: "[degF]"},
		"voltage drop across closed contacts, pole one of the contactor: 0.04 V": {Quantity: "voltage_drop", Place: "contactor_pole_1", Value: 0.0401, Unit: "V"},
	} {
		require.NoError(t, b.catalogue.CheckReading(r))
		assert.Equal(t, want, b.Reading(r))
	}
	assert.Equal(t, "sound of the compressor: hum", b.Observation(catalogue.Observation{Quantity: "compressor_sound", Place: "compressor", Value: "hum"}))
}

func TestDuration(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "no time", 1900 * time.Millisecond: "2 seconds", time.Second: "1 second", 5 * time.Minute: "5 minutes",
		2 * time.Hour: "2 hours", 61 * time.Minute: "1 hour 1 minute", 125 * time.Minute: "2 hours 5 minutes",
	} {
		assert.Equal(t, want, Duration(d))
	}
}

func TestLineErrors(t *testing.T) {
	b := book(t)
	_, err := b.Line("no_such_phrase", nil)
	require.ErrorIs(t, err, ErrNoPhrase)
	_, err = b.Line("read_back", Args{})
	assert.ErrorContains(t, err, "What")
	for _, bad := range []string{`[{"id":"x","priority":"loud","text":""}]`, `[{"id":"x","priority":"step","text":"{{"}]`, `[{"x":1}]`,
		`[{"id":"x","priority":"step","text":"a"},{"id":"x","priority":"step","text":"b"}]`} {
		_, err := load(b.catalogue, []byte(bad))
		assert.ErrorContains(t, err, "en.json", bad)
	}
}

func TestChoicesAreJoined(t *testing.T) {
	l, err := book(t).Line("ask_which", Args{"What": "current", "Candidates": []string{"15 A", "50 A"}})
	require.NoError(t, err)
	assert.Equal(t, Line{ID: "ask_which", Priority: Question, Text: "current: 15 A or 50 A?", Spoken: "current: 15 amps or 50 amps?"}, l)
}
