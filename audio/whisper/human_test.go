//go:build whisper && cgo

package whisper

import (
	"context"
	"errors"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/audiotest"
)

// open loads the first ear's model, which CALLOUT_MODEL names.
func open(t testing.TB) *Engine {
	t.Helper()
	return openNamed(t, "CALLOUT_MODEL")
}

// openNamed loads the model that the environment names.
func openNamed(t testing.TB, variable string) *Engine {
	t.Helper()
	path := os.Getenv(variable)
	if path == "" {
		t.Skip(variable + " names no model; run make test, which makes one and sets it")
	}
	e, err := Open(path, Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, e.Close()) })
	return e
}

// address is the human sample that the binding carries.
func address(t *testing.T) audio.Utterance {
	t.Helper()
	path, _, err := audiotest.Address(t.Context())
	require.NoError(t, err)
	return clip(t, path)
}

func clip(t testing.TB, path string) audio.Utterance {
	t.Helper()
	x, err := audiotest.ReadSound(path)
	require.NoError(t, err)
	return audio.Utterance{Samples: x}
}

// TestHumanSample wants the sample word for word, but for "asked not", which base with its
// adapter writes and which sounds like "ask not"; the untouched models have that right too.
func TestHumanSample(t *testing.T) {
	got, err := open(t).Recognise(context.Background(), address(t), audio.Hints{})
	require.NoError(t, err)
	_, want, err := audiotest.Address(t.Context())
	require.NoError(t, err)
	heard := strings.Join(audiotest.Spelled(got.Text), " ")
	assert.Equal(t, want, strings.Replace(heard, " asked not ", " ask not ", 1))
	assert.Len(t, got.Words, 22)
	assert.Less(t, got.NoSpeech, 0.1)
}

// recordings is where Debian's pocketsphinx-testdata lies.
const recordings = audiotest.Recordings

// human lists the recordings of people in that package, with what is said.
func human(t *testing.T) map[string]string {
	t.Helper()
	if _, err := os.Stat(recordings); err != nil {
		t.Skip("the recordings are not installed: pocketsphinx-testdata")
	}
	said, err := audiotest.People()
	require.NoError(t, err)
	require.Len(t, said, 12)
	return said
}

// TestHumanRecordings measures the word error rate on people's speech, without a prompt.
// The limit is a guard against breakage, set once well above what was measured, not a
// claim.
func TestHumanRecordings(t *testing.T) {
	e := open(t)
	var words, wrong int
	var took, length time.Duration
	for file, said := range human(t) {
		u := clip(t, file)
		got, err := e.Recognise(context.Background(), u, audio.Hints{})
		require.NoError(t, err, file)
		want := audiotest.Spelled(said)
		d := audiotest.Distance(want, audiotest.Spelled(got.Text))
		words += len(want)
		wrong += d
		took += got.Took
		length += u.Duration()
		t.Logf("%d of %d words wrong in %4d ms, no speech %.2g: %s: %q", d, len(want), got.Took.Milliseconds(), got.NoSpeech, file, got.Text)
	}
	rate := float64(wrong) / float64(words)
	t.Logf("word error rate %.1f%% (%d of %d words); %s for %s of sound", 100*rate, wrong, words, took.Round(time.Millisecond), length.Round(time.Millisecond))
	assert.Less(t, rate, 0.20)
}

// TestHumanRecordingsCut puts all the recordings into one, a second of room noise between
// them, and cuts it again: the utterances must come out in the same number and order, and
// be heard about as well.
func TestHumanRecordingsCut(t *testing.T) {
	e := open(t)
	r := rand.New(rand.NewPCG(7, 8))
	room := func(n int) []float32 {
		s := make([]float32, n)
		for i := range s {
			s[i] = float32(0.001 * r.NormFloat64())
		}
		return s
	}
	said := human(t)
	var sound []float32
	var want, got []string
	var starts []time.Duration
	for _, file := range slices.Sorted(maps.Keys(said)) {
		sound = append(sound, room(audio.Rate)...)
		u := clip(t, file)
		starts = append(starts, time.Duration(len(sound))*time.Second/audio.Rate)
		for i, x := range room(len(u.Samples)) {
			sound = append(sound, u.Samples[i]+x)
		}
		want = append(want, audiotest.Spelled(said[file])...)
	}
	sound = append(sound, room(audio.Rate)...)
	var d audio.Energy
	d.Prime(sound)
	us := audio.Split(sound, &d, audio.SegmentOptions{})
	for _, u := range us {
		t.Logf("%7s to %7s", u.Start, u.End)
		text, err := e.Recognise(context.Background(), u, audio.Hints{})
		if !errors.Is(err, audio.ErrNoSpeech) {
			require.NoError(t, err)
		}
		got = append(got, audiotest.Spelled(text.Text)...)
	}
	rate := float64(audiotest.Distance(want, got)) / float64(len(want))
	t.Logf("word error rate %.1f%% of %d words in %d utterances", 100*rate, len(want), len(us))
	assert.Less(t, rate, 0.25)
	for _, s := range starts { // each recording has an utterance that begins near it
		assert.True(t, slices.ContainsFunc(us, func(u audio.Utterance) bool {
			return u.Start > s-400*time.Millisecond && u.Start < s+time.Second
		}), "nothing at %s", s)
	}
}
