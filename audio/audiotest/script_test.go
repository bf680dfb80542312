package audiotest_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/audiotest"
)

func tone(d time.Duration) audio.Utterance {
	u := audio.Utterance{Samples: make([]float32, int(d*audio.Rate/time.Second)), End: d}
	for i := range u.Samples {
		u.Samples[i] = 0.1 * float32(math.Sin(2*math.Pi*440*float64(i)/audio.Rate))
	}
	return u
}

func TestScriptPassesTheKit(t *testing.T) {
	audiotest.Kit(t, tone(time.Second), func(*testing.T) audio.Recogniser {
		return audiotest.Say("compressor amps forty seven", "again")
	})
}

func TestScriptAnswersInOrder(t *testing.T) {
	why := errors.New("device gone")
	s := audiotest.NewScript(audiotest.Reply{Text: " one  two ", LogProb: -0.5}, audiotest.Reply{Err: why})
	got, err := s.Recognise(context.Background(), tone(time.Second), audio.Hints{Prompt: "three"})
	require.NoError(t, err)
	assert.Equal(t, "one two", got.Text)
	assert.Equal(t, []audio.Word{{Text: "one", LogProb: -0.5}, {Text: "two", LogProb: -0.5}}, got.Words)
	_, err = s.Recognise(context.Background(), tone(time.Second), audio.Hints{})
	assert.ErrorIs(t, err, why)
	_, err = s.Recognise(context.Background(), tone(time.Second), audio.Hints{})
	assert.ErrorIs(t, err, audio.ErrNoSpeech)
	require.Len(t, s.Calls(), 2)
	assert.Equal(t, "three", s.Calls()[0].Hints.Prompt)
}

func TestScriptWaitsUntilStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := audiotest.NewScript(audiotest.Reply{Text: "late", Delay: time.Minute})
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_, err := s.Recognise(ctx, tone(time.Second), audio.Hints{})
		assert.ErrorIs(t, err, context.DeadlineExceeded)
	})
}
