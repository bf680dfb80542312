package diagnose_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"callout/diagnose"
	"callout/diagnose/energy"
)

// The cheap checks before a start kit is tried, one answer each that leaves nothing
// but the compressor.
var (
	underPower = []string{"fan_motion fan running", "voltage contactor_line 236", "voltage_under_start contactor_load 226", "voltage_drop contactor_pole_1 0.1", "starting_current compressor_start 11"}
	whileDead  = []string{"connection compressor tight", "connection capacitor tight", "connection disconnect tight", "capacitance herm 45.2", "insulation_resistance winding_to_ground 500",
		"resistance common_to_run 0.6/resistance common_to_start 2.1/resistance run_to_start 2.7"}
	owed = []string{"starting_current compressor_start", "voltage_under_start", "connection compressor", "connection capacitor", "capacitance herm", "insulation_resistance", "resistance common_to_run", "cannot cap_start"}
)

// TestSeizedTakesATry: whatever is left out, and in whatever order it is told, no
// compressor is condemned as seized but by a start kit that leaves it stalled, none
// is called hard to start but by one that starts it, and both only past the cheap
// checks.
func TestSeizedTakesATry(t *testing.T) {
	verdicts := map[string]int{}
	ways := []string{"", "start_kit compressor starts", "start_kit compressor stalled", "start_kit compressor silent", "cannot start_kit", "cannot start_kit absent", "cannot start_kit start_kit_on"}
	whole := newCall(t)
	for n := range 140 {
		rng := rand.New(rand.NewPCG(uint64(n), 17))
		c := *whole
		c.job = c.k.NewJob()
		told := map[string]bool{}
		tell := func(lines ...string) {
			rng.Shuffle(len(lines), func(a, b int) { lines[a], lines[b] = lines[b], lines[a] })
			for _, line := range lines {
				if rng.IntN(16) == 0 {
					continue
				}
				told[line] = true
				for _, s := range strings.Split(line, "/") {
					c.say(s)
				}
			}
		}
		way := ways[n%len(ways)]
		for _, s := range []string{"complaint unit no_cooling", "rated_load_amps compressor 14.1", "locked_rotor_amps compressor 73", "rated_capacitance herm 45", "declare panel_open",
			[]string{"compressor_sound compressor hum", "current compressor_common 63"}[rng.IntN(2)]} {
			c.say(s)
		}
		tell(append([]string(nil), underPower...)...)
		for _, s := range []string{"dead", "bled", "declare leads_off compressor_plug_off"} {
			c.say(s)
		}
		tell(append([]string{"cannot cap_start absent", "cannot start_relay absent"}, whileDead...)...)
		if strings.HasPrefix(way, "start_kit") {
			for _, s := range []string{"declare leads_on compressor_plug_on start_kit_on", "power", "+6m"} {
				c.say(s)
			}
		}
		if way != "" {
			c.say(way)
		}
		a := c.assess()
		if a.Next.Test == "start_kit" {
			for _, o := range owed {
				assert.True(t, has(told, o), "a start kit is prompted for before %q: %v", o, told)
			}
		}
		if a.Verdict == nil {
			continue
		}
		for _, f := range a.Verdict.Faults {
			verdicts[string(f)]++
			want := map[diagnose.FaultID]string{"compressor_seized": "stalled", "compressor_hard_start": "starts"}[f]
			if want == "" {
				continue
			}
			assert.Equal(t, "start_kit compressor "+want, way, "%s after %v", f, told)
			for _, o := range owed {
				assert.True(t, has(told, o), "%s before %q: %v", f, o, told)
			}
		}
	}
	assert.Positive(t, verdicts["compressor_seized"], "the walk never earned it: %v", verdicts)
	assert.Positive(t, verdicts["compressor_hard_start"], "the walk never earned it: %v", verdicts)
}

func has(told map[string]bool, prefix string) bool {
	for line := range told {
		if strings.HasPrefix(line, prefix) {
			return true
		}
	}
	return false
}

// TestAStartKitOutOfReachIsSaid: a stuck compressor that can't be tried with one ends
// unsettled, and what is lacking is named.
func TestAStartKitOutOfReachIsSaid(t *testing.T) {
	for _, cannot := range []string{"cannot start_kit", "cannot start_kit start_kit_on"} {
		c := newCall(t)
		for _, s := range []string{"complaint unit no_cooling", "rated_load_amps compressor 14.1", "locked_rotor_amps compressor 73", "rated_capacitance herm 45", "declare panel_open", "compressor_sound compressor hum", "current compressor_common 63"} {
			c.say(s)
		}
		for _, s := range append(append(append([]string(nil), underPower...), "dead", "bled", "declare leads_off compressor_plug_off", "cannot cap_start absent", "cannot start_relay absent"), whileDead...) {
			for _, line := range strings.Split(s, "/") {
				c.say(line)
			}
		}
		c.say(cannot)
		for range 90 {
			n := c.assess().Next
			if n.Kind == diagnose.DoDone {
				break
			}
			assert.Nil(t, c.assess().Verdict)
			c.say("cannot " + string(n.Test))
		}
		a := c.assess()
		assert.Equal(t, diagnose.DoDone, a.Next.Kind)
		assert.Nil(t, a.Verdict)
		assert.Contains(t, a.Next.Say, "a start kit that leaves it stalled")
	}
}

// TestAStartKitIsWiredOnWhatIsDead: in or out, it is hands on wires.
func TestAStartKitIsWiredOnWhatIsDead(t *testing.T) {
	for _, way := range []struct {
		before []string
		warned bool
	}{
		{nil, true},
		{[]string{"dead"}, true},
		{[]string{"dead", "bled"}, false},
	} {
		for _, d := range []string{"start_kit_on", "start_kit_off"} {
			c := newCall(t)
			if d == "start_kit_off" {
				for _, s := range []string{"dead", "bled", "declare start_kit_on lock_removed disconnect_in"} {
					c.say(s)
				}
			}
			for _, s := range way.before {
				c.say(s)
			}
			c.say("declare " + d)
			assert.Equal(t, way.warned, len(c.warn) > 0, "%s after %v", d, way.before)
			assert.Equal(t, d == "start_kit_on", is(c, energy.StartKit))
		}
	}
}

// TestATryIsNotTheUnitByItself: what runs with a kit in says nothing of how it runs
// without, and before it is looked at the kit is asked off.
func TestATryIsNotTheUnitByItself(t *testing.T) {
	c := newCall(t)
	for _, s := range []string{"complaint unit no_cooling", "rated_load_amps compressor 14.1", "locked_rotor_amps compressor 73", "fan_motion fan running", "compressor_sound compressor hum",
		"dead", "bled", "declare start_kit_on", "power", "+6m", "start_kit compressor starts"} {
		c.say(s)
	}
	before := c.assess().Causes[0].Probability
	c.say("compressor_sound compressor running")
	c.say("current compressor_common 11")
	assert.InDelta(t, before, c.assess().Causes[0].Probability, 1e-9)
	for _, f := range c.assess().Findings {
		assert.NotEqual(t, diagnose.TestID("compressor_current"), f.Test, f.Text)
	}
}
