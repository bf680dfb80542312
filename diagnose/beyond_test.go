package diagnose_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestHeadTooHighForAnyAir: a head pressure that no outdoor or return air explains is
// a finding before the air is read, and is held against the air once it is.
func TestHeadTooHighForAnyAir(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	for _, row := range []struct {
		name, say, want, not string
	}{
		{"cooling, 620 psig of R-410A", "mode unit cooling/liquid_pressure liquid_line 620", "head_level=high: 620 psig condenses at 151 °F: too high for any outdoor air", ""},
		{"cooling, 420 psig may be a hot day", "mode unit cooling/liquid_pressure liquid_line 420", "", "head_level"},
		{"cooling, the air is read after it", "mode unit cooling/liquid_pressure liquid_line 620/temperature outdoor_air 95", "head_level=high: 620 psig condenses at 151 °F, 56 °F over outdoors: far too high", "any outdoor air"},
		{"heating, 620 psig of R-410A", "mode unit heating/liquid_pressure liquid_line 620", "heat_head=high: 620 psig condenses too high for any return air", ""},
		{"heating, 350 psig may be a warm house", "mode unit heating/liquid_pressure liquid_line 350", "", "heat_head"},
	} {
		t.Run(row.name, func(t *testing.T) {
			c := newCall(t)
			c.say("refrigerant unit R-410A")
			c.say("compressor_sound compressor running")
			for _, s := range strings.Split(row.say, "/") {
				c.say(s)
			}
			got := findings(c)
			assert.Contains(t, got, row.want)
			if row.not != "" {
				assert.NotContains(t, got, row.not)
			}
		})
	}
}
