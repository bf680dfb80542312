//go:build whisper && cgo

package whisper

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

func detector(t testing.TB) *Detector {
	t.Helper()
	path := os.Getenv("CALLOUT_VAD")
	if path == "" {
		t.Skip("CALLOUT_VAD names no detector; run make real")
	}
	d, err := OpenDetector(path)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, d.Close()) })
	return d
}

func scoresOf(d audio.Detector, samples []float32) (speech, frames int) {
	for at := 0; at+audio.FrameSize <= len(samples); at += audio.FrameSize {
		frames++
		if d.Score(samples[at:at+audio.FrameSize]) > 0.5 {
			speech++
		}
	}
	return speech, frames
}

// A person reads connected digits: most frames hold speech. Noise and a hum hold none.
func TestDetectorKnowsPeopleFromNoise(t *testing.T) {
	d := detector(t)
	person := clip(t, "/usr/share/pocketsphinx/test/data/cards/001.wav").Samples
	speech, frames := scoresOf(d, person)
	assert.Greater(t, speech, frames/3, "%d of %d", speech, frames)
	d.Reset()
	speech, frames = scoresOf(d, make([]float32, 5*audio.Rate))
	assert.Zero(t, speech, "%d frames of silence", frames)
}

// The state is kept between frames and forgotten on Reset: the same sound scores the same.
func TestDetectorResets(t *testing.T) {
	d := detector(t)
	person := clip(t, "/usr/share/pocketsphinx/test/data/cards/001.wav").Samples
	first := d.Score(person[audio.FrameSize*10 : audio.FrameSize*11])
	scoresOf(d, person)
	d.Reset()
	assert.Equal(t, first, d.Score(person[audio.FrameSize*10:audio.FrameSize*11]))
	require.NoError(t, d.Close())
	assert.Equal(t, 0.5, d.Score(person[:audio.FrameSize]), "when in doubt it is speech")
}

func TestDetectorKeepsUp(t *testing.T) {
	d := detector(t)
	begun := time.Now()
	_, frames := scoresOf(d, make([]float32, 5*audio.Rate))
	assert.Less(t, time.Since(begun)/time.Duration(frames), 16*time.Millisecond, "half of real time, on a busy machine")
}

func TestOpenDetectorRefusesWhatIsNone(t *testing.T) {
	_, err := OpenDetector(filepath.Join(t.TempDir(), "none.bin"))
	assert.ErrorIs(t, err, ErrModel)
	bad := filepath.Join(t.TempDir(), "bad.bin")
	require.NoError(t, os.WriteFile(bad, []byte("not a model"), 0o600))
	_, err = OpenDetector(bad)
	assert.ErrorIs(t, err, ErrModel)
}
