package diagnose_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
	"callout/diagnose/energy"
)

func volts(p catalogue.PlaceID, v float64) diagnose.Event {
	return diagnose.Event{Reading: &catalogue.Reading{Quantity: "voltage", Place: p, Value: v, Unit: "V"}}
}

// TestProveDeadOrder walks the order of WAC 296-24-975 (the text of 29 CFR
// 1910.333(b)(2)): disconnect, lock, release stored energy, prove; and
// live-dead-live.
func TestProveDeadOrder(t *testing.T) {
	c := newCall(t)
	state := func() diagnose.Power { return c.job.Energy().Outdoor }
	charge := func() diagnose.Charge { return c.job.Energy().Capacitor }
	assert.Equal(t, diagnose.Live, state(), "nothing is dead that is not declared")
	c.say("voltage leg_to_leg 0")
	assert.Equal(t, diagnose.Live, state(), "a zero before the disconnect is pulled proves nothing")
	c.say("declare call_off")
	assert.Equal(t, diagnose.Live, state(), "a thermostat is no disconnect")
	c.say("declare disconnect_pulled")
	assert.Equal(t, diagnose.DeclaredDead, state())
	c.say("voltage known_live 240")
	c.say("voltage leg_to_leg 0")
	require.NotEmpty(t, c.warn, "not locked out")
	c.say("declare locked_out")
	c.say("voltage leg_to_leg 0")
	require.Empty(t, c.warn)
	c.say("voltage leg_1_to_ground 0")
	c.say("voltage known_live 240")
	assert.Equal(t, diagnose.DeclaredDead, state(), "leg two is not proved")
	c.say("voltage leg_2_to_ground 0")
	assert.Equal(t, diagnose.DeclaredDead, state(), "the meter is not proved behind it")
	c.say("declare tester_proved")
	assert.Equal(t, diagnose.DeclaredDead, state(), "no volts, no proof")
	c.say("voltage known_live 240")
	assert.Equal(t, diagnose.ProvedDead, state())
	assert.Equal(t, diagnose.Charged, charge())
	c.say("voltage capacitor 0")
	assert.Equal(t, diagnose.Charged, charge(), "measured before it was bled")
	c.say("declare capacitor_bled")
	assert.Equal(t, diagnose.Bled, charge())
	c.say("voltage capacitor 210")
	assert.Equal(t, diagnose.Charged, charge(), "the meter goes before the word")
	c.say("declare capacitor_bled")
	c.say("voltage capacitor 0.4")
	assert.Equal(t, diagnose.Bled, charge(), "one zero does not prove both sections")
	c.say("capacitor_voltage fan_section 0.4")
	assert.Equal(t, diagnose.Proved, charge())
	c.say("voltage contactor_line 238")
	assert.Equal(t, diagnose.Live, state(), "a live reading sets it to live")
	assert.Equal(t, diagnose.Charged, charge())
	require.NotEmpty(t, c.warn)
	assert.Equal(t, "contradicts_energy", c.warn[0].ID)
	assert.Contains(t, c.warn[0].Text, "Hands off")
}

// TestZeroFromAnUnprovedMeter: a meter that was not shown to read proves nothing.
func TestZeroFromAnUnprovedMeter(t *testing.T) {
	c := newCall(t)
	for _, s := range []string{"declare disconnect_pulled locked_out", "voltage leg_to_leg 0", "voltage leg_1_to_ground 0", "voltage leg_2_to_ground 0"} {
		c.say(s)
	}
	require.NotEmpty(t, c.warn)
	c.say("voltage known_live 240")
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
}

// TestWhatTakesAProofBack: each of these ends every proof outdoors and the
// capacitor's, and its being struck does not bring them back.
func TestWhatTakesAProofBack(t *testing.T) {
	for _, way := range []string{
		"declare disconnect_in", "declare breaker_on", "declare lock_removed", "voltage known_live 0", "voltage leg_to_leg 240", "voltage leg_1_to_ground 12",
		"voltage contactor_line 238", "voltage contactor_load 238", "voltage compressor_terminals 238", "voltage disconnect_load 238", "voltage disconnect_line 240",
		"voltage_under_start contactor_load 200", "current compressor_common 9", "current fan 0.9", "starting_current compressor_common 70", "fan_motion fan running",
		"compressor_sound compressor running", "compressor_sound compressor hum", "start_kit compressor starts", "breaker_reset breaker holds", "breaker_reset breaker trips_at_once",
		"breaker_isolated compressor holds", "breaker_state breaker on", "repair replace_breaker", "repair reset_breaker", "repair seat_disconnect", "repair restore_supply",
		"repair call_utility", "repair replace_disconnect_fuse", "repair replace_conductors", "repair repair_supply_joint", "repair swap_lines",
	} {
		c := newCall(t)
		c.say("declare breaker_off")
		c.say("dead")
		c.say("bled")
		require.Equal(t, diagnose.Proved, c.job.Energy().Capacitor)
		c.say(way)
		assert.NotEqual(t, diagnose.ProvedDead, c.job.Energy().Outdoor, way)
		assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor, way)
		require.NoError(t, c.job.Retract(c.seq))
		assert.NotEqual(t, diagnose.ProvedDead, c.job.Energy().Outdoor, "%s, struck", way)
		assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor, "%s, struck", way)
		c.say("declare locked_out")
		assert.NotEqual(t, diagnose.ProvedDead, c.job.Energy().Outdoor, way)
	}
}

// TestProofsAge: an hour after its oldest reading a proof is none any more, and a
// job that is taken up again has none; what lapsed is named.
func TestProofsAge(t *testing.T) {
	c := newCall(t)
	c.say("dead")
	c.say("bled")
	assert.Empty(t, c.job.Age(c.now.Add(50*time.Minute)))
	assert.Equal(t, diagnose.Proved, c.job.Energy().Capacitor)
	gone := c.job.Age(c.now.Add(61 * time.Minute))
	require.Len(t, gone, 1)
	assert.Contains(t, gone[0].Text, "the outdoor unit proved dead")
	assert.Contains(t, gone[0].Text, "the capacitor proved bled")
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor)

	c = newCall(t)
	c.say("dead")
	c.say("bled")
	c.add(diagnose.Event{Resumed: true})
	require.Len(t, c.warn, 1)
	assert.Contains(t, c.warn[0].Text, "the capacitor proved bled")
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)

	c = newCall(t) // and within the proof
	for _, s := range []string{"declare disconnect_pulled locked_out panel_open", "voltage known_live 241", "voltage leg_to_leg 0", "+5h", "voltage leg_1_to_ground 0", "voltage leg_2_to_ground 0", "voltage known_live 241"} {
		c.say(s)
	}
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
}

func TestMeterThatFailsVoidsItsProof(t *testing.T) {
	c := newCall(t)
	c.say("dead")
	c.say("bled")
	assert.Equal(t, diagnose.ProvedDead, c.job.Energy().Outdoor)
	c.say("voltage known_live 0") // live, dead, live: the second live fails
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor)
	require.NotEmpty(t, c.warn)
	assert.Contains(t, c.warn[0].Text, "the capacitor proved bled")
	c.say("voltage known_live 240")
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
	for _, s := range []string{"voltage leg_to_leg 0", "voltage leg_1_to_ground 0", "voltage leg_2_to_ground 0", "voltage known_live 240"} {
		c.say(s)
	}
	assert.Equal(t, diagnose.ProvedDead, c.job.Energy().Outdoor)
	assert.Equal(t, diagnose.Charged, c.job.Energy().Capacitor, "it is measured again")
}

// TestSingleSection: that there is no fan section is told, not assumed.
func TestSingleSection(t *testing.T) {
	c := newCall(t)
	c.say("dead")
	c.say("declare capacitor_bled")
	c.say("capacitor_voltage herm 0")
	assert.Equal(t, diagnose.Bled, c.job.Energy().Capacitor)
	c.add(diagnose.Event{Cannot: "cap_herm", Lack: &diagnose.Lack{Absent: true, Quantity: "capacitor_voltage", Place: "fan_section"}})
	assert.Equal(t, diagnose.Proved, c.job.Energy().Capacitor)
}

// TestOhmsOnWhatIsNotProved: declared off is not dead, and no word is less.
func TestOhmsOnWhatIsNotProved(t *testing.T) {
	c := newCall(t)
	c.say("resistance common_to_run 1.2")
	require.NotEmpty(t, c.warn)
	c.say("declare disconnect_pulled")
	c.say("resistance common_to_run 1.2")
	require.NotEmpty(t, c.warn)
	assert.Contains(t, c.warn[0].Text, "not proved")
	c.say("dead")
	c.say("resistance common_to_run 1.2")
	assert.Empty(t, c.warn)
}

// TestContradictedDisconnectIsAskedFor: a reading that contradicts the
// disconnect leaves it in doubt, so that neither dead nor running is reached
// without its being told anew.
func TestContradictedDisconnectIsAskedFor(t *testing.T) {
	for _, told := range []string{"disconnect_in", "disconnect_pulled"} {
		c := newCall(t)
		c.say("dead")
		assert.False(t, is(c, energy.Doubted))
		c.say("current compressor_common 10.9")
		assert.Equal(t, diagnose.Live, c.job.Energy().Outdoor)
		assert.True(t, is(c, energy.Doubted))
		c.say("declare " + told)
		assert.False(t, is(c, energy.Doubted), told)
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
	c.say("declare disconnect_pulled locked_out")
	c.say("voltage known_live 240")
	e := volts("leg_to_leg", 0)
	e.Certainty = 0.6
	c.add(e)
	require.NotEmpty(t, c.warn)
	for _, s := range []string{"voltage leg_1_to_ground 0", "voltage leg_2_to_ground 0", "voltage known_live 240"} {
		c.say(s)
	}
	assert.Equal(t, diagnose.DeclaredDead, c.job.Energy().Outdoor)
}

// is asks for one fact of the state.
func is(c *call, f energy.Fact) bool {
	e := c.job.Energy()
	return e.Is(f)
}

func TestAirHandlerIsProvedApart(t *testing.T) {
	c := newCall(t)
	indoor := func() diagnose.Power { return c.job.Energy().Indoor }
	c.say("dead")
	assert.Equal(t, diagnose.Live, indoor())
	c.say("declare air_handler_off")
	assert.Equal(t, diagnose.DeclaredDead, indoor())
	c.say("voltage blower 0")
	c.say("voltage known_live 120")
	assert.Equal(t, diagnose.DeclaredDead, indoor(), "the lock was told for the outdoor unit")
	c.say("declare locked_out")
	c.say("voltage blower 0")
	assert.Equal(t, diagnose.DeclaredDead, indoor(), "the known source again")
	c.say("voltage known_live 120")
	assert.Equal(t, diagnose.ProvedDead, indoor())
	c.say("current blower 3")
	assert.Equal(t, diagnose.Live, indoor())
	assert.Equal(t, diagnose.ProvedDead, c.job.Energy().Outdoor)
}

// ledger is an account of its own of what is proved dead outdoors and bled, kept
// the slow way: for each event it looks back over all that was said, and knows
// nothing of the engine's facts.
type ledger []diagnose.Event

// proved looks back: the last known source that read, before it each leg, before
// them a known source, and since the first of all nothing that ends a proof.
func (l ledger) proved() (dead, bled bool) {
	type step struct{ legs, sure map[catalogue.PlaceID]bool }
	s := step{map[catalogue.PlaceID]bool{}, map[catalogue.PlaceID]bool{}}
	open, locked := map[string]bool{}, map[string]bool{}
	source, claim := false, false
	cap := map[catalogue.PlaceID]bool{}
	var oldest time.Time
	waits := false
	reset := func() {
		s.legs, s.sure, source, claim, cap = map[catalogue.PlaceID]bool{}, map[catalogue.PlaceID]bool{}, false, false, map[catalogue.PlaceID]bool{}
	}
	isolated := func() bool { return open["disconnect"] && locked["disconnect"] || open["breaker"] && locked["breaker"] }
	for _, e := range l {
		if source && e.At.Sub(oldest) > 2*time.Hour {
			reset()
		}
		dead = s.sure["leg_to_leg"] && s.sure["leg_1_to_ground"] && s.sure["leg_2_to_ground"]
		switch d := e.Declaration; d {
		case "disconnect_pulled", "breaker_off":
			which := map[catalogue.DeclarationID]string{"disconnect_pulled": "disconnect", "breaker_off": "breaker"}[d]
			if waits && !open[which] {
				locked[which], waits = true, false
			}
			open[which] = true
		case "air_handler_off":
			waits = false
		case "disconnect_in", "breaker_on":
			reset()
			delete(open, map[catalogue.DeclarationID]string{"disconnect_in": "disconnect", "breaker_on": "breaker"}[d])
			locked, waits = map[string]bool{}, false
		case "lock_removed":
			reset()
			locked, waits = map[string]bool{}, false
		case "locked_out":
			locked["disconnect"] = locked["disconnect"] || open["disconnect"]
			locked["breaker"] = locked["breaker"] || open["breaker"]
			waits = len(open) == 0
		case "capacitor_bled":
			claim = claim || dead
		}
		if o := e.Observation; o != nil && o.Quantity == "fan_motion" && o.Value != "stopped" && len(open) > 0 {
			reset()
			open, locked = map[string]bool{}, map[string]bool{}
		}
		r := e.Reading
		if r == nil {
			continue
		}
		switch r.Place {
		case "known_live":
			if r.Value < 90 {
				reset()
				continue
			}
			if !source {
				oldest = e.At
			}
			for p := range s.legs {
				s.sure[p] = true
			}
			source = true
		case "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "contactor_line":
			if r.Value >= 3 && len(open) > 0 {
				reset()
				open, locked = map[string]bool{}, map[string]bool{}
			} else if r.Value < 3 && r.Place != "contactor_line" && source && isolated() {
				s.legs[r.Place] = true
			}
		case "disconnect_line":
			if r.Value >= 3 && open["breaker"] {
				reset()
				open, locked = map[string]bool{}, map[string]bool{}
			}
		case "herm", "fan_section":
			if r.Value >= 5 {
				claim, cap = false, map[catalogue.PlaceID]bool{}
			} else if claim && dead && source {
				cap[r.Place] = true
			}
		}
	}
	dead = s.sure["leg_to_leg"] && s.sure["leg_1_to_ground"] && s.sure["leg_2_to_ground"]
	return dead, dead && claim && cap["herm"] && cap["fan_section"]
}

// TestNothingIsDeadWithoutItsProof walks random sessions of safety events:
// whenever the engine takes the unit as proved dead or the capacitor as bled, the
// ledger shows the whole proof.
func TestNothingIsDeadWithoutItsProof(t *testing.T) {
	k := load(t)
	rng := rand.New(rand.NewPCG(11, 7))
	places := []catalogue.PlaceID{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "contactor_line", "disconnect_line"}
	words := []catalogue.DeclarationID{"disconnect_pulled", "disconnect_in", "breaker_off", "breaker_on", "capacitor_bled", "locked_out", "lock_removed", "calling", "call_off", "leads_off", "leads_on", "tester_proved", "air_handler_off", "air_handler_on"}
	course := []diagnose.Event{{Declaration: "disconnect_pulled"}, {Declaration: "locked_out"}, volts("known_live", 240), volts("leg_to_leg", 0), volts("leg_1_to_ground", 0), volts("leg_2_to_ground", 0), volts("known_live", 240),
		{Declaration: "capacitor_bled"}, across("herm", 0), across("fan_section", 0)}
	dead, bled := 0, 0
	for range 4000 {
		job := k.NewJob()
		var l ledger
		at := 0
		for i := range 14 + rng.IntN(26) {
			e := course[at%len(course)] // mostly in order, with one left out or something else between
			switch n := rng.IntN(14); {
			case n < 10:
				at++
			case n == 10:
				at += rng.IntN(len(course))
				e = course[at%len(course)]
			case n == 11:
				e = volts(places[rng.IntN(len(places))], []float64{0, 0, 0.6, 12, 240}[rng.IntN(5)])
			case n == 12:
				e = diagnose.Event{Declaration: words[rng.IntN(len(words))]}
			default:
				e = []diagnose.Event{volts("known_live", 0), across("herm", 200), {Observation: &catalogue.Observation{Quantity: "fan_motion", Place: "fan", Value: "running"}}}[rng.IntN(3)]
			}
			e.Seq, e.At = uint64(i+1), time.Unix(int64(i)*20, 0)
			job.Add(e)
			l = append(l, e)
			en := job.Energy()
			isDead, isBled := l.proved()
			if en.Outdoor == diagnose.ProvedDead {
				dead++
				require.True(t, isDead, "proved dead without proof after %v", l)
			}
			if en.Capacitor == diagnose.Proved {
				bled++
				require.True(t, isBled, "proved bled without proof after %v", l)
			}
		}
	}
	require.Greater(t, dead, 2000, "the walk never proved anything dead, so it proved nothing")
	require.Greater(t, bled, 500)
}

func across(p catalogue.PlaceID, v float64) diagnose.Event {
	return diagnose.Event{Reading: &catalogue.Reading{Quantity: "capacitor_voltage", Place: p, Value: v, Unit: "V"}}
}
