//go:build whisper && cgo

package whisper

import (
	"context"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/grammar"
	"callout/weights"
)

// phrases is a language of a few sentences, with capitals and a full stop as one likes.
type phrases struct{ n *grammar.Network }

func phrasesOf(t *testing.T, list ...string) phrases {
	t.Helper()
	g := &grammar.Grammar{Start: "s", Rules: []grammar.Rule{{Name: "s", Expr: grammar.Seq{grammar.Words(list...), grammar.Opt{Of: grammar.Lit{Text: ".", Glued: true}}}}}}
	n, err := g.Compile()
	require.NoError(t, err)
	return phrases{n}
}

func (p phrases) Start() int { return int(p.n.Start()) }

func (p phrases) Step(s int, b byte) (int, bool) {
	next, ok := p.n.Step(grammar.State(s), b)
	return int(next), ok
}

func (p phrases) Whole(s int) bool { return p.n.Final(grammar.State(s)) }

// A person says "go forward ten meters"; the recording's name and grammar say so.
func goForward(t *testing.T) audio.Utterance {
	human(t)
	return clip(t, recordings+"/goforward.raw")
}

func TestSearchFindsTheLikeliestOfALanguage(t *testing.T) {
	e := open(t)
	u := goForward(t)
	plainly, err := e.Recognise(t.Context(), u, audio.Hints{})
	require.NoError(t, err)
	assert.Nil(t, plainly.Fit, "nothing is searched unasked")
	assert.Less(t, plainly.LogLikelihood, 0.0)
	lang := phrasesOf(t, "go forward 10 meters", "go forward two meters", "go backward 10 meters", "compressor amps")
	got, err := e.Recognise(t.Context(), u, audio.Hints{Language: lang})
	require.NoError(t, err)
	assert.Equal(t, plainly.Text, got.Text, "the free text is the same beside a search")
	assert.InDelta(t, plainly.LogLikelihood, got.LogLikelihood, 0.05)
	require.NotEmpty(t, got.Fit)
	assert.Equal(t, "go forward 10 meters", plain(got.Fit[0].Text))
	for i, f := range got.Fit {
		assert.True(t, lang.n.Accepts(f.Text), "%q is not of the language", f.Text)
		assert.False(t, math.IsNaN(f.LogLikelihood) || f.LogLikelihood > 0.05, "%q: %g", f.Text, f.LogLikelihood)
		if i > 0 {
			assert.LessOrEqual(t, f.LogLikelihood, got.Fit[i-1].LogLikelihood, "best first")
			assert.NotEqual(t, plain(f.Text), plain(got.Fit[i-1].Text), "each once")
		}
	}
}

// What was said lies far from a language without it: nothing in it is near the free text.
func TestSearchDoesNotBendSpeech(t *testing.T) {
	e := open(t)
	got, err := e.Recognise(t.Context(), goForward(t), audio.Hints{Language: phrasesOf(t, "compressor amps 47", "disconnect is pulled")})
	require.NoError(t, err)
	for _, f := range got.Fit {
		assert.Less(t, f.LogLikelihood, got.LogLikelihood-8, f.Text)
	}
}

// An utterance's result does not depend on earlier ones, nor on earlier languages.
func TestSearchKeepsNothing(t *testing.T) {
	e := open(t)
	u, h := goForward(t), audio.Hints{Language: phrasesOf(t, "go forward 10 meters", "go forward 2 meters"), Prompt: "Compressor amps 47."}
	first, err := e.Recognise(t.Context(), u, h)
	require.NoError(t, err)
	_, err = e.Recognise(t.Context(), address(t), audio.Hints{Language: phrasesOf(t, "ask not")})
	require.NoError(t, err)
	again, err := e.Recognise(t.Context(), u, h)
	require.NoError(t, err)
	first.Took, again.Took = 0, 0
	assert.Equal(t, first, again)
}

func TestSearchStops(t *testing.T) {
	e := open(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := e.Recognise(ctx, goForward(t), audio.Hints{Language: phrasesOf(t, "go")})
	assert.ErrorIs(t, err, context.Canceled)
}

func TestCapitalsInsideWordsAreLeftOut(t *testing.T) {
	e := open(t)
	ids := map[string]int32{}
	for id, s := range e.vocab.text {
		if _, ok := ids[s]; !ok {
			ids[s] = int32(id)
		}
	}
	ok := func(pieces ...string) bool {
		var tokens []int32
		for _, p := range pieces {
			id, known := ids[p]
			require.True(t, known, "no token %q", p)
			if !e.vocab.natural(tokens, id) {
				return false
			}
			tokens = append(tokens, id)
		}
		return true
	}
	assert.True(t, ok(" L", "RA"))
	assert.True(t, ok(" Comp", "ress", "or"))
	assert.True(t, ok(" 4", "7"))
	assert.False(t, ok(" comp", "The"))
	assert.False(t, ok(" comp", "ST"))
}

func TestRepeats(t *testing.T) {
	assert.True(t, repeats([]int32{1, 2, 3, 1, 2, 3}))
	assert.True(t, repeats([]int32{9, 1, 2, 3, 4, 1, 2, 3, 4}))
	assert.False(t, repeats([]int32{2, 2, 2, 2}), "two two two two is said")
	assert.False(t, repeats([]int32{1, 2, 3, 1, 2}))
}

func TestPlain(t *testing.T) {
	assert.Equal(t, "amps 4.7", plain("Amps 4.7."))
	assert.Equal(t, strings.ToLower("lra 58 amps"), plain("LRA, 58 amps"))
}

// The norm of a row is that of the plain sum in float64, and rows scored together have the
// scores that they have alone, but for rounding.
func TestRowsScoredTogetherAreAsAlone(t *testing.T) {
	e := open(t)
	u := goForward(t)
	lock()
	defer unlock()
	require.NoError(t, e.ctx.Whisper_pcm_to_mel(u.Samples, e.threads))
	start := []row{{int32(e.ctx.Whisper_token_sot()), 0, 0}, {int32(e.ctx.Whisper_token_not()), 1, 0}}
	begin := func(texts int) {
		require.NoError(t, rowsStart(e.ctx, 256, 2*beams+2))
		require.NoError(t, e.ctx.Whisper_encode(0, e.threads))
		require.NoError(t, rowsDecode(e.ctx, start, 1, e.threads))
		for text := 1; text < texts; text++ {
			rowsCopy(e.ctx, 0, int32(text))
		}
	}
	const texts = 13 // more than one tile of the library's
	token := func(text int) row { return row{int32(300 + 7*text), 2, int32(text)} }
	begin(texts)
	var together []row
	for text := range texts {
		together = append(together, token(text))
	}
	require.NoError(t, rowsDecode(e.ctx, together, 0, e.threads))
	kept := make([][]float32, texts)
	norms := make([]float64, texts)
	for i := range texts {
		var at []float32
		at, norms[i] = scores(e.ctx, i)
		kept[i] = append(kept[i], at[:e.ctx.Whisper_n_vocab()]...)
		sum := 0.0
		for _, v := range kept[i] {
			sum += math.Exp(float64(v))
		}
		assert.InDelta(t, math.Log(sum), norms[i], 1e-4)
	}
	rounding := 0.03 // measured: 0.01 of a norm, 0.02 of a score; with bfloat16 0.08 and 0.1
	if h, err := weights.Inspect(os.Getenv("CALLOUT_MODEL")); assert.NoError(t, err) && h.Type() == "bf16" {
		rounding *= 4
	}
	for i := range texts {
		begin(texts)
		require.NoError(t, rowsDecode(e.ctx, []row{token(i)}, 0, e.threads))
		at, norm := scores(e.ctx, 0)
		assert.InDelta(t, norms[i], norm, rounding)
		other := 0.0 // how far the scores of another text are
		for id, v := range kept[i] {
			require.InDelta(t, v, at[id], 2*rounding, "text %d, token %d", i, id)
			other = max(other, math.Abs(float64(kept[(i+1)%texts][id]-v)))
		}
		assert.Greater(t, other, 20*rounding)
	}
}

func TestFirstWord(t *testing.T) {
	assert.Equal(t, "herm", firstWord("herm 45"))
	assert.Equal(t, firstWord("118"), firstWord("45.2 volts"), "all numbers are one")
	assert.Empty(t, firstWord(""))
}
