package diagnose_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCircuitAgainstTheNameplate: a device above the marked maximum is a code
// fault (NEC 440.22), a conductor below the minimum circuit ampacity too (NEC
// 440.32); ampacities of copper at lugs of 60 and 75 degrees, NEC Table 310.16
// as reprinted: 12 AWG 20 and 25 A, 10 AWG 30 and 35 A, 8 AWG 40 and 50 A.
// Daikin UAA pp.32-33: 17.9 A and 1.4 A make MCA 23.8 A, MOCP 40 A.
func TestCircuitAgainstTheNameplate(t *testing.T) {
	for _, row := range []struct {
		say  string
		want string // of the last event's warnings, "" for none
		text string
	}{
		{"max_overcurrent unit 40/overcurrent_fitted breaker 50", "overfused", "50 A breaker or fuse, and the nameplate allows 40 A at most"},
		{"overcurrent_fitted breaker 50/max_overcurrent unit 40", "overfused", "50 A breaker"},
		{"max_overcurrent unit 40/overcurrent_fitted breaker 40", "", ""},
		{"min_circuit_ampacity unit 23.8/overcurrent_fitted breaker 20", "breaker_small", "below the nameplate's minimum of 23.8 A"},
		{"min_circuit_ampacity unit 23.8/overcurrent_fitted breaker 25", "", ""},
		{"min_circuit_ampacity unit 28/conductor_size unit 12", "wire_small", "12 AWG copper carries 25 A, and the nameplate asks for 28 A"},
		{"min_circuit_ampacity unit 23.8/conductor_size unit 12", "wire_small", "carries 25 A only on lugs marked 75 °C, and 20 A on others"},
		{"min_circuit_ampacity unit 23.8/conductor_size unit 10", "", ""},
		{"conductor_size unit 10/min_circuit_ampacity unit 40", "wire_small", "carries 35 A, and the nameplate asks for 40 A"},
		{"conductor_size unit 12/min_circuit_ampacity unit 28/max_overcurrent unit 40", "", ""}, // told already
	} {
		c := newCall(t)
		for _, s := range strings.Split(row.say, "/") {
			c.say(s)
		}
		if row.want == "" {
			assert.Empty(t, c.warn, row.say)
			continue
		}
		require.Len(t, c.warn, 1, row.say)
		assert.Equal(t, row.want, c.warn[0].ID, row.say)
		assert.Contains(t, c.warn[0].Text, row.text)
	}
}

// TestOverfusedIsAFindingAndNoCause: it stands among the findings, and it moves
// the belief in no fault.
func TestOverfusedIsAFindingAndNoCause(t *testing.T) {
	c := newCall(t)
	c.say("complaint unit breaker_trips")
	before := top(c.assess())
	c.say("max_overcurrent unit 40")
	c.say("overcurrent_fitted breaker 50")
	a := c.assess()
	found := false
	for _, f := range a.Findings {
		found = found || f.Test == "protection" && f.Class == "over" && strings.Contains(f.Text, "overfused, a safety finding, not the cause")
	}
	assert.True(t, found)
	for i, cause := range a.Causes[:3] {
		assert.Contains(t, before, string(cause.Faults[0]), "cause %d", i)
	}
	assert.NotEqual(t, "breaker_small", string(a.Causes[0].Faults[0]))
}

// TestCircuitIsAskedWhereItTells: after a trip the breaker's size, after a sag
// the wire's; with neither, neither.
func TestCircuitIsAskedWhereItTells(t *testing.T) {
	asked := func(says ...string) map[string]bool {
		c := newCall(t)
		out := map[string]bool{}
		for _, s := range says {
			c.say(s)
		}
		for range 60 {
			n := c.assess().Next
			out[string(n.Test)] = true
			if n.Test == "" {
				break
			}
			c.say("cannot " + string(n.Test))
		}
		return out
	}
	none := asked("complaint unit no_cooling", "fan_motion fan running", "compressor_sound compressor hum")
	assert.False(t, none["protection"])
	assert.False(t, none["breaker_reset"], "no breaker is reset that was not found tripped")
	assert.True(t, asked("complaint unit breaker_trips", "mode unit cooling")["protection"])
	assert.True(t, asked("complaint unit no_cooling", "fan_motion fan running", "compressor_sound compressor hum", "voltage_under_start contactor_load 160", "connection disconnect tight")["supply_wire"])
}
