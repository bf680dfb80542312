package audiotest

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

// Factory makes a recogniser that, given Speech, hears words.
type Factory func(t *testing.T) audio.Recogniser

// Kit tests what every audio.Recogniser promises. Speech is a clip in which the
// recognisers made by open hear something, a few seconds long.
func Kit(t *testing.T, speech audio.Utterance, open Factory) {
	ctx := context.Background()
	ready := func(t *testing.T) audio.Recogniser {
		r := open(t)
		t.Cleanup(func() { assert.NoError(t, r.Close()) })
		return r
	}
	t.Run("speech", func(t *testing.T) {
		r := ready(t)
		got, err := r.Recognise(ctx, speech, audio.Hints{})
		require.NoError(t, err)
		checkTranscript(t, got)
		assert.NotEmpty(t, r.Engine())
	})
	t.Run("nothing is no speech", func(t *testing.T) {
		_, err := ready(t).Recognise(ctx, audio.Utterance{}, audio.Hints{})
		assert.ErrorIs(t, err, audio.ErrNoSpeech)
	})
	t.Run("silence is no speech", func(t *testing.T) {
		r := ready(t)
		for _, n := range []int{1, audio.Rate / 20, 2 * audio.Rate} {
			_, err := r.Recognise(ctx, audio.Utterance{Samples: make([]float32, n)}, audio.Hints{})
			assert.ErrorIs(t, err, audio.ErrNoSpeech, "%d samples of silence", n)
		}
	})
	t.Run("the sound is left as it was", func(t *testing.T) {
		r := ready(t)
		short := audio.Utterance{Samples: append([]float32(nil), speech.Samples...)}
		short.Samples = short.Samples[:audio.Rate/10] // with room behind it
		_, err := r.Recognise(ctx, short, audio.Hints{})
		if !errors.Is(err, audio.ErrNoSpeech) {
			require.NoError(t, err)
		}
		assert.Equal(t, speech.Samples, short.Samples[:len(speech.Samples)])
	})
	t.Run("cancelled before", func(t *testing.T) {
		stopped, cancel := context.WithCancelCause(ctx)
		why := errors.New("the job was closed")
		cancel(why)
		_, err := ready(t).Recognise(stopped, speech, audio.Hints{})
		assert.ErrorIs(t, err, why)
	})
	t.Run("cancelled during", func(t *testing.T) {
		r := ready(t)
		soon, cancel := context.WithTimeout(ctx, 5*time.Millisecond)
		defer cancel()
		begun := time.Now()
		_, err := r.Recognise(soon, speech, audio.Hints{})
		if err == nil { // an engine may be faster than that
			assert.Less(t, time.Since(begun), 100*time.Millisecond)
			return
		}
		assert.ErrorIs(t, err, context.DeadlineExceeded)
		assert.Less(t, time.Since(begun), 10*time.Second)
	})
	t.Run("closed", func(t *testing.T) {
		r := open(t)
		require.NoError(t, r.Close())
		require.NoError(t, r.Close())
		_, err := r.Recognise(ctx, speech, audio.Hints{})
		assert.ErrorIs(t, err, audio.ErrClosed)
	})
	t.Run("two at once", func(t *testing.T) {
		a, b := ready(t), ready(t)
		var texts [2]string
		var wait sync.WaitGroup
		for i, r := range []audio.Recogniser{a, b} {
			wait.Go(func() {
				got, err := r.Recognise(ctx, speech, audio.Hints{})
				assert.NoError(t, err)
				texts[i] = got.Text
			})
		}
		wait.Wait()
		assert.Equal(t, texts[0], texts[1])
	})
}

func checkTranscript(t *testing.T, got audio.Transcript) {
	t.Helper()
	require.NotEmpty(t, got.Words)
	var texts []string
	for _, w := range got.Words {
		texts = append(texts, w.Text)
		assert.LessOrEqual(t, w.LogProb, 0.0, "%q", w.Text)
		assert.Equal(t, strings.TrimSpace(w.Text), w.Text)
	}
	assert.Equal(t, strings.Join(texts, " "), got.Text)
	assert.GreaterOrEqual(t, got.NoSpeech, 0.0)
	assert.LessOrEqual(t, got.NoSpeech, 1.0)
	assert.GreaterOrEqual(t, got.Took, time.Duration(0))
}
