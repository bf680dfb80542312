package audiotest

import (
	"bytes"
	"context"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"

	"callout/audio"
)

// Recordings is where Debian's pocketsphinx-testdata lies.
const Recordings = "/usr/share/pocketsphinx/test/data"

// People lists the recordings of people in that package, with what is said: its own
// transcripts, and for the two raw files what their names and grammar say. The error is
// that of a missing package.
func People() (map[string]string, error) {
	said := map[string]string{
		filepath.Join(Recordings, "tidigits/dhd.2934z.raw"): "two nine three four zero",
		filepath.Join(Recordings, "goforward.raw"):          "go forward ten meters",
	}
	line := regexp.MustCompile(`<s> (.*) </s> \((.*)\)`)
	for _, list := range []string{"cards/cards.transcription", "librivox/transcription"} {
		b, err := os.ReadFile(filepath.Join(Recordings, list))
		if err != nil {
			return nil, err
		}
		for _, m := range line.FindAllStringSubmatch(string(b), -1) {
			said[filepath.Join(Recordings, filepath.Dir(list), m[2]+".wav")] = m[1]
		}
	}
	return said, nil
}

// Address is the human sample that the speech binding carries, and what is said: President
// Kennedy's inaugural address of 20 January 1961, 11 s, in the public domain.
func Address(ctx context.Context) (path, said string, err error) {
	dir, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}", "github.com/ggerganov/whisper.cpp/bindings/go").Output()
	return filepath.Join(strings.TrimSpace(string(dir)), "samples", "jfk.wav"),
		"and so my fellow americans ask not what your country can do for you ask what you can do for your country", err
}

// ReadSound reads a recording: WAV, or a .raw file of 16-bit sound at 16 kHz.
func ReadSound(path string) ([]float32, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if filepath.Ext(path) == ".raw" {
		return Raw(b), nil
	}
	c, err := audio.ReadWAV(bytes.NewReader(b))
	if err != nil {
		return nil, err
	}
	return c.At16k()
}

// Raw is 16-bit sound, little-endian.
func Raw(b []byte) (x []float32) {
	for i := 0; i+1 < len(b); i += 2 {
		x = append(x, float32(int16(binary.LittleEndian.Uint16(b[i:])))/(1<<15))
	}
	return x
}

var (
	notWord = regexp.MustCompile(`[^a-z0-9' ]+`)
	number  = regexp.MustCompile(`^[0-9]+$`)
)

// Spelled gives the words of a text as they are said: lower case, no punctuation, small
// numbers in words and others digit by digit.
func Spelled(text string) []string {
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

// Distance is the least number of words to change, add or drop (Levenshtein).
func Distance(a, b []string) int {
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
