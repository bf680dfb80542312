package diagnose_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
)

func volts(p catalogue.PlaceID, v float64) diagnose.Event {
	return diagnose.Event{Reading: &catalogue.Reading{Quantity: "voltage", Place: p, Value: v, Unit: "V"}}
}

// TestProveDeadOrder walks the order of WAC 296-24-975 (the text of 29 CFR
// 1910.333(b)(2)): disconnect, release stored energy, prove; and live-dead-live.
func TestProveDeadOrder(t *testing.T) {
	c := newCall(t)
	state := func() diagnose.Power { return c.job.Energy().Outdoor }
	assert.Equal(t, diagnose.Live, state(), "nothing is dead that is not declared")
	c.say("voltage leg_to_leg 0")
	assert.Equal(t, diagnose.Live, state(), "a zero before the disconnect is pulled proves nothing")
	c.say("declare call_off")
	assert.Equal(t, diagnose.Live, state(), "a thermostat is no disconnect")
	c.say("declare disconnect_pulled")
	assert.Equal(t, diagnose.DeclaredDead, state())
	c.say("voltage leg_to_leg 0")
	assert.Empty(t, c.job.Energy().Proved, "zero from a meter that is not proved is no proof")
	c.say("voltage known_live 240")
	c.say("voltage leg_to_leg 0")
	c.say("voltage leg_1_to_ground 0")
	assert.Equal(t, diagnose.DeclaredDead, state(), "leg two is not proved")
	c.say("voltage leg_2_to_ground 0")
	assert.Equal(t, diagnose.ProvedDead, state())
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor)
	c.say("voltage capacitor 0")
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor, "measured before it was bled")
	c.say("declare capacitor_bled")
	assert.Equal(t, diagnose.Bled, c.job.Energy().Capacitor)
	c.say("voltage capacitor 210")
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor, "the meter goes before the word")
	c.say("declare capacitor_bled")
	c.say("voltage capacitor 0.4")
	assert.Equal(t, diagnose.Proved, c.job.Energy().Capacitor)
	c.say("voltage contactor_line 238")
	assert.Equal(t, diagnose.Live, state(), "a live reading sets it to live")
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor)
	require.NotEmpty(t, c.warn)
	assert.Equal(t, "contradicts_energy", c.warn[0].ID)
	assert.Contains(t, c.warn[0].Text, "Hands off")
}

func TestMeterThatFailsVoidsItsProof(t *testing.T) {
	c := newCall(t)
	c.say("dead")
	assert.Equal(t, diagnose.ProvedDead, c.job.Energy().Outdoor)
	c.say("voltage known_live 0") // live, dead, live: the second live fails
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
	require.NotEmpty(t, c.warn)
}

// TestContradictedDisconnectIsAskedFor: a reading that contradicts the
// disconnect leaves it in doubt, so that neither dead nor running is reached
// without its being told anew.
func TestContradictedDisconnectIsAskedFor(t *testing.T) {
	for _, told := range []string{"disconnect_in", "disconnect_pulled"} {
		c := newCall(t)
		c.say("dead")
		assert.False(t, c.job.Energy().Doubted)
		c.say("current compressor_common 10.9")
		assert.Equal(t, diagnose.Live, c.job.Energy().Outdoor)
		assert.True(t, c.job.Energy().Doubted)
		c.say("declare " + told)
		assert.False(t, c.job.Energy().Doubted, told)
	}
}

// TestACapacitorAtItsPeakIsCharged: up to the peak of 440 V, and also what is too
// much to be true: neither leaves it bled.
func TestACapacitorAtItsPeakIsCharged(t *testing.T) {
	for _, v := range []string{"340", "523", "622", "900"} {
		c := newCall(t)
		c.say("dead")
		c.say("declare capacitor_bled")
		c.say("voltage capacitor " + v)
		assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor, v)
		require.NotEmpty(t, c.warn, v)
		assert.Equal(t, "contradicts_energy", c.warn[len(c.warn)-1].ID, v)
	}
	c := newCall(t)
	c.say("dead")
	c.say("voltage leg_to_leg 480")
	assert.Equal(t, diagnose.Live, c.job.Energy().Outdoor, "480 V where it was dead is not nothing")
}

func TestHalfHeardSafetyWordIsNotTaken(t *testing.T) {
	c := newCall(t)
	c.add(diagnose.Event{Declaration: "disconnect_pulled", Certainty: 0.6})
	assert.Equal(t, diagnose.Live, c.job.Energy().Outdoor)
	require.NotEmpty(t, c.warn)
	assert.Equal(t, "not_ready", c.warn[0].ID)
	c.say("declare disconnect_pulled")
	c.say("voltage known_live 240")
	e := volts("leg_to_leg", 0)
	e.Certainty = 0.6
	c.add(e)
	assert.Empty(t, c.job.Energy().Proved)
}

func TestAirHandlerIsProvedApart(t *testing.T) {
	c := newCall(t)
	c.say("dead")
	assert.Equal(t, diagnose.Live, c.job.Energy().Indoor)
	c.say("declare air_handler_off")
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Indoor)
	c.say("voltage blower 0")
	assert.Equal(t, diagnose.ProvedDead, c.job.Energy().Indoor)
	c.say("current blower 3")
	assert.Equal(t, diagnose.Live, c.job.Energy().Indoor)
}

// history is an independent account of what was proved, kept the slow way: by
// looking back over all events.
type history []diagnose.Event

func (h history) provedDead() bool {
	since := -1 // when it was last switched off, nothing having come on since
	off := map[catalogue.DeclarationID]bool{}
	for i, e := range h {
		switch e.Declaration {
		case "disconnect_pulled", "breaker_off":
			if !off[e.Declaration] {
				since = i
			}
			off[e.Declaration] = true
		case "disconnect_in":
			off["disconnect_pulled"] = false
		case "breaker_on":
			off["breaker_off"] = false
		}
		if e.Observation != nil && e.Observation.Quantity == "breaker_reset" || e.Observation != nil && e.Observation.Quantity == "breaker_isolated" {
			off["breaker_off"] = false
		}
		if !off["disconnect_pulled"] && !off["breaker_off"] {
			since = -1
		}
		if since >= 0 && liveSign(e, off["breaker_off"]) {
			since, off = -1, map[catalogue.DeclarationID]bool{}
		}
	}
	if since < 0 {
		return false
	}
	seen := map[catalogue.PlaceID]bool{}
	for _, e := range h[since:] {
		if e.Reading != nil && e.Reading.Quantity == "voltage" && e.Reading.Qualifier != catalogue.Unsteady {
			if e.Reading.Value < 3 {
				seen[e.Reading.Place] = true
			}
		}
	}
	return seen["leg_to_leg"] && seen["leg_1_to_ground"] && seen["leg_2_to_ground"]
}

// liveSign reports whether an event shows the outdoor unit to be live.
func liveSign(e diagnose.Event, breakerOff bool) bool {
	if o := e.Observation; o != nil {
		return o.Quantity == "fan_motion" && o.Place == "fan" && o.Value != "stopped" || o.Quantity == "compressor_sound" && o.Value != "silent"
	}
	r := e.Reading
	if r == nil {
		return false
	}
	switch r.Quantity {
	case "voltage":
		switch r.Place {
		case "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "contactor_line", "contactor_load", "disconnect_load", "compressor_terminals":
			return r.Value >= 3
		case "disconnect_line":
			return breakerOff && r.Value >= 3
		}
	case "voltage_under_start":
		return r.Value >= 3
	case "current", "starting_current":
		return r.Place != "blower" && r.Place != "aux_heat" && r.Value >= 0.5
	}
	return false
}

// TestNothingIsDeadWithoutItsProof walks 4000 random sessions of safety events:
// whenever the engine takes the unit as proved dead, the history shows the
// whole proof.
func TestNothingIsDeadWithoutItsProof(t *testing.T) {
	k := load(t)
	rng := rand.New(rand.NewPCG(11, 7))
	places := []catalogue.PlaceID{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "known_live", "capacitor", "contactor_line", "disconnect_line", "blower"}
	words := []catalogue.DeclarationID{"disconnect_pulled", "disconnect_in", "breaker_off", "breaker_on", "capacitor_bled", "locked_out", "lock_removed", "calling", "call_off", "leads_off", "leads_on", "tester_proved", "air_handler_off", "air_handler_on"}
	dead := 0
	for range 4000 {
		job := k.NewJob()
		var h history
		bled, measured := false, false
		for i := range 14 + rng.IntN(16) {
			var e diagnose.Event
			switch n := rng.IntN(12); {
			case n < 7:
				v := []float64{0, 0, 0, 0.6, 12, 240}[rng.IntN(6)]
				p := places[rng.IntN(len(places))]
				if p == "known_live" {
					v = []float64{240, 120, 240, 0}[rng.IntN(4)]
				}
				e = volts(p, v)
			case n < 11:
				e = diagnose.Event{Declaration: words[rng.IntN(len(words))]}
			default:
				e = diagnose.Event{Observation: &catalogue.Observation{Quantity: "fan_motion", Place: "fan", Value: []catalogue.ValueID{"stopped", "running"}[rng.IntN(2)]}}
			}
			e.Seq, e.At = uint64(i+1), time.Unix(int64(i)*20, 0)
			job.Add(e)
			h = append(h, e)
			en := job.Energy()
			if en.Outdoor == diagnose.ProvedDead {
				dead++
				require.True(t, h.provedDead(), "proved dead without proof after %v", h)
				require.True(t, !en.Disconnect || !en.Breaker)
			}
			bled = bled && en.Capacitor != diagnose.Charged || e.Declaration == "capacitor_bled"
			measured = e.Reading != nil && e.Reading.Place == "capacitor" && e.Reading.Value < 5 || measured && en.Capacitor != diagnose.Charged
			if en.Capacitor == diagnose.Proved {
				require.True(t, bled && measured && en.Outdoor != diagnose.Live)
			}
		}
	}
	require.Greater(t, dead, 100, "the walk never proved anything dead, so it proved nothing")
}
