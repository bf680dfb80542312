package hearing

import (
	"context"
	"errors"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/audiotest"
	"callout/catalogue"
	"callout/intents"
)

// testEar is made once: the language takes a second to compile.
var testEar = sync.OnceValue(func() *Ear {
	c, err := catalogue.Load()
	if err != nil {
		panic(err)
	}
	p, err := intents.New(c)
	if err != nil {
		panic(err)
	}
	e, err := NewEar(audiotest.NewScript(), p)
	if err != nil {
		panic(err)
	}
	return e
})

func newTestEar(t *testing.T) *Ear {
	t.Helper()
	e := testEar()
	e.Expect(Expectation{})
	return e
}

// alone is the trace of one recogniser.
func alone(t audio.Transcript) Trace { return Trace{First: t} }

// heard is a transcript with its free text and the texts of the language.
func heard(free string, log float64, fit ...audio.Hypothesis) audio.Transcript {
	return audio.Transcript{Text: free, LogLikelihood: log, Fit: fit, Words: []audio.Word{{Text: free, LogProb: log}}}
}

func hyp(text string, log float64) audio.Hypothesis {
	return audio.Hypothesis{Text: text, LogLikelihood: log}
}

// A reading that the engine does not expect is held less likely, by no more than the floor.
func TestTheEngineHelpsTheEar(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	x := Expectation{Reading: &ExpectedReading{Quantity: "current", Place: "compressor_common", Low: 10, High: 20}}
	e := newTestEar(t)
	items := func(text string) []intents.Item { return e.parser.Parse(text, intents.Context{}).Items }
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
	e := newTestEar(t)
	one := heard("Suction 1 18.", -4, hyp("Suction 180.", -4), hyp("Suction 118.", -4.5))
	assert.True(t, e.Unsure(one))
	other := heard("Suction 118.", -0.5, hyp("Suction 118.", -0.5), hyp("Suction 180.", -6))
	u := e.Understand(Trace{First: one, Second: &other})
	assert.Equal(t, "Suction 118.", u.Text)
	assert.Greater(t, u.Certainty, e.Understand(alone(one)).Certainty)
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

func (d *deaf) Close() error { return nil }

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
	ear := newTestEar(t)
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
	e := newTestEar(t)
	no := heard("No.", -0.5, hyp("No.", -0.5), hyp("Fan amps 4.5.", -7))
	assert.Equal(t, "Fan amps 4.5.", e.Understand(alone(no)).Text, "nothing was asked that no would answer")
	e.Expect(Expectation{Question: true})
	assert.Equal(t, "No.", e.Understand(alone(no)).Text)
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
	ear := newTestEar(t)
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
	e := newTestEar(t)
	well := e.calibrated.One.Certainty(Evidence{Features: map[string]float64{"worth": -0.1, "alike": 1, "numbers": 1}})
	assert.True(t, well > 0.9 && well <= 1, well)
	badly := e.calibrated.One.Certainty(Evidence{Features: map[string]float64{"worth": -3, "alike": 0.2, "gap": 10}})
	assert.True(t, badly >= 0 && badly < 0.5, badly)
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
