package audio_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

// sine is one tone, in hertz.
func sine(freq float64, rate, n int, amplitude float64) []float32 {
	s := make([]float32, n)
	for i := range s {
		s[i] = float32(amplitude * math.Sin(2*math.Pi*freq*float64(i)/float64(rate)))
	}
	return s
}

func wav(t *testing.T, samples []float32, rate int) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, audio.WriteWAV(&b, samples, rate))
	return b.Bytes()
}

func TestWAVRoundTrip(t *testing.T) {
	in := append(sine(440, 16000, 1600, 0.5), 1, -1, 0, 2, -2, float32(math.NaN()))
	c, err := audio.ReadWAV(bytes.NewReader(wav(t, in, 22050)))
	require.NoError(t, err)
	assert.Equal(t, 22050, c.Rate)
	require.Len(t, c.Samples, len(in))
	for i := range 1602 {
		assert.InDelta(t, in[i], c.Samples[i], 1.0/32768+1e-7, "sample %d", i)
	}
	assert.InDelta(t, 1, c.Samples[1603], 1e-4, "clipped")
	assert.InDelta(t, -1, c.Samples[1604], 1e-4, "clipped")
	assert.Zero(t, c.Samples[1605], "not a number")
	again := wav(t, c.Samples, 22050)
	c2, err := audio.ReadWAV(bytes.NewReader(again))
	require.NoError(t, err)
	assert.Equal(t, c, c2, "a second trip changes nothing")
}

// The layouts are those of SoX, a general audio tool, which writes plain headers for 16
// bits and extensible ones for the wider kinds.
func TestReadsWhatSoxWrites(t *testing.T) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		t.Skip("sox is not installed")
	}
	dir := t.TempDir()
	in := filepath.Join(dir, "in.wav")
	tone := sine(1000, 44100, 44100, 0.5)
	require.NoError(t, os.WriteFile(in, wav(t, tone, 44100), 0o600))
	for _, tt := range []struct {
		name  string
		args  []string
		rate  int
		delta float64
	}{
		{"8 bit", []string{"-e", "unsigned-integer", "-b", "8"}, 44100, 1.0 / 120},
		{"16 bit", []string{"-e", "signed-integer", "-b", "16"}, 44100, 1.0 / 32000},
		{"24 bit", []string{"-e", "signed-integer", "-b", "24"}, 44100, 1.0 / 32000},
		{"32 bit", []string{"-e", "signed-integer", "-b", "32"}, 44100, 1.0 / 32000},
		{"float", []string{"-e", "floating-point", "-b", "32"}, 44100, 1.0 / 32000},
		{"double", []string{"-e", "floating-point", "-b", "64"}, 44100, 1.0 / 32000},
		{"stereo", []string{"-b", "16", "-c", "2"}, 44100, 1.0 / 32000},
		{"six channels", []string{"-b", "24", "-c", "6"}, 44100, 1.0 / 32000},
	} {
		t.Run(tt.name, func(t *testing.T) {
			out := filepath.Join(dir, "out.wav")
			args := append(append([]string{"-D", in}, tt.args...), out)
			msg, err := exec.Command(sox, args...).CombinedOutput()
			require.NoError(t, err, "%s", msg)
			f, err := os.Open(out)
			require.NoError(t, err)
			defer f.Close()
			c, err := audio.ReadWAV(f)
			require.NoError(t, err)
			assert.Equal(t, tt.rate, c.Rate)
			require.Len(t, c.Samples, len(tone))
			for i := range tone {
				require.InDelta(t, tone[i], c.Samples[i], tt.delta, "sample %d", i)
			}
		})
	}
}

func TestReadWAVOfADeviceWithAPipe(t *testing.T) {
	b := wav(t, sine(440, 16000, 1000, 0.5), 16000)
	binary.LittleEndian.PutUint32(b[4:], math.MaxUint32)
	binary.LittleEndian.PutUint32(b[40:], math.MaxUint32) // length unknown
	c, err := audio.ReadWAV(bytes.NewReader(b))
	require.NoError(t, err)
	assert.Len(t, c.Samples, 1000)
	c, err = audio.ReadWAV(bytes.NewReader(b[:1001])) // cut in the middle of a sample
	require.NoError(t, err)
	assert.Len(t, c.Samples, (1001-44)/2)
}

func TestReadWAVErrors(t *testing.T) {
	good := wav(t, sine(440, 16000, 100, 0.5), 16000)
	edit := func(at int, b ...byte) []byte {
		e := bytes.Clone(good)
		copy(e[at:], b)
		return e
	}
	for _, tt := range []struct {
		name string
		data []byte
		says string
	}{
		{"empty", nil, "empty"},
		{"text", []byte("this is a note about a compressor, not a sound"), "no RIFF WAVE head"},
		{"head only", good[:12], "no sound"},
		{"no samples", good[:44], "no sound"},
		{"big endian", edit(0, 'R', 'I', 'F', 'X'), "no RIFF WAVE head"},
		{"no channels", edit(22, 0), "0 channels"},
		{"rate of nought", edit(24, 0, 0, 0, 0), "rate is 0 Hz"},
		{"compressed", edit(20, 0x55), "kind 85"},
		{"48 bit", edit(32, 6, 0, 48), "48 bits"},
		{"sound before format", append(bytes.Clone(good[:12]), "data\x02\x00\x00\x00\x00\x00"...), "before its format"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := audio.ReadWAV(bytes.NewReader(tt.data))
			require.ErrorIs(t, err, audio.ErrFormat)
			assert.Contains(t, err.Error(), tt.says)
			assert.False(t, strings.Contains(err.Error(), "\n"), "one line")
		})
	}
	_, err := audio.ReadWAV(iotest.ErrReader(os.ErrPermission))
	assert.ErrorIs(t, err, os.ErrPermission)
	assert.Error(t, audio.WriteWAV(&bytes.Buffer{}, nil, 0))
	assert.ErrorIs(t, audio.WriteWAV(full{}, nil, 16000), errFull)
}

var errFull = errors.New("no space left")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func FuzzReadWAV(f *testing.F) {
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, sine(440, 16000, 40, 0.5), 16000); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(b.Bytes()[:50])
	// An extensible, 24-bit, two-channel header.
	ext := append([]byte("RIFF\x00\x00\x00\x00WAVEfmt \x28\x00\x00\x00\xfe\xff\x02\x00\x80\xbb\x00\x00\x00\x65\x04\x00\x06\x00\x18\x00\x16\x00\x18\x00\x03\x00\x00\x00\x01\x00"),
		"\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71data\x0c\x00\x00\x00abcdefghijkl"...)
	f.Add(ext)
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := audio.ReadWAV(bytes.NewReader(data))
		if err != nil {
			if !errors.Is(err, audio.ErrFormat) {
				t.Fatalf("unexpected kind of error: %v", err)
			}
			return
		}
		if len(c.Samples) == 0 || len(c.Samples) > len(data) || c.Rate <= 0 {
			t.Fatalf("%d samples at %d Hz out of %d bytes", len(c.Samples), c.Rate, len(data))
		}
		for i, s := range c.Samples {
			if math.IsNaN(float64(s)) || math.IsInf(float64(s), 0) {
				t.Fatal("sample " + strconv.Itoa(i) + " is not finite")
			}
		}
	})
}
