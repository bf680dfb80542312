package hearing

import (
	"context"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/audiotest"
)

// counting hears nothing, or fails, and keeps what it was told.
type counting struct {
	audio.Recogniser
	hints *[]audio.Hints
	err   error
}

func (c counting) Recognise(_ context.Context, u audio.Utterance, h audio.Hints) (audio.Transcript, error) {
	*c.hints = append(*c.hints, h)
	return audio.Transcript{}, c.err
}

// Both recognisers walk both languages once, for those are what takes long the first time.
func TestWarmTouchesAllThatIsListenedWith(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	var first, second []audio.Hints
	e, err := NewEar(counting{audiotest.NewScript(), &first, audio.ErrNoSpeech}, newTestEar(t).parser)
	require.NoError(t, err)
	require.NoError(t, e.Warm(t.Context()), "one recogniser is enough")
	e.Second(counting{audiotest.NewScript(), &second, nil})
	require.NoError(t, e.Warm(t.Context()))
	require.Len(t, first, 4)
	require.Len(t, second, 2)
	assert.Equal(t, []audio.Language{e.answers, e.callouts}, []audio.Language{second[0].Language, second[1].Language})
	assert.NotEqual(t, second[0].Language, second[1].Language)

	broken := errors.New("broken")
	e.Second(counting{audiotest.NewScript(), &second, broken})
	require.ErrorIs(t, e.Warm(t.Context()), broken)
}
