package session_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/intents"
	"callout/session"
	"callout/session/internal/hazard"
)

// Beginnings of the rows: a call that asks for the capacitor, the unit switched off and
// read, the meter proved again, the capacitor.
const (
	begun  = "complaint no cooling / outdoor fan is running / compressor hums / panel is open"
	off    = "disconnect is pulled / locked out / known source two forty volts / no volts leg to leg / no volts leg one to ground / no volts leg two to ground"
	again  = "known source two forty volts"
	bled   = "cap is discharged / +30s / volts across the capacitor herm zero / volts across the capacitor fan section zero"
	proved = begun + " / " + off + " / " + again + " / " + bled
)

// played plays lines written with strokes between them: "+" and a time lets time pass,
// "anew" starts the program from its log. What a line means is read by the parser, which
// is not in doubt here, but for power that is back somewhere.
func played(t *testing.T, g *callGame, k *session.Knowledge, text string, at *time.Time) []finding {
	t.Helper()
	var all []finding
	for _, said := range strings.Split(text, " / ") {
		if later, ok := strings.CutPrefix(said, "+"); ok {
			d, err := time.ParseDuration(later)
			require.NoError(t, err)
			*at = at.Add(d)
			continue
		}
		*at = at.Add(12 * time.Second)
		l := line{at: *at, text: said, resume: said == "anew"}
		for _, it := range k.Parser.Parse(said, intents.Context{}).Items {
			if it.Reading != nil || it.Observation != nil || it.Declaration != "" || it.Repair != "" {
				l.told = append(l.told, hazard.Told{Reading: it.Reading, Observation: it.Observation, Declaration: it.Declaration, Repair: it.Repair})
			}
		}
		switch {
		case l.resume:
			l.told = nil
		case said == "power is back on": // at whichever switch
			l.told = []hazard.Told{{Repair: "restore_supply"}}
		}
		found, err := g.play(l)
		require.NoError(t, err)
		all = append(all, found...)
	}
	return all
}

// The breaks that an attack from outside found in the safety state, but for those that
// lie in the words: after each of them nothing hands-on is asked for, and nothing is
// called proved, that is not.
func TestBreaksOfTheSafetyState(t *testing.T) {
	k, j, _ := oracle(t)
	for _, row := range []struct{ name, script string }{
		{"power restored through one of two switches", begun + " / breaker is off / " + off + " / " + again + " / " + bled + " / power is back on / locked out"},
		{"the same, by the disconnect", begun + " / breaker is off / " + off + " / " + again + " / " + bled + " / disconnect is in / locked out"},
		{"the same, by the breaker", begun + " / breaker is off / " + off + " / " + again + " / " + bled + " / breaker is on / locked out"},
		{"the meter is found dead later", proved + " / known source zero volts / known source two forty volts / no volts leg to leg / no volts leg one to ground / no volts leg two to ground / " + again},
		{"days later", proved + " / +72h / what's next"},
		{"days later, started anew", proved + " / +72h / anew / what's next"},
		{"started anew at once", proved + " / anew / what's next"},
		{"the meter is not proved again", begun + " / " + off + " / what's next"},
		{"the meter is proved without volts", begun + " / disconnect is pulled / locked out / meter is proved / no volts leg to leg / no volts leg one to ground / no volts leg two to ground / meter is proved"},
		{"a struck contradiction", proved + " / voltage leg to leg two forty / scratch that / what's next"},
		{"the air handler by one reading", "complaint weak cooling / blower not running / air handler is off / known source two forty volts / voltage blower zero / what's next"},
		{"said again when it is gone", proved + " / +72h / say again"},
		{"the lock was off", proved + " / lock is off / locked out / what's next"},
		{"locked only after it was read", begun + " / disconnect is pulled / known source two forty volts / no volts leg to leg / no volts leg one to ground / no volts leg two to ground / " + again + " / locked out"},
		{"the compressor ran, and that is struck", proved + " / compressor is running / scratch that / what's next"},
		{"the breaker told off is another's", begun + " / breaker is off / volts leg one to ground two forty / disconnect is pulled / locked out / known source two forty volts / no volts leg to leg / no volts leg one to ground / volts at the disconnect line two forty / no volts leg two to ground / " + again},
		{"the same, once it is proved", begun + " / breaker is off / volts leg one to ground two forty / " + off + " / " + again + " / " + bled + " / volts at the disconnect line two forty / what's next"},
		{"the lock of the disconnect for the air handler", "complaint weak cooling / blower not running / disconnect is pulled / restored the air handler / locked out / air handler is off / known source two forty volts / voltage blower zero / " + again + " / what's next"},
		{"volts at the blower motor's plug", "complaint weak cooling / blower not running / air handler is off / locked out / known source two forty volts / voltage blower zero / " + again + " / blower command voltage two forty / lock is on / where are we"},
		{"the breaker was reset", begun + " / breaker is off / " + off + " / " + again + " / " + bled + " / reset the breaker once / locked out / what's next"},
	} {
		t.Run(row.name, func(t *testing.T) {
			g, err := newCallGame(k, j, arrived)
			require.NoError(t, err)
			at := arrived
			for _, f := range played(t, g, k, row.script, &at) {
				t.Errorf("line %d: %s, %s: %s", f.line+1, f.What, f.Because, f.say)
			}
		})
	}
}

// A whole proof leads to the hands-on step: an oracle that nothing satisfies would show
// nothing.
func TestAWholeProofIsEnough(t *testing.T) {
	k, j, _ := oracle(t)
	g, err := newCallGame(k, j, arrived)
	require.NoError(t, err)
	at := arrived
	played(t, g, k, proved, &at)
	assert.Empty(t, g.ledger.Outdoor(at))
	assert.Empty(t, g.ledger.Capacitor(at))
	needs, err := j.Needs(g.next())
	require.NoError(t, err)
	assert.Contains(t, needs, "capacitor", "the step is %s", g.next().Say)
}

// The phrases that the sessions are made of say what they are meant to.
func TestPhrasesSayWhatTheyMean(t *testing.T) {
	k, _, f := oracle(t)
	for _, d := range k.Catalogue.Declarations {
		assert.NotEmpty(t, f.declared(d.ID), d.ID)
	}
	for _, p := range []catalogue.PlaceID{"known_live", "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "leg_3_to_ground", "capacitor", "blower", "disconnect_line", "contactor_line"} {
		for _, v := range []float64{0, 3, 30, 120, 240} {
			assert.NotEmpty(t, f.reading(*volts(p, v).Reading), "%s %v", p, v)
		}
	}
}

// The table of work knows every test that can be asked for: by their ids alone, for what
// each needs is this table's own judgement.
func TestTheTableOfWorkKnowsEveryTest(t *testing.T) {
	_, j, _ := oracle(t)
	data, err := os.ReadFile(filepath.Join("..", "diagnose", "data", "tests.json"))
	require.NoError(t, err)
	var tests []struct {
		ID  string `json:"id"`
		Say string `json:"say"`
	}
	require.NoError(t, json.Unmarshal(data, &tests))
	for _, x := range tests {
		_, err := j.Needs(hazard.Prompt{Does: "test", Test: x.ID, Say: x.Say})
		assert.NoError(t, err, "say in session/internal/hazard/data/work.json where the hands are in it")
	}
}
