package audio_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"callout/audio"
)

// Sounds made to a known ratio: tones of speech's length in white noise. The noise below
// 100 Hz, 1% of its power, is left out of account.
func TestNoise(t *testing.T) {
	made := func(snr float64) []float32 {
		r := rand.New(rand.NewPCG(1, uint64(snr+100)))
		x := make([]float32, 2*audio.Rate)
		for i := range x {
			x[i] = float32(0.01 * r.NormFloat64())
			if i > audio.Rate/4 && i < 3*audio.Rate/2 {
				x[i] += float32(0.01 * math.Sqrt2 * math.Pow(10, snr/20) * math.Sin(float64(i)/4))
			}
		}
		return x
	}
	for snr, want := range map[float64]float64{30: 0, 16: 0, 10: 5, 5: 10, 0: 15} {
		assert.InDelta(t, want, audio.Noise(made(snr)), 1.5, "%g dB", snr)
	}
	for name, x := range map[string][]float32{"nothing": nil, "short": make([]float32, 9*audio.FrameSize), "silence": make([]float32, audio.Rate), "clean": append(make([]float32, audio.Rate), made(40)[audio.Rate/2:audio.Rate]...)} {
		assert.Zero(t, audio.Noise(x), name)
	}
	steady := make([]float32, audio.Rate)
	r := rand.New(rand.NewPCG(3, 4))
	for i := range steady {
		steady[i] = float32(r.NormFloat64())
	}
	assert.Greater(t, audio.Noise(steady), 15., "noise alone")
}
