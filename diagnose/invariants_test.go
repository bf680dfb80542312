package diagnose

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose/energy"
)

func knowledge(t testing.TB) *Knowledge {
	t.Helper()
	c, err := catalogue.Load()
	require.NoError(t, err)
	k, err := Load(c)
	require.NoError(t, err)
	return k
}

var start = time.Date(2025, 7, 1, 8, 0, 0, 0, time.UTC)

// clocked adds events to a job, a minute between two.
type clocked struct {
	seq uint64
	now time.Time
}

func (c *clocked) add(j *Job, list []Event) {
	for _, e := range list {
		c.seq++
		c.now = c.now.Add(time.Minute)
		e.Seq, e.At = c.seq, c.now
		j.Add(e)
	}
}

// wild makes one event at random: any reading, observation, word, repair or
// refusal of the catalogue. Half of the time it answers what was asked, so that
// the walk gets anywhere.
func wild(k *Knowledge, rng *rand.Rand, next Next) []Event {
	if rng.IntN(4) > 0 {
		if e := answer(k, rng, next); e != nil {
			return e
		}
	}
	switch rng.IntN(10) {
	case 0:
		return []Event{{Repair: k.cat.Repairs[rng.IntN(len(k.cat.Repairs))].ID}}
	case 1:
		return []Event{{Cannot: k.tests[rng.IntN(len(k.tests))].ID}}
	case 2, 3, 4:
		return []Event{{Declaration: k.cat.Declarations[rng.IntN(len(k.cat.Declarations))].ID}}
	}
	q := k.cat.Quantities[rng.IntN(len(k.cat.Quantities))]
	return []Event{reading(rng, q, q.Places[rng.IntN(len(q.Places))])}
}

func reading(rng *rand.Rand, q catalogue.Quantity, p catalogue.PlaceID) Event {
	if !q.Kind.Numeric() {
		return Event{Observation: &catalogue.Observation{Quantity: q.ID, Place: p, Value: q.Values[rng.IntN(len(q.Values))].ID}}
	}
	r := catalogue.Reading{Quantity: q.ID, Place: p, Unit: q.Unit, Value: q.Min + (q.Max-q.Min)*rng.Float64()*rng.Float64()}
	if len(q.Qualifiers) > 0 && rng.IntN(4) == 0 {
		r.Qualifier = q.Qualifiers[rng.IntN(len(q.Qualifiers))]
		r.Value = 0
	}
	return Event{Reading: &r}
}

// answer does what was asked, with a value at random; safety steps are mostly
// answered well.
func answer(k *Knowledge, rng *rand.Rand, n Next) []Event {
	switch {
	case n.Kind == DoRepair:
		return []Event{{Repair: n.Repair}}
	case len(n.Declare) > 0:
		var out []Event
		for _, d := range n.Declare {
			out = append(out, Event{Declaration: d})
		}
		return out
	case n.Quantity == "":
		return nil
	}
	q, _ := k.cat.Quantity(n.Quantity)
	if n.Kind == DoMakeSafe {
		v := 0.0
		if n.Place == "known_live" {
			v = 240
		}
		if rng.IntN(12) == 0 {
			v = 240 - v
		}
		return []Event{{Reading: &catalogue.Reading{Quantity: q.ID, Place: n.Place, Unit: q.Unit, Value: v}}}
	}
	return []Event{reading(rng, q, n.Place)}
}

// safeFor tells whether what must be proved for work in a state is. What proved
// means is held against an account of its own in energy_test.go.
func safeFor(e Energy, state string) bool {
	outdoors := e.Outdoor == ProvedDead && e.Is(energy.OutdoorOff) && e.Is(energy.OutdoorLock)
	bled := outdoors && e.Capacitor == Proved
	switch state {
	case "dead", "upstream", "upstream_pulled":
		return outdoors
	case "dead_bled", "leads_off", "plug_off", "kit_on", "upstream_all", "open_circuit", "open_circuit_plug":
		return bled
	case "control_dead", "open_circuit_control":
		return bled && e.Is(energy.CallOff) && e.Indoor != Live
	case "indoor_dead", "indoor_bled":
		return e.Indoor == ProvedDead
	}
	return true
}

// TestInvariants walks random and adversarial sessions and holds every prompt
// and verdict against the protocol.
func TestInvariants(t *testing.T) {
	k := knowledge(t)
	sessions := 90
	if testing.Short() {
		sessions = 40
	}
	seen := map[string]int{}
	for s := range sessions {
		rng := rand.New(rand.NewPCG(uint64(s), 99))
		j := k.NewJob()
		now, seq := start, uint64(0)
		var a Assessment
		for range 50 {
			for _, e := range wild(k, rng, a.Next) {
				seq++
				now = now.Add(time.Duration(rng.IntN(120)) * time.Second)
				e.Seq, e.At = seq, now
				j.Add(e)
			}
			a = j.Assess(now)
			seen[a.Next.Kind]++
			checkPrompt(t, k, j, a)
			checkVerdict(t, k, j, a)
			if t.Failed() {
				t.Fatalf("session %d after %d events", s, seq)
			}
		}
	}
	for _, kind := range []string{DoTest, DoMakeSafe, DoEnergise, DoRepair, DoProof, DoWait, DoNameplate} {
		assert.Positive(t, seen[kind], "the walk never met a %s: %v", kind, seen)
	}
}

func checkPrompt(t *testing.T, k *Knowledge, j *Job, a Assessment) {
	n := a.Next
	require.NotEmpty(t, n.Kind)
	require.NotEmpty(t, n.Say, "%+v", n)
	say := strings.ToLower(n.Say)
	switch n.Kind {
	case DoTest, DoProof:
		test := k.tests[k.testAt[n.Test]]
		assert.True(t, safeFor(a.Energy, test.State), "hands on %s with %+v", test.ID, a.Energy)
		level := k.energy.States[k.stateAt[test.State]]
		q, _ := k.cat.Quantity(test.Quantity)
		if level.Live && q.Kind.Numeric() && (test.Quantity == "voltage" || test.Quantity == "current" || test.Quantity == "voltage_drop" || test.Quantity == "voltage_under_start" || test.Quantity == "starting_current") {
			assert.NotEmpty(t, n.Cautions, "a live reading without its caution: %s", test.ID)
		}
		assert.Contains(t, []catalogue.QuantityID{q.ID}, q.ID)
		require.NotEmpty(t, n.Quantity)
		place, _ := k.cat.Quantity(n.Quantity)
		assert.True(t, place.HasPlace(n.Place), "%s is not taken at %s", n.Quantity, n.Place)
		if i := k.testAt[n.Test]; j.state.cannot[i] { // it is put once more at most, with the reason, and never what is not there or was declined as dangerous
			assert.Less(t, j.state.refused[i], 2, "%s can't be done and is asked again", n.Test)
			assert.False(t, j.state.absent[i] || test.Once, "%s is asked again", n.Test)
			assert.Equal(t, DoTest, n.Kind)
			assert.Contains(t, n.Say, "could not be done before", n.Test)
		}
		if n.Place == "herm" && n.Quantity == "capacitance" {
			assert.Equal(t, Proved, a.Energy.Capacitor)
		}
	case DoMakeSafe:
		for _, d := range n.Declare {
			switch d {
			case "leads_off", "compressor_plug_off", "leads_on", "compressor_plug_on", "start_kit_on", "start_kit_off":
				assert.True(t, a.Energy.Outdoor == ProvedDead && a.Energy.Capacitor == Proved, "hands on wires with %+v", a.Energy)
			case "capacitor_bled":
				assert.Equal(t, ProvedDead, a.Energy.Outdoor)
				assert.NotEmpty(t, n.Cautions)
			}
		}
	case DoRepair:
		rule := k.repairs[k.repairAt[n.Repair]]
		assert.True(t, safeFor(a.Energy, rule.State), "repair %s with %+v", n.Repair, a.Energy)
		require.NotNil(t, a.Verdict, "a repair without a verdict")
		if rule.Circuit {
			licensed := false
			for _, c := range n.Cautions {
				licensed = licensed || c.ID == "licensed"
			}
			assert.True(t, licensed, "%s opens the circuit and doesn't say that it takes a licence", n.Repair)
		}
	case DoDone:
		if len(a.Proof.Repairs) > 0 && !a.Proof.Complete {
			assert.NotContains(t, say, "is proved")
		}
	}
	assert.NotContains(t, strings.ReplaceAll(say, "never vent", ""), "vent ")
	if n.Kind != DoRepair && a.Verdict == nil {
		assert.NotContains(t, say, "replace the compressor", "%s", n.Kind)
	}
}

func checkVerdict(t *testing.T, k *Knowledge, j *Job, a Assessment) {
	var sum float64
	for _, c := range a.Causes {
		sum += c.Probability
		assert.NotEmpty(t, c.Name)
	}
	assert.LessOrEqual(t, sum, 1+1e-9)
	v := a.Verdict
	if v == nil || len(j.state.repairs) > 0 { // after a repair its verdict is kept as it was
		return
	}
	assert.NotEmpty(t, v.Because, "a verdict without its reason: %s", v.Name)
	for _, f := range v.Faults {
		assert.True(t, f != "compressor_seized" || tried(j, "stalled"), "condemned as seized, and no start kit left it stalled")
		assert.True(t, f != "compressor_hard_start" || tried(j, "starts"), "called hard to start, and no start kit started it")
	}
	for _, r := range v.Repairs {
		if r != "replace_compressor" {
			continue
		}
		got := map[string]bool{}
		for _, rec := range j.state.records {
			got[string(rec.in.Quantity)+" "+string(rec.in.Place)] = true
		}
		assert.True(t, got["capacitance herm"], "capacitor not proved")
		assert.True(t, got["connection compressor"] && got["connection capacitor"], "connections not proved")
		assert.True(t, got["resistance common_to_run"] && got["resistance common_to_start"] && got["resistance run_to_start"], "windings not proved")
		assert.True(t, got["voltage_under_start contactor_load"] || got["voltage_under_start contactor_line"] || got["voltage_under_start compressor_terminals"] || got["voltage contactor_line"], "supply not proved under load")
		var licensed bool
		for _, c := range v.Cautions {
			licensed = licensed || c.ID == "licensed"
		}
		assert.True(t, licensed)
	}
}

// tried reports whether a start kit was tried, and did that.
func tried(j *Job, what catalogue.ValueID) bool {
	return slices.ContainsFunc(j.state.records, func(r record) bool { return r.in.Quantity == "start_kit" && r.choice == what })
}

// TestSameEventsSameAnswer: a job is a pure fold; a retracted event leaves no
// trace.
func TestSameEventsSameAnswer(t *testing.T) {
	k := knowledge(t)
	for s := range 60 {
		rng := rand.New(rand.NewPCG(uint64(s), 5))
		var events []Event
		j := k.NewJob()
		now := start
		var a Assessment
		for len(events) < 25 {
			for _, e := range wild(k, rng, a.Next) {
				now = now.Add(15 * time.Second)
				e.Seq, e.At = uint64(len(events)+1), now
				events = append(events, e)
				j.Add(e)
			}
			a = j.Assess(now)
		}
		again := k.NewJob()
		for _, e := range events {
			again.Add(e)
		}
		require.Equal(t, a, again.Assess(now))
		require.Equal(t, a, again.Assess(now), "asking twice changes nothing")

		out := rng.IntN(len(events))
		require.NoError(t, again.Retract(events[out].Seq))
		without := k.NewJob()
		marked := k.NewJob()
		for i, e := range events {
			if i != out {
				without.Add(e)
			}
			e.Struck = i == out
			marked.Add(e)
		}
		got, want := again.Assess(now), without.Assess(now)
		require.Equal(t, marked.Assess(now), got)
		require.Equal(t, want.Causes, got.Causes)
		require.Equal(t, want.Findings, got.Findings)
		require.Equal(t, want.Proof, got.Proof)
		if without.state.energy.Same(&again.state.energy) { // else what it had put in doubt is proved again
			got.Warnings, want.Warnings, got.Timers, want.Timers = nil, nil, nil, nil // they say so
			got.Energy = want.Energy
			require.Equal(t, want, got)
		}
		require.Error(t, again.Retract(9999))
	}
}

// TestOrderDoesNotMatter: the same readings in any order give the same
// posterior (grade sheet: priors and likelihoods, not a fixed tree).
func TestOrderDoesNotMatter(t *testing.T) {
	k := knowledge(t)
	say := func(q catalogue.QuantityID, p catalogue.PlaceID, v catalogue.ValueID) Event {
		return Event{Observation: &catalogue.Observation{Quantity: q, Place: p, Value: v}}
	}
	read := func(q catalogue.QuantityID, p catalogue.PlaceID, v float64) Event {
		quantity, _ := k.cat.Quantity(q)
		return Event{Reading: &catalogue.Reading{Quantity: q, Place: p, Value: v, Unit: quantity.Unit}}
	}
	events := []Event{
		say("complaint", "unit", "weak_cooling"), say("refrigerant", "unit", "R-410A"), say("metering_device", "unit", "txv"),
		say("fan_motion", "fan", "running"), say("compressor_sound", "compressor", "running"), say("filter_state", "filter", "clean"),
		read("suction_pressure", "suction_line", 105), read("liquid_pressure", "liquid_line", 310), read("temperature", "suction_line", 62),
		read("temperature", "liquid_line", 95), read("temperature", "outdoor_air", 85), read("temperature", "return_air", 78),
		read("rated_load_amps", "compressor", 14), read("locked_rotor_amps", "compressor", 70), read("current", "compressor_common", 8.2),
		read("target_subcooling", "unit", 9),
	}
	rng := rand.New(rand.NewPCG(1, 2))
	var want []float64
	for range 30 {
		rng.Shuffle(len(events), func(a, b int) { events[a], events[b] = events[b], events[a] })
		j := k.NewJob()
		for i, e := range events {
			e.Seq, e.At = uint64(i+1), start
			j.Add(e)
		}
		v := j.state.look(start)
		if want == nil {
			want = v.mass
			continue
		}
		assert.InDeltaSlice(t, want, v.mass, 1e-9)
	}
	assert.InDelta(t, 1, total(want), 1e-9)
}

func total(p []float64) (sum float64) {
	for _, x := range p {
		sum += x
	}
	return sum
}
