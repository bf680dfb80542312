package diagnose_test

import (
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
	"callout/diagnose/internal/simulator"
)

// TestInstrumentErrorIsSaid: a verdict holds within the meter's tolerance, or
// the finding says that it is not sure.
func TestInstrumentErrorIsSaid(t *testing.T) {
	for _, row := range []struct {
		uf   float64
		sure bool
		want diagnose.ClassID
	}{{34.6, true, "good"}, {33.4, false, "good"}, {33.1, false, "weak"}, {30, true, "weak"}} {
		c := newCall(t)
		c.say("rated_capacitance herm 35")
		c.say("capacitor_tolerance installed 5")
		c.say(fmt.Sprintf("capacitance herm %g", row.uf))
		for _, f := range c.assess().Findings {
			if f.Test == "cap_herm" {
				assert.Equal(t, row.want, f.Class, "%g", row.uf)
				assert.Equal(t, row.sure, f.Sure, "%g µF: %s", row.uf, f.Text)
			}
		}
	}
	// a meter that reads 1% off moves no verdict
	for _, off := range []float64{0.99, 1.01} {
		c := newCall(t)
		for _, s := range []string{"complaint unit no_cooling", "fan_motion fan running", "compressor_sound compressor hum", "rated_capacitance herm 40", "dead", "bled", "declare leads_off", fmt.Sprintf("capacitance herm %.2f", 22*off)} {
			c.say(s)
		}
		require.NotNil(t, c.assess().Verdict)
		assert.Contains(t, []diagnose.FaultID{"run_capacitor_weak", "run_capacitor_failed"}, c.assess().Verdict.Faults[0])
	}
}

// TestTwoFaultsAreBothReported: a weak capacitor and a low charge.
func TestTwoFaultsAreBothReported(t *testing.T) {
	c := newCall(t)
	day{"suction_sat_temp": -1, "superheat": 1, "condensing_sat_temp": -1, "subcooling": -1, "condenser_air_rise": -1, "evaporator_air_split": -1}.play(c)
	for _, s := range []string{"filter_state filter clean", "coil_state outdoor_coil clean", "rated_capacitance herm 40", "capacitor_tolerance installed 6", "dead", "bled", "declare leads_off", "capacitance herm 29"} {
		c.say(s)
	}
	a := c.assess()
	named := map[diagnose.FaultID]bool{}
	for _, cause := range a.Causes[:1] {
		for _, f := range cause.Faults {
			named[f] = true
		}
	}
	assert.True(t, named["undercharge"] && named["run_capacitor_weak"], top(a))
	require.NotNil(t, a.Verdict)
	assert.Contains(t, a.Verdict.Faults, diagnose.FaultID("run_capacitor_weak"))
}

// TestCompressorIsNotCondemnedOnOneReading: neither a low megohm reading, nor an
// open overload, nor a locked rotor condemns (Copeland AE4-1294; Goodman IO-395;
// about 30% of returned compressors had no defect: ACHR News 90607).
func TestCompressorIsNotCondemnedOnOneReading(t *testing.T) {
	for _, say := range []string{
		"insulation_resistance winding_to_ground 0.01",
		"resistance common_to_run OL/resistance common_to_start OL/resistance run_to_start 2.4",
		"locked_rotor_amps compressor 58/current compressor_common 55",
		"resistance common_to_run 0.5/resistance common_to_start OL/resistance run_to_start OL",
	} {
		c := newCall(t)
		c.say("complaint unit no_cooling")
		for _, s := range strings.Split(say, "/") {
			c.say(s)
		}
		a := c.assess()
		assert.Nil(t, a.Verdict, say)
		assert.NotContains(t, a.Next.Say, "replace the compressor")
	}
}

// TestEveryVerdictExplainsItself: the reasons with their numbers, what was ruled
// out, what would change it, and the way down to the formula's source.
func TestEveryVerdictExplainsItself(t *testing.T) {
	c := newCall(t)
	for _, s := range []string{"complaint unit no_cooling", "fan_motion fan running", "compressor_sound compressor hum", "rated_capacitance herm 40", "dead", "bled", "declare leads_off", "capacitance herm 3"} {
		c.say(s)
	}
	v := c.assess().Verdict
	require.NotNil(t, v)
	assert.Contains(t, v.Because, "3 µF against 40 µF rated")
	assert.NotEmpty(t, v.Reasons)
	assert.NotEmpty(t, v.RuledOut)
	assert.Contains(t, v.WouldChange, "If ")
	assert.NotEmpty(t, v.Cautions)
	why := strings.Join(c.job.Why(c.now), "\n")
	assert.Contains(t, why, "Source: ")
	assert.Contains(t, why, "IEC 60252-1")
	assert.Contains(t, why, "21% of air conditioner calls")
}

// TestStatedBeliefIsCalibrated: over simulated calls, verdicts stated at 80% or
// more hold about as often as stated. CALLOUT_CALLS sets how many.
func TestStatedBeliefIsCalibrated(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	c, err := catalogue.Load()
	require.NoError(t, err)
	k, err := diagnose.Load(c)
	require.NoError(t, err)
	n := min(envInt("CALLOUT_CALLS", 150), 600)
	var stated, held, verdicts float64
	edges := []float64{0.5, 0.7, 0.8, 0.9, 0.97, 1.01}
	var table [5]struct{ n, stated, held float64 }
	for i := range n {
		e := &stating{played: played{job: k.NewJob(), cat: c}}
		r := simulator.Play(simulator.NewCall(uint64(70_000_000+i), simulator.Setup{}), e, uint64(i), false)
		if e.name == "" {
			continue
		}
		right := 0.0
		if slices.Contains(r.Truth, e.name) {
			right = 1
		}
		for b := range table {
			if row := &table[b]; e.p >= edges[b] && e.p < edges[b+1] {
				row.n, row.stated, row.held = row.n+1, row.stated+e.p, row.held+right
			}
		}
		if e.p >= 0.8 {
			verdicts, stated, held = verdicts+1, stated+e.p, held+right
		}
	}
	for b, row := range table {
		if row.n > 0 {
			t.Logf("stated %2.0f to %3.0f%%: %4.0f verdicts, stated %.3f, held %.3f", 100*edges[b], min(100, 100*edges[b+1]), row.n, row.stated/row.n, row.held/row.n)
		}
	}
	t.Logf("%.0f first verdicts at 80%% or more: stated %.3f, held %.3f", verdicts, stated/verdicts, held/verdicts)
	assert.InDelta(t, stated/verdicts, held/verdicts, 0.06)
}

// stating keeps the first verdict and the belief it was stated with.
type stating struct {
	played
	name string
	p    float64
}

func (s *stating) Next(at float64) simulator.Step {
	step := s.played.Next(at)
	if len(step.Verdict) > 0 && s.name == "" {
		a := s.job.Assess(clock(at))
		s.name, s.p = string(a.Verdict.Faults[0]), a.Verdict.Probability
	}
	return step
}

// TestExpectLeavesRoomForSurprise: the interval for the ear holds what physics
// expects, and is no point.
func TestExpectLeavesRoomForSurprise(t *testing.T) {
	c := newCall(t)
	_, _, ok := c.job.Expect("altitude", "unit")
	assert.False(t, ok)
	for _, s := range []string{"complaint unit no_cooling", "fan_motion fan running", "compressor_sound compressor hum", "rated_load_amps compressor 13.4", "locked_rotor_amps compressor 58"} {
		c.say(s)
	}
	lo, hi, ok := c.job.Expect("current", "compressor_common")
	require.True(t, ok)
	assert.Zero(t, lo, "the overload may have opened")
	assert.Greater(t, hi, 58.0)
	c.say("rated_capacitance herm 40")
	lo, hi, ok = c.job.Expect("capacitance", "herm")
	require.True(t, ok)
	assert.LessOrEqual(t, lo, 2.0)
	assert.Greater(t, hi, 40.0)
	assert.False(t, math.IsInf(hi, 1))
}

// TestBadKnowledgeIsRefused: one clear line for each kind of mistake.
func TestBadKnowledgeIsRefused(t *testing.T) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	files := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(os.DirFS("data"), ".", func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			raw, err := os.ReadFile("data/" + p)
			require.NoError(t, err)
			files[p] = &fstest.MapFile{Data: raw}
		}
		return err
	}))
	_, err = diagnose.LoadFrom(c, files)
	require.NoError(t, err)
	for _, row := range []struct{ file, from, to, want string }{
		{"faults.json", `"prior"`, `"priors"`, "unknown field"},
		{"faults.json", `"profile": "locked"`, `"profile": "stuck"`, `no profile "stuck"`},
		{"faults.json", `"first": "compressor",`, ``, "condemns a compressor without a gate"},
		{"faults.json", `["replace_filter"]`, `["replace_filters"]`, `no repair "replace_filters"`},
		{"faults.json", `"cap_herm": "open 52 very_weak 40 weak 8"`, `"cap_herm": "open 52 very_weak 40 weak 9"`, "percents that make 100"},
		{"faults.json", `cap_herm: open, weak`, `cap_herm: opened`, `no outcome`},
		{"tests.json", `"state": "leads_off"`, `"state": "off"`, `no energy state "off"`},
		{"tests.json", `"cautions": ["live_clamp"]`, `"cautions": ["clamp"]`, `no caution "clamp"`},
		{"tests.json", `"place": "compressor_common"`, `"place": "attic"`, `no "current" at "attic"`},
		{"energy.json", `"declare": ["leads_off"]`, `"declare": ["lead_off"]`, `no declaration "lead_off"`},
		{"repairs.json", `"licensed"`, `"lock_out"`, "doesn't say that it takes a licence"},
		{"gates.json", `windings: sound`, `windings: fine`, `no outcome "fine"`},
	} {
		bad := fstest.MapFS{}
		for p, f := range files {
			bad[p] = f
		}
		changed := strings.Replace(string(files[row.file].Data), row.from, row.to, 1)
		if row.file == "repairs.json" {
			changed = strings.ReplaceAll(string(files[row.file].Data), row.from, row.to)
		}
		require.NotEqual(t, string(files[row.file].Data), changed, "%s holds no %s", row.file, row.from)
		bad[row.file] = &fstest.MapFile{Data: []byte(changed)}
		_, err := diagnose.LoadFrom(c, bad)
		require.ErrorIs(t, err, diagnose.ErrInvalid, row.want)
		assert.ErrorContains(t, err, row.want)
	}
}

// TestRuledOutNamesWhatSpeaksAgainst: a finding rules a cause out only where it
// is not what that cause shows; what another fault shows rules out nothing.
func TestRuledOutNamesWhatSpeaksAgainst(t *testing.T) {
	c := newCall(t)
	for _, s := range []string{"complaint unit weak_cooling", "fan_motion fan running", "compressor_sound compressor running", "coil_state outdoor_coil clean", "filter_state filter clean",
		"rated_capacitance herm 45", "capacitor_voltage herm 342", "current compressor_start 4.4", "dead", "bled", "declare leads_off", "capacitance herm 33"} {
		c.say(s)
	}
	v := c.assess().Verdict
	require.NotNil(t, v)
	assert.Equal(t, diagnose.FaultID("run_capacitor_weak"), v.Faults[0])
	for _, out := range v.RuledOut {
		assert.NotContains(t, out, "33 µF", "a weak capacitor rules out no other fault")
	}
	assert.Contains(t, strings.Join(v.RuledOut, "\n"), "dirty or blocked outdoor coil: the outdoor coil is clean")
}

// TestEveryLeadingCauseSaysWhy: also where its rivals show the same.
func TestEveryLeadingCauseSaysWhy(t *testing.T) {
	c := newCall(t)
	for _, s := range []string{"complaint unit no_cooling", "locked_rotor_amps compressor 73", "current compressor_common 62"} {
		c.say(s)
	}
	for _, cause := range c.assess().Causes {
		if !strings.HasPrefix(cause.Name, "nothing") {
			assert.Contains(t, strings.Join(cause.Because, "; "), "62 A is 85% of the locked-rotor 73 A", cause.Name)
		}
	}
}
