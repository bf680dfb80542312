package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"

	"callout/audio"
)

// recordings is where Debian's pocketsphinx-testdata lies.
const recordings = "/usr/share/pocketsphinx/test/data"

// people lists the recordings of people that packages carry, with what is said: those of
// pocketsphinx-testdata by its own transcripts, and the speech binding's sample, of which
// the words are those of the inaugural address of 20 January 1961.
func people(ctx context.Context) (map[string]string, error) {
	said := map[string]string{
		filepath.Join(recordings, "tidigits/dhd.2934z.raw"): "two nine three four zero",
		filepath.Join(recordings, "goforward.raw"):          "go forward ten meters",
	}
	line := regexp.MustCompile(`<s> (.*) </s> \((.*)\)`)
	for _, list := range []string{"cards/cards.transcription", "librivox/transcription"} {
		b, err := os.ReadFile(filepath.Join(recordings, list))
		if err != nil {
			return nil, err
		}
		for _, m := range line.FindAllStringSubmatch(string(b), -1) {
			said[filepath.Join(recordings, filepath.Dir(list), m[2]+".wav")] = m[1]
		}
	}
	dir, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}", "github.com/ggerganov/whisper.cpp/bindings/go").Output()
	if err != nil {
		return nil, err
	}
	said[filepath.Join(strings.TrimSpace(string(dir)), "samples", "jfk.wav")] = "and so my fellow americans ask not what your country can do for you ask what you can do for your country"
	return said, nil
}

func readSound(path string) ([]float32, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if filepath.Ext(path) != ".raw" {
		c, err := audio.ReadWAV(bytes.NewReader(b))
		if err != nil {
			return nil, err
		}
		return c.At16k()
	}
	var x []float32 // 16-bit, little-endian, 16 kHz
	for i := 0; i+1 < len(b); i += 2 {
		x = append(x, float32(int16(binary.LittleEndian.Uint16(b[i:])))/(1<<15))
	}
	return x, nil
}

// wordsWrong counts the words of people's recordings and those heard wrong.
func wordsWrong(ctx context.Context, r audio.Recogniser, h audio.Hints) (words, wrong int, err error) {
	said, err := people(ctx)
	if err != nil {
		return 0, 0, err
	}
	for path, text := range said {
		x, err := readSound(path)
		if err != nil {
			return 0, 0, err
		}
		t, err := r.Recognise(ctx, audio.Utterance{Samples: x}, h)
		if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
			return 0, 0, err
		}
		want := spelled(text)
		words, wrong = words+len(want), wrong+distance(want, spelled(t.Text))
	}
	return words, wrong, nil
}

var (
	notWord = regexp.MustCompile(`[^a-z0-9' ]+`)
	number  = regexp.MustCompile(`^[0-9]+$`)
)

// spelled gives the words of a text: lower case, no punctuation, numbers digit by digit.
func spelled(text string) []string {
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
