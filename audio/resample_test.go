package audio_test

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

// decibels of the difference between two signals against the first, their ends left out.
func difference(a, b []float32) float64 {
	n := min(len(a), len(b))
	var err, sig float64
	for i := n / 10; i < n-n/10; i++ {
		d := float64(a[i]) - float64(b[i])
		err += d * d
		sig += float64(a[i]) * float64(a[i])
	}
	return 10 * math.Log10(err/sig+1e-20)
}

func level(a []float32) float64 {
	var sum float64
	for _, s := range a[len(a)/10 : len(a)-len(a)/10] {
		sum += float64(s) * float64(s)
	}
	return 10 * math.Log10(sum/float64(len(a)*8/10)+1e-20)
}

// A sampled sine is known exactly at every rate: the outside truth for a resampler.
func TestResampleKeepsTones(t *testing.T) {
	for _, rate := range []int{8000, 11025, 22050, 24000, 32000, 44100, 48000, 96000, 192000} {
		for _, freq := range []float64{50, 440, 1000, 3000, 3700, 7000} {
			if freq > 0.45*float64(rate) { // the filter passes 90% of the band
				continue
			}
			out, err := audio.Resample(sine(freq, rate, rate, 0.5), rate, 16000)
			require.NoError(t, err)
			require.Len(t, out, 16000, "%d Hz", rate)
			assert.Less(t, difference(sine(freq, 16000, 16000, 0.5), out), -80.0, "%v Hz tone at %d Hz", freq, rate)
		}
	}
}

func TestResampleFoldsNothingBack(t *testing.T) {
	for _, rate := range []int{22050, 44100, 48000} {
		for _, freq := range []float64{8500, 9000, 10500} {
			out, err := audio.Resample(sine(freq, rate, rate, 0.5), rate, 16000)
			require.NoError(t, err)
			assert.Less(t, level(out)-level(sine(freq, rate, rate, 0.5)), -80.0, "%v Hz at %d Hz", freq, rate)
		}
	}
}

// SoX's rate effect at very high quality is the reference on noise, band-limited so that
// both filters pass it.
func TestResampleAgreesWithSox(t *testing.T) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		t.Skip("sox is not installed")
	}
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in.wav"), filepath.Join(dir, "out.wav")
	msg, err := exec.Command(sox, "-R", "-n", "-r", "44100", "-b", "32", "-e", "floating-point", in,
		"synth", "2", "pinknoise", "lowpass", "-2", "3000", "lowpass", "-2", "3000", "lowpass", "-2", "3000", "gain", "-6").CombinedOutput()
	require.NoError(t, err, "%s", msg)
	msg, err = exec.Command(sox, "-D", in, "-b", "32", "-e", "floating-point", out, "rate", "-v", "-L", "16000").CombinedOutput()
	require.NoError(t, err, "%s", msg)
	read := func(path string) audio.Clip {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		c, err := audio.ReadWAV(bytes.NewReader(b))
		require.NoError(t, err)
		return c
	}
	got, err := read(in).At16k()
	require.NoError(t, err)
	want := read(out).Samples
	require.InDelta(t, len(want), len(got), 1)
	assert.Less(t, difference(want, got), -60.0)
}

func TestResampleEdges(t *testing.T) {
	out, err := audio.Resample(nil, 44100, 16000)
	require.NoError(t, err)
	assert.Empty(t, out)
	out, err = audio.Resample([]float32{0.25}, 44100, 16000)
	require.NoError(t, err)
	assert.Len(t, out, 1)
	same := []float32{1, 2, 3}
	out, err = audio.Resample(same, 16000, 16000)
	require.NoError(t, err)
	assert.Equal(t, same, out)
	out[0] = 9
	assert.EqualValues(t, 1, same[0], "a copy")
	for _, rates := range [][2]int{{0, 16000}, {16000, 0}, {-1, 16000}, {16000, 1 << 30}} {
		_, err = audio.Resample(same, rates[0], rates[1])
		assert.Error(t, err, "%v", rates)
	}
	// A rate with no small ratio to the other uses the nearest of many phases.
	out, err = audio.Resample(sine(1000, 44101, 44101, 0.5), 44101, 16000)
	require.NoError(t, err)
	assert.Less(t, difference(sine(1000, 16000, 16000, 0.5), out), -60.0)
}

func BenchmarkResample(b *testing.B) {
	in := sine(440, 44100, 3*44100, 0.5)
	for b.Loop() {
		if _, err := audio.Resample(in, 44100, 16000); err != nil {
			b.Fatal(err)
		}
	}
}
