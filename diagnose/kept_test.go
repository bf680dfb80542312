package diagnose

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

// tangled makes an event of those that hang on each other most: a breaker that
// trips and is put back, windings that are read before and after their time to
// cool, a wet bulb that comes as humidity, a reading said twice, a nameplate
// that comes late or can't be read.
func tangled(k *Knowledge, rng *rand.Rand) Event {
	ask := []Input{
		{Quantity: "breaker_state", Place: "breaker"}, {Quantity: "breaker_reset", Place: "breaker"},
		{Quantity: "resistance", Place: "common_to_run"}, {Quantity: "resistance", Place: "common_to_start"}, {Quantity: "resistance", Place: "run_to_start"},
		{Quantity: "relative_humidity", Place: "return_air"}, {Quantity: "temperature", Place: "return_air"}, {Quantity: "temperature", Place: "supply_air"},
		{Quantity: "temperature", Place: "outdoor_air"}, {Quantity: "temperature", Place: "suction_line"}, {Quantity: "suction_pressure", Place: "suction_line"},
		{Quantity: "compressor_sound", Place: "compressor"}, {Quantity: "fan_motion", Place: "fan"}, {Quantity: "current", Place: "compressor_common"},
		{Quantity: "voltage", Place: "contactor_load"}, {Quantity: "voltage", Place: "contactor_line"}, {Quantity: "contactor_state", Place: "contactor"},
		{Quantity: "locked_rotor_amps", Place: "compressor"}, {Quantity: "rated_load_amps", Place: "compressor"},
		{Quantity: "refrigerant", Place: "unit"}, {Quantity: "metering_device", Place: "unit"},
	}
	in := ask[rng.IntN(len(ask))]
	q, _ := k.cat.Quantity(in.Quantity)
	usual := map[catalogue.QuantityID][]float64{"temperature": {78, 60, 92, 55}, "relative_humidity": {40, 55, 70}, "suction_pressure": {70, 118}, "voltage": {0, 238}, "current": {0, 11, 60}, "locked_rotor_amps": {58, 70}, "rated_load_amps": {14}, "resistance": {0.8, 2.1, 2.9}}
	e := Event{Certainty: 1 - 0.5*float64(rng.IntN(2))*rng.Float64()}
	switch values := usual[q.ID]; {
	case q.ID == "resistance" && rng.IntN(2) == 0:
		e.Reading = &catalogue.Reading{Quantity: q.ID, Place: in.Place, Unit: q.Unit, Qualifier: catalogue.OpenLine}
	case values != nil:
		e.Reading = &catalogue.Reading{Quantity: q.ID, Place: in.Place, Unit: q.Unit, Value: values[rng.IntN(len(values))]}
	default:
		x := reading(rng, q, in.Place)
		e.Reading, e.Observation = x.Reading, x.Observation
	}
	return e
}

// TestWhatIsKeptIsAsIfFresh: a job that was looked at after every event shows
// what one shows that is looked at for the first time, to the last bit.
func TestWhatIsKeptIsAsIfFresh(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	k := knowledge(t)
	done := 0
	for s := range 30 {
		rng := rand.New(rand.NewPCG(uint64(s), 21))
		j := k.NewJob()
		now, seq := start, uint64(0)
		add := func(e Event) {
			seq++
			e.Seq, e.At = seq, now
			j.Add(e)
		}
		add(Event{Observation: &catalogue.Observation{Quantity: "refrigerant", Place: "unit", Value: "R-410A"}})
		if s%6 == 0 { // an overload that stays open, before a repair
			add(Event{Observation: &catalogue.Observation{Quantity: "compressor_sound", Place: "compressor", Value: "hum_then_click"}})
			now = now.Add(3 * time.Hour)
			for _, p := range []catalogue.PlaceID{"common_to_run", "common_to_start"} {
				add(Event{Reading: &catalogue.Reading{Quantity: "resistance", Place: p, Unit: "Ohm", Qualifier: catalogue.OpenLine}})
			}
			add(Event{Reading: &catalogue.Reading{Quantity: "resistance", Place: "run_to_start", Unit: "Ohm", Value: 2.9}})
			require.Equal(t, "overload_stays", string(k.tests[k.testAt["windings"]].Classes[j.state.look(now).epochs[0][k.testAt["windings"]].top].ID))
			add(Event{Repair: "replace_contactor"})
		}
		for range 40 {
			now = now.Add(time.Duration(1+rng.IntN(3)) * time.Minute)
			if rng.IntN(15) == 0 {
				now = now.Add(2 * time.Hour)
			}
			switch rng.IntN(24) {
			case 0, 1:
				add(wild(k, rng, Next{})[0])
			case 2:
				add(Event{Repair: []catalogue.RepairID{"replace_run_capacitor", "reset_breaker", "replace_contactor"}[rng.IntN(3)]})
			case 3:
				add(Event{Cannot: "compressor_current", Lack: &Lack{Quantity: "locked_rotor_amps", Place: "compressor"}})
			default:
				add(tangled(k, rng))
			}
			kept := j.state.look(now)
			again := k.NewJob()
			for _, e := range j.events {
				again.Add(e)
			}
			again.state.understood, again.state.posterior = nil, posterior{} // what a repair looked at
			fresh := again.state.look(now)
			require.Equal(t, fresh.epochs, kept.epochs, "session %d, event %d: %+v", s, seq, j.events[len(j.events)-1])
			require.Equal(t, fresh.mass, kept.mass)
			for _, o := range kept.standing {
				if o != nil {
					done++
				}
			}
		}
	}
	assert.Greater(t, done, 2_000)
}
