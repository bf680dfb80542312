//go:build whisper && cgo

package whisper

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

// open loads the model that CALLOUT_MODEL names.
func open(t *testing.T) *Engine {
	t.Helper()
	path := os.Getenv("CALLOUT_MODEL")
	if path == "" {
		t.Skip("CALLOUT_MODEL names no model; run make test, which makes one and sets it")
	}
	e, err := Open(path, Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, e.Close()) })
	return e
}

// address is the human sample that the binding carries: President Kennedy's inaugural
// address of 1961, 11 s, in the public domain.
func address(t *testing.T) audio.Utterance {
	t.Helper()
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/ggerganov/whisper.cpp/bindings/go").Output()
	require.NoError(t, err)
	return clip(t, filepath.Join(strings.TrimSpace(string(dir)), "samples", "jfk.wav"))
}

func clip(t testing.TB, path string) audio.Utterance {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	c := audio.Clip{Rate: audio.Rate}
	if filepath.Ext(path) == ".raw" { // 16-bit, little-endian, 16 kHz
		for i := 0; i+1 < len(b); i += 2 {
			c.Samples = append(c.Samples, float32(int16(binary.LittleEndian.Uint16(b[i:])))/(1<<15))
		}
	} else {
		c, err = audio.ReadWAV(bytes.NewReader(b))
		require.NoError(t, err)
	}
	s, err := c.At16k()
	require.NoError(t, err)
	return audio.Utterance{Samples: s}
}

func TestHumanSampleWordForWord(t *testing.T) {
	got, err := open(t).Recognise(context.Background(), address(t), audio.Hints{})
	require.NoError(t, err)
	want := "and so my fellow americans ask not what your country can do for you ask what you can do for your country"
	assert.Equal(t, want, strings.Join(spoken(got.Text), " "))
	assert.Len(t, got.Words, 22)
	assert.Less(t, got.NoSpeech, 0.1)
}

// recordings is where Debian's pocketsphinx-testdata lies.
const recordings = "/usr/share/pocketsphinx/test/data"

// human lists the recordings of people in that package, with what is said: its own
// transcripts, and for the two raw files what their names and grammar say.
func human(t *testing.T) map[string]string {
	t.Helper()
	if _, err := os.Stat(recordings); err != nil {
		t.Skip("the recordings are not installed: pocketsphinx-testdata")
	}
	said := map[string]string{
		"tidigits/dhd.2934z.raw": "two nine three four zero",
		"goforward.raw":          "go forward ten meters",
	}
	line := regexp.MustCompile(`<s> (.*) </s> \((.*)\)`)
	for _, list := range []string{"cards/cards.transcription", "librivox/transcription"} {
		b, err := os.ReadFile(filepath.Join(recordings, list))
		require.NoError(t, err)
		for _, m := range line.FindAllStringSubmatch(string(b), -1) {
			said[filepath.Join(filepath.Dir(list), m[2]+".wav")] = m[1]
		}
	}
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
		u := clip(t, filepath.Join(recordings, file))
		got, err := e.Recognise(context.Background(), u, audio.Hints{})
		require.NoError(t, err, file)
		want := spoken(said)
		d := distance(want, spoken(got.Text))
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
		u := clip(t, filepath.Join(recordings, file))
		starts = append(starts, time.Duration(len(sound))*time.Second/audio.Rate)
		for i, x := range room(len(u.Samples)) {
			sound = append(sound, u.Samples[i]+x)
		}
		want = append(want, spoken(said[file])...)
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
		got = append(got, spoken(text.Text)...)
	}
	rate := float64(distance(want, got)) / float64(len(want))
	t.Logf("word error rate %.1f%% of %d words in %d utterances", 100*rate, len(want), len(us))
	assert.Less(t, rate, 0.25)
	for _, s := range starts { // each recording has an utterance that begins near it
		assert.True(t, slices.ContainsFunc(us, func(u audio.Utterance) bool {
			return u.Start > s-400*time.Millisecond && u.Start < s+time.Second
		}), "nothing at %s", s)
	}
}

var (
	notWord = regexp.MustCompile(`[^a-z0-9' ]+`)
	number  = regexp.MustCompile(`^[0-9]+$`)
)

// spoken gives the words of a text as they are said: lower case, no punctuation, small
// numbers and digits in words.
func spoken(text string) []string {
	names := strings.Fields("zero one two three four five six seven eight nine ten eleven twelve")
	var ws []string
	for _, w := range strings.Fields(notWord.ReplaceAllString(strings.ToLower(text), " ")) {
		switch {
		case w == "10", w == "11", w == "12":
			ws = append(ws, names[10+int(w[1]-'0')])
		case number.MatchString(w):
			for _, d := range w {
				ws = append(ws, names[d-'0'])
			}
		case w == "mr":
			ws = append(ws, "mister")
		default:
			ws = append(ws, w)
		}
	}
	return ws
}

// distance is the least number of words to change, add or drop (Levenshtein).
func distance(a, b []string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range a {
		diagonal := row[0]
		row[0] = i + 1
		for j := range b {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}

func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"a b c", "a b c", 0}, {"a b c", "a c", 1}, {"a c", "a b c", 1}, {"a b", "c d", 2}, {"", "a b", 2},
	} {
		assert.Equal(t, tt.want, distance(strings.Fields(tt.a), strings.Fields(tt.b)), "%q %q", tt.a, tt.b)
	}
}
