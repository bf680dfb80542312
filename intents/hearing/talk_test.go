package hearing

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/intents"
)

// sure is a transcript whose words are as good as certain.
func sure(text string, log float64, fit ...audio.Hypothesis) audio.Transcript {
	t := heard(text, log, fit...)
	t.Words = []audio.Word{{Text: text, LogProb: -0.01}}
	return t
}

// What is said freely is not bent into a callout that lies far behind it.
func TestTalkIsHeard(t *testing.T) {
	e := newTestEar(t)
	const said = "The suction's sitting at 131 and the head at 340."
	one := sure(said, -1, hyp("I don't know.", -14))
	assert.True(t, e.Unsure(one), "the language does not vouch for talk: the second hears it too")
	other := sure("Suction is sitting at 131, and the head at 340.", -2)
	u := e.Understand(Trace{First: one, Second: &other})
	assert.Equal(t, said, u.Text)
	assert.LessOrEqual(t, u.Certainty, halfSure, "the same words from both are asked about: no text of the language says what they mean")
	near, again := sure("Suction's sitting at 131.", -1, hyp("Suction 131.", -3)), sure("Suction's sitting at 131.", -1)
	assert.Greater(t, e.Understand(Trace{First: near, Second: &again}).Certainty, halfSure, "a text of the language near it means the same")
	against := sure("Suction is sitting at 121, and the head at 340.", -2)
	u = e.Understand(Trace{First: one, Second: &against})
	assert.LessOrEqual(t, u.Certainty, halfSure, "the second wrote another number")
	assert.Equal(t, said, u.Text, "what is asked about is what was written")
}

func TestWhatCommitsIsVouchedFor(t *testing.T) {
	e := newTestEar(t)
	const said, found = "Yanked the disconnect.", "Disconnect pulled."
	for name, c := range map[string]struct {
		first  audio.Transcript
		second string
		most   float64
	}{
		"both":                    {sure(said, -0.2, hyp(found, -9)), said, 1},
		"free, and the language":  {sure(found, -0.2, hyp(found, -0.2)), "This can act pulled.", 1},
		"the first alone":         {sure(said, -0.2, hyp("No", -9)), "Yank that is connect.", halfSure},
		"the language alone":      {sure("This can act full.", -2, hyp(found, -3)), "The scan act pulled.", halfSure},
		"about to be done, bent":  {sure("I'm about to pull the disconnect.", -0.2, hyp(found, -6)), "I'm about to pull the disconnect.", 1},
		"about to be done, 10 dB": {sure("Okay, I'm pulling the disconnect now.", -0.2, hyp(found, -3)), "Okay I'm pulling the disconnect now.", 1},
	} {
		other := sure(c.second, -0.2)
		u := e.Understand(Trace{First: c.first, Second: &other})
		declared := e.parser.Parse(u.Text, intents.Context{}).Items
		if c.most < 1 || len(declared) > 0 {
			assert.LessOrEqual(t, u.Certainty, c.most, name)
		}
		if c.second == c.first.Text && c.most == 1 && name != "both" {
			assert.Empty(t, declared, name)
		}
	}
}

// A few words of many are not what was said.
func TestAScrapIsAsked(t *testing.T) {
	e := newTestEar(t)
	long := sure("Hang on, it's my sister, yes, two gallons of milk and a dozen eggs.", -6, hyp("Hang on", -4))
	assert.LessOrEqual(t, e.Understand(alone(long)).Certainty, halfSure)
}

func TestWhatSoundsAlike(t *testing.T) {
	a, err := loadAlike(alikeData)
	require.NoError(t, err)
	for text, want := range map[string][]string{
		"Fan amps 15.":       {"Fan amps 50."},
		"Suction 118, on":    {"Suction 180, on", "Suction 118, off"},
		"Drawing 13.4 amps.": {"Drawing 34 amps."},
		"Drawing 34 amps.":   {"Drawing 13.4 amps."},
		"Common to run 1.3":  nil,
		"Condenser 100":      nil,
	} {
		assert.Equal(t, want, a.rivals(text), text)
	}
	_, err = loadAlike([]byte(`{"endings": [["1", "30"]]}`))
	assert.ErrorContains(t, err, "two digits")
}

// What sounds like the best text is scored on the sound though the search lost it.
func TestRivalsAreTestedOnTheSound(t *testing.T) {
	known := newTestEar(t)
	e := &Ear{parser: known.parser, calibrated: known.calibrated, alike: known.alike, callouts: known.callouts, answers: known.answers}
	first := &scorer{deaf: deaf{t: sure("Fan amps 15.", -0.3, hyp("Fan amps 15.", -0.3))}, scores: map[string]float64{"Fan amps 50.": -0.5}}
	e.recogniser = first
	u, err := e.Hear(t.Context(), audio.Utterance{Samples: make([]float32, audio.Rate)}, time.Time{})
	require.NoError(t, err)
	assert.Contains(t, first.asked, "Fan amps 50.")
	assert.Less(t, u.Certainty, e.calibrated.Ask)
	require.NotEmpty(t, u.Alternatives)
	assert.Equal(t, "Fan amps 50.", u.Alternatives[0].Text)
}
