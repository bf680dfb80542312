package session

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/audiotest"
	"callout/intents"
	"callout/joblog"
	"callout/weights/adapters"
)

// testEar is made once: the language takes a second to compile.
var testEar = sync.OnceValues(func() (*Ear, *Knowledge) {
	k, err := LoadKnowledge()
	if err != nil {
		panic(err)
	}
	e, err := NewEar(audiotest.NewScript(), k.Parser)
	if err != nil {
		panic(err)
	}
	return e, k
})

func newTestEar(t *testing.T) (*Ear, *Knowledge) {
	t.Helper()
	e, k := testEar()
	e.expects.Store(nil)
	return e, k
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
	u := e.Understand(heard("Lower amps 2.8.", -1.5, hyp("Blower amps 2.8.", -2.5), hyp("No", -11)))
	assert.Equal(t, "Blower amps 2.8.", u.Text)
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, joblog.Recorded, j.Action)
	require.Len(t, j.Readings, 1)
	assert.Equal(t, 2.8, j.Readings[0].Value)
}

func TestRivalsAreNamedInTheQuestion(t *testing.T) {
	e, k := newTestEar(t)
	u := e.Understand(heard("Compressor amps 50.", -1.5, hyp("Compressor amps 50.", -1.5), hyp("Compressor amps 15.", -1.9)))
	assert.Less(t, u.Certainty, AskBelow(""))
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, joblog.Asked, j.Action)
	assert.Empty(t, j.Readings)
	assert.Contains(t, j.Question, "50")
	assert.Contains(t, j.Question, "15")
}

func TestWhatFitsNoCalloutIsNotBentIntoOne(t *testing.T) {
	e, k := newTestEar(t)
	u := e.Understand(heard("Give me a minute to catch my breath.", -1.1, hyp("5.5 ohms on the compressor", -30)))
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
	u := e.Understand(said)
	j, err := Judge(k, DefaultPolicy, u)
	require.NoError(t, err)
	assert.Equal(t, []string{"unit sits low in the grass."}, j.Notes)
	u = e.Understand(heard("Note volts leg to leg.", -3, hyp("No volts leg to leg.", -3.5)))
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
		u := e.Understand(heard("Breaker is off.", -0.5, c.fit...))
		j, err := Judge(k, DefaultPolicy, u)
		require.NoError(t, err, name)
		assert.Equal(t, c.want, j.Action, name)
	}
}

func TestABareNumberNeedsAQuestion(t *testing.T) {
	e, k := newTestEar(t)
	assert.Nil(t, e.expected().context.Open)
	b := newBench(t)
	b.say("compressor amps")
	e.Expect(b.r.Call())
	require.NotNil(t, e.expected().context.Open)
	u := e.Understand(heard("47.", -0.2, hyp("47.", -0.2)))
	assert.Equal(t, "47.", u.Text)
	assert.NotZero(t, u.Certainty)
	_ = k
}

// A reading that the engine does not expect is held less likely, by no more than the floor.
func TestTheEngineHelpsTheEar(t *testing.T) {
	x := expectation{quantity: "current", place: "compressor_common", low: 10, high: 20}
	k, err := LoadKnowledge()
	require.NoError(t, err)
	items := func(text string) []intents.Item { return k.Parser.Parse(text, intents.Context{}).Items }
	assert.Zero(t, x.against(items("compressor amps fifteen")))
	assert.EqualValues(t, surprise, x.against(items("compressor amps fifty")))
	assert.Zero(t, x.against(items("fan amps fifty")), "it says nothing of other readings")
	assert.Zero(t, x.against(items("compressor amps nothing")))
}

func TestTeens(t *testing.T) {
	for _, p := range [][2]float64{{50, 15}, {180, 118}, {490, 419}, {250, 215}, {1330, 1313}} {
		assert.True(t, teen(p[0], p[1]), p)
		assert.False(t, teen(p[1], p[0]), p)
	}
	for _, p := range [][2]float64{{50, 16}, {100, 110}, {180, 218}, {10, 11}, {55, 15}} {
		assert.False(t, teen(p[0], p[1]), p)
	}
}

func TestTwoEarsHearBetter(t *testing.T) {
	e, k := newTestEar(t)
	one := heard("Suction 1 18.", -4, hyp("Suction 180.", -4), hyp("Suction 118.", -4.5))
	assert.True(t, e.Unsure(one))
	other := heard("Suction 118.", -0.5, hyp("Suction 118.", -0.5), hyp("Suction 180.", -6))
	u := e.UnderstandBoth(one, other)
	assert.Equal(t, "Suction 118.", u.Text)
	assert.Greater(t, u.Certainty, e.Understand(one).Certainty)
	_ = k
	assert.False(t, e.Unsure(heard("We had four of these yesterday.", -1)), "what holds no callout needs no second ear")
}

// deaf is a recogniser that gives one transcript, or fails.
type deaf struct {
	t     audio.Transcript
	err   error
	calls int
}

func (d *deaf) Recognise(context.Context, audio.Utterance, audio.Hints) (audio.Transcript, error) {
	d.calls++
	return d.t, d.err
}
func (d *deaf) Engine() string { return "deaf" }
func (d *deaf) Close() error   { return nil }

// scorer is a recogniser that scores the texts it is asked about.
type scorer struct {
	deaf
	scores map[string]float64
	asked  []string
	window int
}

func (s *scorer) Score(_ context.Context, _ audio.Utterance, _ audio.Hints, window int, texts []string) ([]float64, error) {
	s.asked, s.window = append(s.asked, texts...), window
	var out []float64
	for _, text := range texts {
		out = append(out, s.scores[text])
	}
	return out, s.err
}

// What only one ear found is decided by what the sound says to both.
func TestEachEarScoresWhatOnlyTheOtherFound(t *testing.T) {
	ear, _ := newTestEar(t)
	e := &Ear{parser: ear.parser, calibrated: ear.calibrated, callouts: ear.callouts, answers: ear.answers}
	one := heard("Liquid pressure 490.", -8, hyp("Liquid pressure 490.", -8), hyp("Liquid pressure 480.", -9))
	one.Window = 512
	two := heard("Liquid pressure 419.", -8, hyp("Liquid pressure 419.", -8), hyp("Liquid pressure 480.", -20))
	for name, c := range map[string]struct {
		first, second float64 // what each thinks of the other's
		text          string
	}{
		"the first can live with 419":  {-9, -16, "Liquid pressure 419."},
		"the second can live with 490": {-16, -9, "Liquid pressure 490."},
	} {
		first := &scorer{deaf: deaf{t: one}, scores: map[string]float64{"Liquid pressure 419.": c.first}}
		second := &scorer{deaf: deaf{t: two}, scores: map[string]float64{"Liquid pressure 490.": c.second}}
		e.recogniser, e.second = first, second
		u, err := e.Hear(t.Context(), audio.Utterance{Samples: make([]float32, audio.Rate)}, time.Time{})
		require.NoError(t, err, name)
		assert.Equal(t, c.text, u.Text, name)
		assert.Equal(t, []string{"Liquid pressure 419."}, first.asked, name)
		assert.Equal(t, 512, first.window, name)
		assert.Equal(t, []string{"Liquid pressure 490."}, second.asked, name)
	}
}

func TestYesAndNoNeedAQuestion(t *testing.T) {
	e, _ := newTestEar(t)
	no := heard("No.", -0.5, hyp("No.", -0.5), hyp("Fan amps 4.5.", -7))
	assert.Equal(t, "Fan amps 4.5.", e.Understand(no).Text, "nothing was asked that no would answer")
	e.expects.Store(&expectation{question: true})
	assert.Equal(t, "No.", e.Understand(no).Text)
}

func TestLikeness(t *testing.T) {
	assert.EqualValues(t, 1, likeness("Suction 118.", "suction 118"))
	assert.EqualValues(t, 0, likeness("", "herm"))
	assert.InDelta(t, 1-3.0/7, likeness("kitten", "sitting"), 1e-9) // Levenshtein's usual example
	assert.Greater(t, likeness("This charge line 170 degrees.", "Discharge line 170 degrees."), 0.8)
	assert.Less(t, likeness("Canon 3.", "Fan is free."), 0.5)
}

func TestLength(t *testing.T) {
	assert.Equal(t, 2, length("Suction 1 18."))
	assert.Equal(t, 5, length("Amps 32, nameplate LRA 113."))
	assert.Zero(t, length(""))
}

func TestTheSecondEarIsAskedWhereTheFirstIsUnsure(t *testing.T) {
	ear, _ := newTestEar(t)
	e := &Ear{parser: ear.parser, calibrated: ear.calibrated, callouts: ear.callouts, answers: ear.answers}
	sound := audio.Utterance{Samples: make([]float32, audio.Rate)}
	unsure := heard("Suction 1 18.", -4, hyp("Suction 180.", -4), hyp("Suction 118.", -6))
	for name, c := range map[string]struct {
		first  audio.Transcript
		second deaf
		calls  int
		text   string
	}{
		"unsure":     {unsure, deaf{t: heard("Suction 118.", -0.5, hyp("Suction 118.", -0.5), hyp("Suction 180.", -9))}, 1, "Suction 118."},
		"sure":       {heard("Fan amps 1.2.", -0.4, hyp("Fan amps 1.2.", -0.4)), deaf{}, 0, "Fan amps 1.2."},
		"it fails":   {unsure, deaf{err: errors.New("broken")}, 1, "Suction 180."},
		"it is deaf": {unsure, deaf{err: audio.ErrNoSpeech}, 1, "Suction 180."},
	} {
		e.recogniser, e.second = &deaf{t: c.first}, &c.second
		u, err := e.Hear(t.Context(), sound, time.Time{})
		require.NoError(t, err, name)
		assert.Equal(t, c.calls, c.second.calls, name)
		assert.Equal(t, c.text, u.Text, name)
		assert.Equal(t, time.Second, u.Duration, name)
	}
}

func TestWeightsAreChecked(t *testing.T) {
	_, err := loadCalibration(certaintyData)
	require.NoError(t, err)
	for _, bad := range []string{`{`, `{"unknown": 1}`, `{"one": {"sharp": 1, "per": {}}}`, `{"ask": 0.9, "sure": 0.8}`} {
		_, err := loadCalibration([]byte(bad))
		assert.ErrorContains(t, err, "certainty.json", bad)
	}
	e, _ := newTestEar(t)
	well := e.calibrated.One.Certainty(Evidence{Features: map[string]float64{"worth": -0.1, "alike": 1, "numbers": 1}})
	assert.True(t, well > 0.9 && well <= 1, well)
	badly := e.calibrated.One.Certainty(Evidence{Features: map[string]float64{"worth": -3, "alike": 0.2, "gap": 10}})
	assert.True(t, badly >= 0 && badly < 0.5, badly)
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
		if CertaintyFile(engine) != CommonCertaintyFile { // the second ear has no weights of its own
			engines = append(engines, engine)
		}
	}
	require.Len(t, engines, 2)
	for _, engine := range engines {
		c, err := loadCalibration(certaintyOf(engine))
		require.NoError(t, err)
		e.Calibrate(c)
		said := heard("Compressor amps 47.", -0.4, hyp("Compressor amps 47.", -0.4), hyp("Compressor amps 42.", -9))
		last := 2.0
		for _, noise := range []float64{0, 5, 9, 10.5, 12, 20} {
			said.Noise = noise
			p := e.Understand(said).Certainty
			assert.Less(t, p, last, "%g dB, %s", noise, engine)
			assert.GreaterOrEqual(t, p, DefaultPolicy.Ignore, "%g dB, %s", noise, engine)
			last = p
		}
	}
}

// Where two meanings are about as likely no other feature makes the better one sure.
func TestNearRivalsAreNeverSure(t *testing.T) {
	w := Weights{Sharp: 1, Bias: 10, Per: map[string]float64{}}
	certain := func(behind float64) float64 {
		return w.Certainty(Evidence{Rivals: []Rival{{Behind: behind}}, Features: map[string]float64{}})
	}
	assert.InDelta(t, 0.5, certain(0), 1e-9)
	assert.InDelta(t, 1/(1+math.Exp(-0.6)), certain(0.6), 1e-9)
	assert.Greater(t, certain(2), 0.99)
}

// The same evidence gives the same certainty to the last bit, whatever the order of a map.
func TestCertaintyIsTheSameEachTime(t *testing.T) {
	w := Weights{Sharp: 1, Bias: -10, Per: map[string]float64{}} // near one half, where every bit shows
	e := Evidence{Features: map[string]float64{}}
	for i, name := range PairFeatures() {
		w.Per[name], e.Features[name] = 100*float64(1-i%2*2), 1/float64(7+i) // sums that round
	}
	first := w.Certainty(e)
	for range 200 {
		require.Equal(t, first, w.Certainty(e))
	}
}
