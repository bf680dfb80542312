//go:build whisper && cgo

package whisper

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	lib "github.com/ggerganov/whisper.cpp/bindings/go"

	"callout/audio"
	"callout/audio/audiotest"
	"callout/weights"
)

func TestEnginePassesTheKit(t *testing.T) {
	open(t) // skips without a model
	speech := address(t)
	speech.Samples = speech.Samples[:3*audio.Rate]
	audiotest.Kit(t, speech, func(t *testing.T) audio.Recogniser { return open(t) })
}

// With flash attention, a context that is no multiple of 256 reads what the clip before
// left; with one that is, the same clip gives the same words and the same probabilities.
// And the library drops words that it is unsure of if the clip before held none.
func TestClipsDoNotDependOnTheOneBefore(t *testing.T) {
	e := open(t)
	whole := address(t)
	parts := map[string]audio.Utterance{
		"start":  {Samples: whole.Samples[:2*audio.Rate]},
		"end":    {Samples: whole.Samples[8*audio.Rate:]},
		"short":  {Samples: whole.Samples[audio.Rate/2 : audio.Rate]},
		"unsure": {Samples: append([]float32(nil), whole.Samples[5*audio.Rate:6*audio.Rate]...)},
		"noise":  {Samples: make([]float32, audio.Rate)},
	}
	r := rand.New(rand.NewPCG(1, 2))
	for i := range parts["noise"].Samples {
		parts["noise"].Samples[i] = float32(0.02 * r.NormFloat64())
		parts["unsure"].Samples[i] += float32(0.05 * r.NormFloat64())
	}
	hints := audio.Hints{Prompt: "Suction pressure 118."}
	first := make(map[string]audio.Transcript)
	for name, u := range parts {
		fresh := open(t)
		got, err := fresh.Recognise(context.Background(), u, audio.Hints{})
		if !errors.Is(err, audio.ErrNoSpeech) {
			require.NoError(t, err, name)
		}
		first[name] = got
	}
	require.NotEmpty(t, first["start"].Words)
	require.NotEmpty(t, first["unsure"].Words)
	for before, b := range parts {
		for name, u := range parts {
			_, _ = e.Recognise(context.Background(), b, hints) // whatever it gives
			got, _ := e.Recognise(context.Background(), u, audio.Hints{})
			assert.Equal(t, first[name].Words, got.Words, "%s after %s", name, before)
			assert.Equal(t, first[name].NoSpeech, got.NoSpeech, "%s after %s", name, before)
		}
	}
}

// TestPromptIsHeeded hears with the second ear: the first one's adapter was taught without
// prompts, is run without, and is less sure after one, whatever it says.
func TestPromptIsHeeded(t *testing.T) {
	e := openNamed(t, "CALLOUT_SECOND")
	u := address(t)
	u.Samples = u.Samples[:3*audio.Rate]
	plain, err := e.Recognise(context.Background(), u, audio.Hints{})
	require.NoError(t, err)
	hinted, err := e.Recognise(context.Background(), u, audio.Hints{Prompt: strings.Repeat("and so my fellow americans ", 4)})
	require.NoError(t, err)
	assert.Equal(t, []string{"and", "so", "my", "fellow", "americans"}, audiotest.Spelled(hinted.Text))
	assert.Greater(t, hinted.LogLikelihood, plain.LogLikelihood, "words that the prompt names are likelier than any without it")
}

func TestLogProbsAreOfTheWords(t *testing.T) {
	got, err := open(t).Recognise(context.Background(), address(t), audio.Hints{})
	require.NoError(t, err)
	for _, w := range got.Words {
		assert.Less(t, w.LogProb, 0.0, "%s", w.Text)
		assert.Greater(t, w.LogProb, -5.0, "%s", w.Text)
	}
}

func TestTooLong(t *testing.T) {
	_, err := open(t).Recognise(context.Background(), audio.Utterance{Samples: make([]float32, 31*audio.Rate)}, audio.Hints{})
	assert.ErrorIs(t, err, audio.ErrTooLong)
}

func TestStereoAtAnotherRate(t *testing.T) {
	u := address(t)
	up, err := audio.Resample(u.Samples, audio.Rate, 44100)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, audio.WriteWAV(&b, up, 44100))
	c, err := audio.ReadWAV(&b)
	require.NoError(t, err)
	back, err := c.At16k()
	require.NoError(t, err)
	e := open(t)
	want, err := e.Recognise(context.Background(), u, audio.Hints{})
	require.NoError(t, err)
	got, err := e.Recognise(context.Background(), audio.Utterance{Samples: back}, audio.Hints{})
	require.NoError(t, err)
	assert.Equal(t, want.Text, got.Text)
}

func TestIdentity(t *testing.T) {
	e := open(t)
	sum, err := weights.Sum(os.Getenv("CALLOUT_MODEL"))
	require.NoError(t, err)
	assert.Contains(t, e.Engine(), sum)
	assert.Contains(t, e.Engine(), filepath.Base(os.Getenv("CALLOUT_MODEL")))
	assert.Contains(t, e.Engine(), libraryVersion())
}

func TestLibraryMessagesGoToTheLog(t *testing.T) {
	open(t)
	var b bytes.Buffer
	e, err := Open(os.Getenv("CALLOUT_MODEL"), Options{Log: slog.New(slog.NewTextHandler(&b, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	require.NoError(t, err)
	defer e.Close()
	assert.Contains(t, b.String(), "n_vocab")
	assert.Contains(t, b.String(), "level=DEBUG")
}

// Every way in which a model file can be wrong is one clear line, and no crash.
func TestOpenErrors(t *testing.T) {
	open(t)
	model := os.Getenv("CALLOUT_MODEL")
	dir := t.TempDir()
	whole, err := os.ReadFile(model)
	require.NoError(t, err)
	write := func(name string, b []byte) string {
		p := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(p, b, 0o600))
		return p
	}
	flipped := func(at int) []byte {
		b := bytes.Clone(whole)
		b[at] ^= 0x40
		return b
	}
	for _, tt := range []struct {
		name, path string
		is         error
	}{
		{"missing", filepath.Join(dir, "none.bin"), os.ErrNotExist},
		{"folder", dir, weights.ErrNotGGML},
		{"empty", write("empty.bin", nil), weights.ErrNotGGML},
		{"text", write("text.bin", []byte("not a model")), weights.ErrNotGGML},
		{"magic only", write("magic.bin", whole[:4]), weights.ErrDamaged},
		{"cut in the vocabulary", write("vocab.bin", whole[:100000]), weights.ErrDamaged},
		{"cut in a tensor", write("tensor.bin", whole[:len(whole)/2]), weights.ErrDamaged},
		{"cut by a byte", write("byte.bin", whole[:len(whole)-1]), weights.ErrDamaged},
		{"longer", write("longer.bin", append(bytes.Clone(whole), 0)), weights.ErrDamaged},
		{"header flipped", write("header.bin", flipped(17)), weights.ErrDamaged},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Open(tt.path, Options{})
			require.ErrorIs(t, err, ErrModel)
			assert.ErrorIs(t, err, tt.is)
			assert.NotContains(t, err.Error(), "\n")
			assert.Contains(t, err.Error(), tt.path)
		})
	}
	// A tensor of another name passes the inspection of sizes; the library refuses it.
	renamed := bytes.Replace(whole, []byte("decoder.ln.weight"), []byte("decoder.lm.weight"), 1)
	_, err = Open(write("renamed.bin", renamed), Options{})
	require.ErrorIs(t, err, ErrModel)
	assert.NotContains(t, err.Error(), "\n")
}

func TestLoops(t *testing.T) {
	for _, tt := range []struct {
		name string
		ids  []lib.Token
		want bool
	}{
		{"nothing", nil, false},
		{"speech", []lib.Token{1, 2, 3, 4, 5, 6, 7}, false},
		{"no, no, no", []lib.Token{1, 2, 1, 2, 1, 2}, false},
		{"two two two two", []lib.Token{1, 1, 1, 1}, false},
		{"a phrase said twice", []lib.Token{1, 2, 3, 1, 2, 3}, false},
		{"a phrase three times", []lib.Token{1, 2, 3, 1, 2, 3, 1, 2, 3}, true},
		{"three times, turned", []lib.Token{9, 1, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2}, true},
		{"not at the end", []lib.Token{1, 2, 3, 1, 2, 3, 1, 2, 3, 4}, false},
		{"a long sentence twice", []lib.Token{1, 2, 3, 4, 5, 6, 7, 1, 2, 3, 4, 5, 6, 7}, true},
		{"one token for ever", []lib.Token{5, 5, 5, 5, 5, 5, 5, 5, 5}, true},
		{"seven times oh", []lib.Token{5, 5, 5, 5, 5, 5, 5}, false},
	} {
		assert.Equal(t, tt.want, loops(tt.ids), tt.name)
	}
}

func TestWords(t *testing.T) {
	ts := []token{{text: " [BLANK", log: -1}, {text: "_AUDIO]", log: -1}, {text: " Amps", log: -0.25}, {text: " 4", log: -0.5}, {text: "7", log: -0.25}, {text: ".", log: -0.125},
		{text: " (wind", log: -1}, {text: " blowing)", log: -1}, {text: " *", log: -1}, {text: "beep*", log: -1}, {text: " caf\xc3", log: -1}, {text: "\xa9", log: -1}}
	assert.Equal(t, []audio.Word{{Text: "Amps", LogProb: -0.25}, {Text: "47.", LogProb: -0.875}, {Text: "café", LogProb: -2}}, words(ts))
	assert.Empty(t, words(nil))
}

func TestFirstContextIsAMultiple(t *testing.T) {
	for need := 0; need <= 1500; need++ {
		c := firstContext(need, 1500)
		assert.True(t, c == 1500 || c%contextStep == 0, "%d gives %d", need, c)
		assert.True(t, c == 1500 || c >= need+50, "%d gives %d", need, c)
	}
}

// BenchmarkRecognise times people's clips, 1 to 7 s long, one an iteration in turn, without
// a prompt and with one of about a dozen callouts.
func BenchmarkRecognise(b *testing.B) {
	e := open(b)
	files, err := filepath.Glob(filepath.Join(recordings, "*", "*.wav"))
	require.NoError(b, err)
	if len(files) == 0 {
		b.Skip("the recordings are not installed: pocketsphinx-testdata")
	}
	var clips []audio.Utterance
	for _, f := range files {
		clips = append(clips, clip(b, f))
	}
	for _, h := range []struct{ name, prompt string }{
		{"plain", ""},
		{"prompt", "Compressor amps 47. Nameplate LRA 58. RLA 13.4. Suction pressure 118. Liquid line 96 degrees. " +
			"Disconnect is pulled. No volts to ground. Herm reads 34.6 microfarads. Fan capacitor 5 microfarads. " +
			"Return air 78. Supply air 59. Common to run 0.8 ohms. Scratch that. What's next?"},
	} {
		b.Run(h.name, func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				_, err := e.Recognise(context.Background(), clips[i%len(clips)], audio.Hints{Prompt: h.prompt})
				if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
					b.Fatal(err)
				}
			}
		})
	}
}
