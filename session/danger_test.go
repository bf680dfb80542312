package session

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"callout/joblog"
)

// What was once recorded as something else, without a word (each row a way to say it, and
// what must be, or must not be, in the log).
func TestNothingWrongInSilence(t *testing.T) {
	k := knowledge(t)
	for _, c := range []struct {
		open, said string
		want       []string // recorded, all of it; nil: nothing may be
	}{
		{"declare leads_off", "wires are off", []string{"declare leads_off"}},
		{"declare leads_off", "wires off", []string{"declare leads_off"}},
		{"", "wires are off the cap", []string{"declare leads_off"}},
		{"", "compressor's off", nil},
		{"", "compressor is off", nil},
		{"", "contactor's off", nil},
		{"", "cap's good", nil},
		{"", "cap's blown", nil},
		{"", "terminal's burnt", nil},
		{"", "fan motor's burnt", nil},
		{"", "fan's stuck", []string{"fan_motion fan stopped"}},
		{"voltage capacitor", "cap reads zero", []string{"voltage capacitor 0"}},
		{"", "high side 390, liquid 100", []string{"liquid_pressure liquid_line 390", "temperature liquid_line 100"}},
		{"", "suction 118, suction line 50", []string{"suction_pressure suction_line 118", "temperature suction_line 50"}},
		{"", "condenser fan's drawing 1.1 amps rated 1.4", []string{"current fan 1.1", "full_load_amps fan 1.4"}},
		{"", "power's back on", nil},
		{"", "cap is discharged, no volts terminal to terminal", []string{"declare capacitor_bled", "voltage capacitor 0"}},
		{"", "cap's bled, no volts terminal to terminal", []string{"declare capacitor_bled", "voltage capacitor 0"}},
		{"", "point three on return, point six on supply", []string{"static_pressure return_duct 0.3", "static_pressure supply_duct 0.6"}},
		{"declare disconnect_pulled", "okay, I'm pulling the disconnect now", nil},
		{"", "I got locked out", nil},
		{"declare air_handler_off", "turned the breaker off", nil}, // which unit's
		{"declare air_handler_off", "breaker is off", nil},
		{"declare air_handler_off", "air handler is off", []string{"declare air_handler_off"}},
		{"declare breaker_off", "turned the breaker off", []string{"declare breaker_off"}},
		{"", "the disconnect is pulled, right", nil},
		{"", "open the panel", nil},
		{"confirm current compressor_common 72 A", "two forty", nil},
		{"", "stat's off", []string{"thermostat_state thermostat wrong_mode"}},
		{"", "seventy eight amps on start then drops to nothing", []string{"starting_current compressor_common 78", "current compressor_common 0"}},
		{"", "found oil on the coil", nil},
	} {
		l := talkLine{Kind: "reading", Open: c.open, Said: c.said}
		call, now := talkCall(t, k, l)
		records, err := call.Hear(Utterance{At: now, Source: joblog.Typed, Text: c.said, Certainty: 1})
		assert.NoError(t, err)
		got, want := taken{}, taken{}
		for _, b := range bodies[joblog.Callout](records) {
			if b.Decision == joblog.Recorded {
				b.Commands = nil
				got.add(k, b)
			}
		}
		for _, s := range c.want {
			want[canon(s+" x")] = true
			if len(s) > 7 && (s[:7] == "declare" || s[:3] == "fan") {
				delete(want, canon(s+" x"))
				want[canon(s)] = true
			}
		}
		assert.Equal(t, want, got, "%s (%s)", c.said, c.open)
	}
}
