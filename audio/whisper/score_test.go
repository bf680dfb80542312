//go:build whisper && cgo

package whisper

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

// What a search found is scored as the search did, alone and beside other texts, in one
// pass or in several.
func TestScoreIsWhatASearchGives(t *testing.T) {
	e := open(t)
	u := goForward(t)
	h := audio.Hints{Prompt: "Compressor amps 47. Suction pressure 118."}
	got, err := e.Recognise(t.Context(), u, h)
	require.NoError(t, err)
	alone, err := e.Score(t.Context(), u, h, got.Window, []string{got.Text})
	require.NoError(t, err)
	assert.InDelta(t, got.LogLikelihood, alone[0], 0.05)

	texts := []string{got.Text, "go backward ten meters", "", "compressor amps 47"}
	for range 60 { // more than one pass holds
		texts = append(texts, "no volts leg to leg, common to run 0.6 ohms")
	}
	texts = append(texts, got.Text)
	scores, err := e.Score(t.Context(), u, h, got.Window, texts)
	require.NoError(t, err)
	require.Len(t, scores, len(texts))
	assert.InDelta(t, got.LogLikelihood, scores[0], 0.05)
	assert.InDelta(t, scores[0], scores[len(scores)-1], 0.05)
	assert.Less(t, scores[1], scores[0]-3, "it was not said")
	assert.Less(t, scores[3], scores[1], "it sounds less like it")
	assert.True(t, math.IsInf(scores[2], -1), "nothing can't be scored")
	for _, s := range scores[5 : len(scores)-1] {
		assert.InDelta(t, scores[4], s, 0.05)
	}
}

// Scoring a clip right after its search, after another clip, and twice is the same.
func TestScoreKeepsNothing(t *testing.T) {
	e := open(t)
	u, h := goForward(t), audio.Hints{Language: phrasesOf(t, "go forward 10 meters", "go forward 2 meters"), Prompt: "Compressor amps 47."}
	texts := []string{"go forward ten meters", "go backward 2 meters"}
	got, err := e.Recognise(t.Context(), u, h)
	require.NoError(t, err)
	var all [][]float64
	for i := range 3 {
		if i == 2 {
			_, err = e.Recognise(t.Context(), address(t), h)
			require.NoError(t, err)
		}
		s, err := e.Score(t.Context(), u, h, got.Window, texts)
		require.NoError(t, err)
		all = append(all, s)
	}
	assert.InDeltaSlice(t, all[0], all[1], 0.02)
	assert.InDeltaSlice(t, all[0], all[2], 0.02)
	other := audio.Hints{Prompt: "Something else."}
	changed, err := e.Score(t.Context(), u, other, got.Window, texts)
	require.NoError(t, err)
	assert.Greater(t, math.Abs(all[0][0]-changed[0]), 0.02, "the prompt counts")
}

func TestScoreFailsAsRecogniseDoes(t *testing.T) {
	e := open(t)
	u := goForward(t)
	_, err := e.Score(t.Context(), audio.Utterance{}, audio.Hints{}, 0, []string{"go"})
	assert.ErrorIs(t, err, audio.ErrNoSpeech)
	_, err = e.Score(t.Context(), audio.Utterance{Samples: make([]float32, 31*audio.Rate)}, audio.Hints{}, 0, []string{"go"})
	assert.ErrorIs(t, err, audio.ErrTooLong)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = e.Score(ctx, u, audio.Hints{}, 0, []string{"go"})
	assert.ErrorIs(t, err, context.Canceled)
	require.NoError(t, e.Close())
	_, err = e.Score(t.Context(), u, audio.Hints{}, 0, []string{"go"})
	assert.ErrorIs(t, err, audio.ErrClosed)
}
