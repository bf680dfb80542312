package simulator

import (
	"encoding/json"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

// The simulator and what it judges must share nothing but ids.
func TestImports(t *testing.T) {
	imports := func(pattern string) map[string]bool {
		files, err := filepath.Glob(pattern)
		require.NoError(t, err)
		require.NotEmpty(t, files)
		seen := map[string]bool{}
		for _, f := range files {
			parsed, err := parser.ParseFile(token.NewFileSet(), f, nil, parser.ImportsOnly)
			require.NoError(t, err)
			for _, i := range parsed.Imports {
				seen[strings.Trim(i.Path.Value, `"`)] = !strings.HasSuffix(f, "_test.go") || seen[strings.Trim(i.Path.Value, `"`)]
			}
		}
		return seen
	}
	own := imports("*.go")
	assert.NotContains(t, own, "callout/diagnose")
	assert.NotContains(t, own, "callout/physics")
	assert.False(t, imports("../../*.go")["callout/diagnose/internal/simulator"], "the engine may not see the simulator")
}

// notPlayed are the faults that no simulated unit has: all of them have one
// phase. The scores say nothing of these.
var notPlayed = []string{"phase_lost", "phase_uneven", "rotation_reversed"}

// notAsked are the questions that such a unit has no answer to.
var notAsked = map[string]bool{
	"voltage leg_3_to_ground": true, "voltage line_ab": true, "voltage line_bc": true, "voltage line_ca": true,
	"current line_a": true, "current line_b": true, "current line_c": true, "phase_sequence unit": true,
	"static_pressure return_duct": true, "static_pressure supply_duct": true, "superheat suction_line": true, "subcooling liquid_line": true, "temperature_split duct": true,
	"saturation_temperature suction_line": true, "saturation_temperature liquid_line": true, "charge_added unit": true, "charge_recovered unit": true, "board_light defrost_board": true,
}

// The simulator can make every fault the engine knows but those listed, and no
// other.
func TestFaultsAreTheEngines(t *testing.T) {
	data, err := os.ReadFile("../../data/faults.json")
	require.NoError(t, err)
	var faults []struct {
		ID     string
		Normal bool
	}
	require.NoError(t, json.Unmarshal(data, &faults))
	var ids []string
	for _, f := range faults {
		ids = append(ids, f.ID)
		assert.Equal(t, f.Normal, Normal(f.ID), f.ID)
	}
	assert.ElementsMatch(t, ids, append(FaultIDs(), notPlayed...))
}

// Every question of the catalogue has an answer of the right kind in some unit,
// and every answer lies in the catalogue's range.
func TestAnswersFitTheCatalogue(t *testing.T) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	answered := map[string]bool{}
	for seed := uint64(0); seed < 400; seed++ {
		w := NewCall(seed, Setup{Pairs: 0.2})
		for _, dead := range []bool{false, true} {
			if dead {
				for _, d := range []string{"disconnect_pulled", "locked_out", "capacitor_bled", "leads_off", "compressor_plug_off", "start_kit_on", "air_handler_off"} {
					w.Declare(d)
				}
			}
			for _, q := range c.Quantities {
				for _, place := range q.Places {
					a := w.Ask(string(q.ID), string(place))
					if !a.Can {
						continue
					}
					key := string(q.ID) + " " + string(place)
					answered[key] = true
					switch {
					case !q.Kind.Numeric():
						_, ok := q.Value(catalogue.ValueID(a.Choice))
						require.True(t, ok, "%s: %q (%v)", key, a.Choice, w.Faults)
					case a.Qualifier != "":
						require.Contains(t, q.Qualifiers, catalogue.Qualifier(a.Qualifier), key)
					default:
						require.GreaterOrEqual(t, a.Value, q.Min, "%s %v seed %d", key, w.Faults, seed)
						require.LessOrEqual(t, a.Value, q.Max, "%s %v seed %d", key, w.Faults, seed)
					}
				}
			}
		}
	}
	for _, q := range c.Quantities {
		for _, place := range q.Places {
			key := string(q.ID) + " " + string(place)
			if key == "locked_rotor_amps fan" {
				continue // seldom on a plate
			}
			assert.Equal(t, !notAsked[key], answered[key], "can somebody answer %s?", key)
		}
	}
}

// Each repair of the simulator is one of the catalogue's or is still to be
// written there; each fault has one that mends it, unless nothing is wrong.
func TestMends(t *testing.T) {
	for _, id := range FaultIDs() {
		kind := faultTable[id]
		assert.Equal(t, kind.normal, len(kind.mends) == 0, id)
		made := 0
		for seed := uint64(0); seed < 40 && !kind.normal; seed++ {
			w := newCallWith(seed, id)
			if w == nil {
				continue
			}
			made++
			assert.Empty(t, w.Mend("replace_nothing"))
			assert.Equal(t, []string{id}, w.Mend(kind.mends[0]), id)
			if w.fuseBlown { // what a shorted coil blew
				assert.NotEmpty(t, w.Mend("replace_control_fuse"), id)
			}
			w.poweredAt = 0
			for _, d := range []string{"disconnect_in", "breaker_on", "calling"} {
				w.Declare(d)
			}
			w.Pass(30)
			r := w.settle()
			assert.InDelta(t, w.volts, w.p.volts, 0, id)
			assert.Equal(t, w.sourceOhms, w.p.sourceOhms, id)
			assert.Equal(t, "running", r.state, "%s, mended, seed %d", id, seed)
			assert.Equal(t, "running", r.fan, id)
			assert.Equal(t, "running", r.blower, id)
		}
		if !kind.normal {
			assert.NotZero(t, made, id)
		}
	}
}

// newCallWith makes a call with one given fault if this seed's unit can have it.
func newCallWith(seed uint64, id string) *World {
	r := seeded(seed)
	for range 200 {
		if w := newWorld(1, r, Setup{Fault: id}); w != nil {
			return w
		}
	}
	return nil
}

// The same seed and questions give the same call.
func TestSameSeedSameCall(t *testing.T) {
	ask := func() []Answer {
		w := NewCall(7, Setup{Pairs: 1})
		var all []Answer
		for _, q := range [][2]string{{"voltage", "contactor_line"}, {"current", "compressor_common"}, {"suction_pressure", "suction_line"}, {"filter_state", "filter"}, {"complaint", "unit"}} {
			all = append(all, w.Ask(q[0], q[1]))
		}
		return all
	}
	assert.Equal(t, ask(), ask())
}

// A prompt to touch is judged by the truth: live, unproved, charged, safe.
func TestTouching(t *testing.T) {
	w := newCallWith(3, "run_capacitor_failed")
	require.NotNil(t, w)
	assert.Equal(t, HandsOnLive, w.touching("capacitor"))
	w.Declare("disconnect_pulled")
	assert.Equal(t, HandsOnUnproved, w.touching("outdoor"))
	for _, place := range []string{"known_live", "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground"} {
		w.prove("voltage", place, w.Ask("voltage", place))
	}
	assert.Equal(t, HandsOnUnproved, w.touching("outdoor"), "not before the meter is shown the live source again")
	w.prove("voltage", "known_live", w.Ask("voltage", "known_live"))
	assert.Empty(t, w.touching("outdoor"))
	w.capVolts = 300
	assert.Equal(t, HandsOnCharged, w.touching("capacitor"))
	w.capVolts = 0
	assert.Equal(t, HandsOnUnproved, w.touching("capacitor"))
	w.prove("capacitor_voltage", "herm", w.Ask("capacitor_voltage", "herm"))
	assert.Equal(t, HandsOnUnproved, w.touching("capacitor"), "each section by itself")
	w.prove("capacitor_voltage", "fan_section", w.Ask("capacitor_voltage", "fan_section"))
	assert.Empty(t, w.touching("capacitor"))
	assert.Equal(t, HandsOnLive, w.touching("indoor"))
	assert.Equal(t, HandsOnLive, w.touching("line"))
	w.Declare("disconnect_in")
	assert.Equal(t, HandsOnLive, w.touching("outdoor"))
	w.Declare("disconnect_pulled")
	assert.Equal(t, HandsOnUnproved, w.touching("outdoor"), "proof does not outlive power")
}

func BenchmarkNewCall(b *testing.B) {
	seed := uint64(0)
	for b.Loop() {
		NewCall(seed, Setup{Pairs: 0.12})
		seed++
	}
}
