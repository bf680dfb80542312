package session_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// After a whole proof, what may mean that it is live, or was not as told, leaves nothing
// hands-on open, whether it is a callout or not; what is said over harmless work does. The
// sentences are invented; the oracle says which steps need hands.
func TestWhatUnsettlesAProof(t *testing.T) {
	k, j, _ := oracle(t)
	for _, row := range []struct {
		said string
		lost bool
	}{
		{"my helper put the disconnect back", true},
		{"the homeowner flipped the breaker", true},
		{"somebody turned the power back on", true},
		{"the unit just started", true},
		{"it started up", true},
		{"it's running", true},
		{"it's live", true},
		{"there's power here", true},
		{"we have power", true},
		{"that leg is hot", true},
		{"I got shocked", true},
		{"I got bit", true},
		{"it sparked", true},
		{"the lights came back on", true},
		{"re-energized", true},
		{"closed the disconnect", true},
		{"flipped it back on", true},
		{"let me turn it on for a second", true},
		{"the utility was out and is back", true},
		{"I was reading the wrong breaker", true},
		{"that was the wrong unit", true},
		{"that was the neighbor's disconnect", true},
		{"I pulled the wrong disconnect", true},
		{"I had the meter on ohms", true},
		{"my meter was off", true},
		{"meter battery is dead", true},
		{"meter leads were in the amp jack", true},
		{"wrong setting on the meter", true},
		{"I didn't lock it out", true},
		{"I didn't pull the disconnect", true},
		{"capacitor is not bled", true},
		{"I never bled the cap", true},

		{"cap is charged", true},
		{"now at the second unit", true},
		{"those readings were on the air handler", true},
		{"swapped meters", true},
		{"the known source was dead", true},
		{"meter reads OL on the outlet", true},
		{"it moved", true},
		{"contactor voltage line two forty", true},
		{"the generator kicked in", true},
		{"leg one to ground fluctuating", true},
		{"volts leg to leg nine hundred", true}, // asked back, and not restored meanwhile

		{"wires are off", false},
		{"it is hot out here", false},
		{"capacitance herm section thirty eight microfarads", false},
		{"resistance common to run one point two ohms", false},
		{"rated capacitance herm forty five", false},
		{"note the customer wants a call first", false},
		{"where are we", false},
		{"say again", false},
		{"is it safe to touch", false},
		{"is it live", false},
		{"where do I find the breaker", false},
		{"nice day today", false},
		{"hand me the screwdriver", false},
	} {
		t.Run(row.said, func(t *testing.T) {
			g, err := newCallGame(k, j, arrived)
			require.NoError(t, err)
			at := arrived
			played(t, g, k, proved, &at)
			open, err := j.Needs(g.next())
			require.NoError(t, err)
			require.NotEmpty(t, open, "a hands-on step to begin with")
			played(t, g, k, row.said+" / what's next", &at)
			needs, err := j.Needs(g.next())
			require.NoError(t, err)
			if row.lost {
				assert.NotContains(t, needs, "outdoor", g.next().Say)
				assert.NotContains(t, needs, "capacitor", g.next().Say)
				return
			}
			for _, f := range played(t, g, k, "+"+time.Minute.String()+" / what's next", &at) {
				t.Errorf("%s: %s", f.What, f.Because)
			}
			assert.NotContains(t, g.next().Say, "prove the meter", "nothing lapsed")
		})
	}
}
