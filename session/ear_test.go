package session

import (
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/audiotest"
	"callout/intents/hearing"
	"callout/joblog"
	"callout/weights/adapters"
)

// testEar is made once: the language takes a second to compile.
var testEar = sync.OnceValues(func() (*hearing.Ear, *Knowledge) {
	k, err := LoadKnowledge()
	if err != nil {
		panic(err)
	}
	e, err := hearing.NewEar(audiotest.NewScript(), k.Parser)
	if err != nil {
		panic(err)
	}
	return e, k
})

func newTestEar(t *testing.T) (*hearing.Ear, *Knowledge) {
	t.Helper()
	e, k := testEar()
	e.Expect(hearing.Expectation{})
	return e, k
}

// fromEar is the utterance that an ear makes of a transcript.
func fromEar(e *hearing.Ear, t audio.Transcript) Utterance {
	return FromEar(e.Understand(hearing.Trace{First: t}))
}

// heard is a transcript with its free text and the texts of the language.
func heard(free string, log float64, fit ...audio.Hypothesis) audio.Transcript {
	return audio.Transcript{Text: free, LogLikelihood: log, Fit: fit, Words: []audio.Word{{Text: free, LogProb: log}}}
}

func hyp(text string, log float64) audio.Hypothesis {
	return audio.Hypothesis{Text: text, LogLikelihood: log}
}

func TestTheLanguageMendsWhatTheModelMishears(t *testing.T) {
	e, k := newTestEar(t)
	u := fromEar(e, heard("Lower amps 2.8.", -1.5, hyp("Blower amps 2.8.", -2.5), hyp("No", -11)))
	assert.Equal(t, "Blower amps 2.8.", u.Text)
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, joblog.Recorded, j.Action)
	require.Len(t, j.Readings, 1)
	assert.Equal(t, 2.8, j.Readings[0].Value)
}

func TestRivalsAreNamedInTheQuestion(t *testing.T) {
	e, k := newTestEar(t)
	u := fromEar(e, heard("Compressor amps 50.", -1.5, hyp("Compressor amps 50.", -1.5), hyp("Compressor amps 15.", -1.9)))
	assert.Less(t, u.Certainty, hearing.AskBelow(""))
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, joblog.Asked, j.Action)
	assert.Empty(t, j.Readings)
	assert.Contains(t, j.Question, "50")
	assert.Contains(t, j.Question, "15")
}

func TestWhatFitsNoCalloutIsNotBentIntoOne(t *testing.T) {
	e, k := newTestEar(t)
	u := fromEar(e, heard("Give me a minute to catch my breath.", -1.1, hyp("5.5 ohms on the compressor", -30)))
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, joblog.Ignored, j.Action)
}

func TestANoteIsKeptAsItWasSaid(t *testing.T) {
	e, k := newTestEar(t)
	said := heard("Note unit sits low in the grass.", -3, hyp("No", -6))
	said.Words = nil
	for _, w := range strings.Fields(said.Text) {
		said.Words = append(said.Words, audio.Word{Text: w, LogProb: -0.1})
	}
	said.Words[2].LogProb = -2.5 // an odd word
	u := fromEar(e, said)
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, []string{"unit sits low in the grass."}, j.Notes)
	u = fromEar(e, heard("Note volts leg to leg.", -3, hyp("No volts leg to leg.", -3.5)))
	assert.Equal(t, "No volts leg to leg.", u.Text, "a callout that is as likely is not made a note")
}

func TestASafetyDeclarationIsWholeOrAsked(t *testing.T) {
	e, k := newTestEar(t)
	for name, c := range map[string]struct {
		fit  []audio.Hypothesis
		want joblog.Decision
	}{
		"alone":         {[]audio.Hypothesis{hyp("Breaker is off.", -0.5)}, joblog.Recorded},
		"its opposite":  {[]audio.Hypothesis{hyp("Breaker is off.", -0.5), hyp("Breaker is on.", -3.5)}, joblog.Asked},
		"more was said": {[]audio.Hypothesis{hyp("Breaker is off.", -0.5), hyp("Breaker is off, no volts leg to leg.", -4)}, joblog.Asked},
	} {
		u := fromEar(e, heard("Breaker is off.", -0.5, c.fit...))
		j, err := Judge(k, DefaultPolicy, u)
		require.NoError(t, err, name)
		assert.Equal(t, c.want, j.Action, name)
	}
}

func TestABareNumberNeedsAQuestion(t *testing.T) {
	e, _ := newTestEar(t)
	b := newBench(t)
	assert.False(t, b.r.Call().Expectation().Question)
	closed := e.Hints().Language
	b.say("compressor amps")
	e.Expect(b.r.Call().Expectation())
	assert.NotEqual(t, closed, e.Hints().Language, "bare numbers are listened for now")
	u := fromEar(e, heard("47.", -0.2, hyp("47.", -0.2)))
	assert.Equal(t, "47.", u.Text)
	assert.NotZero(t, u.Certainty)
}

// The louder the noise, the less the same texts are worth; what would be asked of a quiet
// sound is not left alone in a loud one.
func TestNoiseTakesOfCertainty(t *testing.T) {
	e, _ := newTestEar(t)
	all, err := adapters.List()
	require.NoError(t, err)
	engines := []string{""}
	for _, a := range all {
		engine := "whisper.cpp 1.9.1 any.bin sha256:" + a.Models[0].MergedSum
		if hearing.CertaintyFile(engine) != hearing.CommonCertaintyFile { // the second ear has no weights of its own
			engines = append(engines, engine)
		}
	}
	require.Len(t, engines, 2)
	defer e.Calibrate(e.Calibration())
	for _, engine := range engines {
		c, err := hearing.CalibrationOf(engine)
		require.NoError(t, err)
		e.Calibrate(c)
		said := heard("Compressor amps 47.", -0.4, hyp("Compressor amps 47.", -0.4), hyp("Compressor amps 42.", -9))
		last := 2.0
		for _, noise := range []float64{0, 5, 9, 10.5, 12, 20} {
			said.Noise = noise
			p := fromEar(e, said).Certainty
			assert.Less(t, p, last, "%g dB, %s", noise, engine)
			assert.GreaterOrEqual(t, p, DefaultPolicy.Ignore, "%g dB, %s", noise, engine)
			last = p
		}
	}
}

// A callout of one certainty is asked back or recorded by the limit of the recogniser that
// heard it, unless the policy has one; and a model with an adapter hears without the prompt.
func TestEachModelHasItsOwnLimitAndPrompt(t *testing.T) {
	all, err := adapters.List()
	require.NoError(t, err)
	_, k := newTestEar(t)
	for _, a := range all {
		engine := "whisper.cpp 1.9.1 any.bin sha256:" + a.Models[0].MergedSum
		if hearing.CertaintyFile(engine) == hearing.CommonCertaintyFile {
			continue // the second ear has no weights of its own
		}
		own, common := hearing.AskBelow(engine), hearing.AskBelow("whisper.cpp 1.9.1 any.bin sha256:none")
		require.Greater(t, own, common)
		u := Utterance{Text: "Compressor amps 47.", Source: joblog.Speech, Certainty: (own + common) / 2}
		for _, c := range []struct {
			engine string
			ask    float64
			want   joblog.Decision
		}{{engine, 0, joblog.Asked}, {"", 0, joblog.Recorded}, {engine, common, joblog.Recorded}, {"", own, joblog.Asked}} {
			u.Engine = c.engine
			j, err := Judge(k, Policy{Ask: c.ask, AskSafety: 0.9, Ignore: 0.25}, u)
			require.NoError(t, err)
			assert.Equal(t, c.want, j.Action, "%+v", c)
		}
		e, _ := newTestEar(t)
		primed := e.Calibration()
		defer e.Calibrate(primed)
		assert.NotEmpty(t, e.Hints().Prompt)
		adapted, err := hearing.CalibrationOf(engine)
		require.NoError(t, err)
		e.Calibrate(adapted)
		assert.Empty(t, e.Hints().Prompt)
	}
}

// "Two five zero zero" is heard as 250 with no doubt: both are said of such a reading, so it
// is asked. Where 2500 can't be, or nothing is known of what is usual, 250 is what was said.
func TestALostNoughtIsAsked(t *testing.T) {
	e, k := newTestEar(t)
	for text, want := range map[string]joblog.Decision{
		"Altitude 250 feet.":  joblog.Asked,
		"Altitude 2500 feet.": joblog.Recorded,
		"Altitude 255 feet.":  joblog.Recorded,
		"Airflow 120.":        joblog.Asked,
		"Airflow 1200.":       joblog.Recorded,
		"Head pressure 250.":  joblog.Recorded, // 2500 psi is not usual
		"Altitude 90 feet.":   joblog.Recorded,
	} {
		u := fromEar(e, heard(text, -0.1, hyp(text, -0.1)))
		u.Source = joblog.Speech
		j, err := Judge(k, DefaultPolicy, u)
		require.NoError(t, err, text)
		assert.Equal(t, want, j.Action, "%s %+v", text, j)
	}
}
