package speech

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

func voice(t *testing.T) *Espeak {
	t.Helper()
	v, err := NewEspeak("en-us", 170)
	if errors.Is(err, ErrNoVoice) {
		t.Skip(err)
	}
	require.NoError(t, err)
	return v
}

func TestEspeakSpeaks(t *testing.T) {
	v := voice(t)
	short, err := v.Synthesise(t.Context(), "forty seven amps")
	require.NoError(t, err)
	long, err := v.Synthesise(t.Context(), "forty seven amps is close to the locked-rotor current: the rotor is not turning")
	require.NoError(t, err)
	assert.Greater(t, len(short.Samples), short.Rate/2, "half a second at least")
	assert.Greater(t, len(long.Samples), 2*len(short.Samples))
	none, err := v.Synthesise(t.Context(), "  ")
	require.NoError(t, err)
	assert.Empty(t, none.Samples)
	dash, err := v.Synthesise(t.Context(), "--version")
	require.NoError(t, err, "text is never an option")
	assert.NotEmpty(t, dash.Samples)
}

func TestEspeakErrors(t *testing.T) {
	v := voice(t)
	v.voice = "xx-yy" // "no-such-voice" would be taken for Norwegian
	_, err := v.Synthesise(t.Context(), "hello")
	assert.ErrorContains(t, err, "espeak-ng")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = v.Synthesise(ctx, "hello")
	require.ErrorIs(t, err, context.Canceled)
	_, err = NewEspeak("en-us", 10)
	assert.ErrorContains(t, err, "outside 80 to 450")
	t.Setenv("PATH", t.TempDir())
	_, err = NewEspeak("en-us", 170)
	require.ErrorIs(t, err, ErrNoVoice)
}

func TestEspeakStopsWithItsContext(t *testing.T) {
	v := voice(t)
	ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	_, err := v.Synthesise(ctx, strings.Repeat("a long sentence that goes on. ", 2000))
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

// The kept file reads back as what was played, at every moment and after a
// second opening.
func TestFileKeepsAllThatWasSaid(t *testing.T) {
	path := filepath.Join(t.TempDir(), "said.wav")
	var want []float32
	for round := range 3 {
		s, err := NewFile(path, 22050)
		require.NoError(t, err)
		for i := range 4 {
			sound := []float32{0, 0.5, -0.5, float32(round) / 8, float32(i) / 8}
			require.NoError(t, s.Play(t.Context(), sound, 22050))
			want = append(want, sound...)
			f, err := os.Open(path)
			require.NoError(t, err)
			got, err := audio.ReadWAV(f)
			require.NoError(t, err)
			require.NoError(t, f.Close())
			require.Equal(t, 22050, got.Rate)
			require.InDeltaSlice(t, want, got.Samples, 1.0/16000)
		}
		assert.ErrorContains(t, s.Play(t.Context(), nil, 8000), "22050 Hz")
		require.NoError(t, s.Close())
	}
	_, err := NewFile(filepath.Join(t.TempDir(), "none", "said.wav"), 8000)
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func TestFileIsNoLinkAndNoPipe(t *testing.T) {
	dir := t.TempDir()
	theirs := filepath.Join(dir, "theirs")
	require.NoError(t, os.WriteFile(theirs, []byte("precious"), 0o600))
	require.NoError(t, os.Symlink(theirs, filepath.Join(dir, "link.wav")))
	_, err := NewFile(filepath.Join(dir, "link.wav"), 22050)
	require.Error(t, err)
	b, err := os.ReadFile(theirs)
	require.NoError(t, err)
	assert.Equal(t, "precious", string(b))
	require.NoError(t, syscall.Mkfifo(filepath.Join(dir, "pipe.wav"), 0o600))
	_, err = NewFile(filepath.Join(dir, "pipe.wav"), 22050)
	require.ErrorContains(t, err, "no regular file")
}
