package scene

import (
	"math"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func wide(x []float32) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = float64(v)
	}
	return y
}

func TestNoiseHasUnitLevelAndItsSeed(t *testing.T) {
	a, again, b := Typical(7).Make(5*Rate), Typical(7).Make(5*Rate), Typical(8).Make(5*Rate)
	assert.Equal(t, a, again)
	assert.NotEqual(t, a, b)
	assert.InDelta(t, 1, rms(highPass(wide(a), 70)), 1e-4)
}

// The hum is where a fan's hum is: power at 120 Hz by Goertzel's method against
// that of a neighbour without a tone.
func TestHumIsAtTwiceTheLine(t *testing.T) {
	x := wide(Noise{Seed: 1, Hum: 1, Fan: 0.05}.Make(4 * Rate))
	power := func(f float64) float64 {
		var s1, s2 float64
		c := 2 * math.Cos(2*math.Pi*f/Rate)
		for _, v := range x {
			s1, s2 = v+c*s1-s2, s1
		}
		return s1*s1 + s2*s2 - c*s1*s2
	}
	assert.Greater(t, power(120), 100*power(150))
}

// A tone in a noise mixed at 10 dB measures 10 dB: SNR is what it says.
func TestMixKeepsTheRatio(t *testing.T) {
	tone := make([]float32, 2*Rate)
	for i := range tone {
		tone[i] = float32(0.1 * math.Sin(2*math.Pi*1000*float64(i)/Rate))
	}
	noise := Typical(3).Make(2 * Rate)
	assert.InDelta(t, 0.1/math.Sqrt2, ActiveLevel(tone), 1e-3)
	mixed := Mix(tone, noise, 10, 0.5)
	var highest float64
	rest := make([]float64, len(mixed))
	// least squares: mixed = a*tone + noise part
	var ab, aa float64
	for i := range mixed {
		ab += float64(mixed[i]) * float64(tone[i])
		aa += float64(tone[i]) * float64(tone[i])
		highest = math.Max(highest, math.Abs(float64(mixed[i])))
	}
	gain := ab / aa
	for i := range mixed {
		rest[i] = float64(mixed[i]) - gain*float64(tone[i])
	}
	snr := 20 * math.Log10(gain*ActiveLevel(tone)/rms(highPass(rest, 70)))
	assert.InDelta(t, 10, snr, 0.3)
	assert.InDelta(t, 0.5, highest, 1e-6)
	assert.Zero(t, ActiveLevel(make([]float32, Rate)))
}

func TestReservedVoices(t *testing.T) {
	for v, want := range map[Voice]bool{
		"flite:rms": true, "flite:awb:rate=0.9": true, "flite:slt": false, "espeak-ng:en-gb-scotland+f2": true, "espeak-ng:en-gb-x-rp": true,
		"espeak-ng:en-us+m3": false, "festival:any": true, "piper:joe": true, "odd": false,
	} {
		assert.Equal(t, want, v.Reserved(), v)
	}
}

func TestVoicesSpeak(t *testing.T) {
	for _, v := range []Voice{"espeak-ng:en-us+m3:rate=165:pitch=45", "flite:slt:rate=0.9"} {
		if _, err := exec.LookPath(string(v[:5])); err != nil && v[:5] == "flite" {
			t.Skip("flite is not installed")
		}
		if _, err := exec.LookPath("espeak-ng"); err != nil {
			t.Skip("espeak-ng is not installed")
		}
		x, err := v.Speak(t.Context(), "compressor amps forty seven")
		require.NoError(t, err)
		assert.Greater(t, len(x), Rate)
		assert.Greater(t, ActiveLevel(x), 0.01)
	}
	for _, bad := range []Voice{"espeak-ng", "parrot:polly", "flite:slt:loud"} {
		_, err := bad.Speak(t.Context(), "hello")
		assert.ErrorContains(t, err, "scene: voice")
	}
}
