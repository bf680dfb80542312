// Package scene makes sound for the demo, the benches and the tests: synthetic
// talkers, and the noise of an outdoor unit around them. Nothing in the program
// itself imports it.
package scene

import (
	"math"
	"math/rand/v2"
)

// Rate is the sample rate of all noise and mixtures, in hertz.
const Rate = 16000

// Noise describes one outdoor unit as the microphone hears it. The zero value
// of a level leaves that part out; levels are relative to each other.
type Noise struct {
	Seed    uint64
	Fan     float64 // broadband rush of air, falling with frequency
	Blades  float64 // tones at the blade-passing frequency and its multiples
	RPM     float64 // of the fan; 850 if 0
	Count   int     // blades of the fan; 3 if 0
	Hum     float64 // 60 Hz and its multiples, strongest at 120 Hz
	Gusts   float64 // slow swelling of the fan's rush, 0 to 1
	Clicks  float64 // contactor clicks, a few in ten seconds
	Clanks  float64 // tools put down on metal
	Tilt    float64 // fall of the rush in dB an octave above 300 Hz; 5 if 0
	Warmth  float64 // rattle of the compressor, a rough tone near 58 Hz
	Breadth float64 // detuning of the tones in Hz; 0.3 if 0
}

// Typical is a noise with every part at a usual level; the seed also moves the
// levels, the speed and the colour, so that no two units sound alike.
func Typical(seed uint64) Noise {
	r := rand.New(rand.NewPCG(seed, 0x6f7574646f6f72))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	return Noise{Seed: seed, Fan: 1, Blades: between(0.1, 0.7), RPM: between(780, 1150), Count: 3 + r.IntN(3), Hum: between(0.05, 0.5),
		Gusts: between(0.1, 0.6), Clicks: between(0, 0.8), Clanks: between(0, 0.6), Tilt: between(3, 8), Warmth: between(0, 0.4)}
}

// Make gives n samples, scaled to an RMS of 1 after a high-pass at 70 Hz.
func (n Noise) Make(samples int) []float32 {
	r := rand.New(rand.NewPCG(n.Seed, 0x6e6f697365))
	out := make([]float64, samples)
	n.rush(out, r)
	n.tones(out, r)
	n.knocks(out, r)
	high := highPass(out, 70)
	scale := 1 / math.Max(rms(high), 1e-12)
	sound := make([]float32, samples)
	for i, v := range out {
		sound[i] = float32(v * scale)
	}
	return sound
}

func (n Noise) rush(out []float64, r *rand.Rand) {
	if n.Fan == 0 {
		return
	}
	tilt := or(n.Tilt, 5)
	// A first-order low-pass falls 6 dB an octave; mixing it with the white
	// source sets the fall in between.
	share := math.Min(1, tilt/6)
	alpha := 1 - math.Exp(-2*math.Pi*300/Rate)
	low, swell, target := 0.0, 1.0, 1.0
	rush := make([]float64, len(out))
	for i := range out {
		white := r.NormFloat64()
		low += alpha * (white - low)
		if i%(Rate/2) == 0 {
			target = 1 + n.Gusts*(2*r.Float64()-1)
		}
		swell += (target - swell) / (0.4 * Rate)
		rush[i] = swell * (share*low/math.Sqrt(alpha/(2-alpha)) + (1-share)*0.5*white)
	}
	addScaled(out, rush, n.Fan)
}

func (n Noise) tones(out []float64, r *rand.Rand) {
	breadth := or(n.Breadth, 0.3)
	add := func(base, level float64, partials []float64) {
		if level == 0 {
			return
		}
		sum := make([]float64, len(out))
		for k, p := range partials {
			phase, wander := 2*math.Pi*r.Float64(), 0.0
			for i := range sum {
				wander += breadth * r.NormFloat64() / math.Sqrt(Rate)
				phase += 2 * math.Pi * (base*float64(k+1) + wander) / Rate
				sum[i] += p * math.Sin(phase)
			}
		}
		addScaled(out, sum, level)
	}
	count := n.Count
	if count == 0 {
		count = 3
	}
	add(or(n.RPM, 850)/60*float64(count), n.Blades, []float64{1, 0.6, 0.4, 0.25, 0.15, 0.1})
	add(60, n.Hum, []float64{0.4, 1, 0.2, 0.5, 0.1, 0.25})
	add(58.3, n.Warmth, []float64{1, 0.8, 0.6, 0.5, 0.4, 0.3, 0.3, 0.2})
}

// knocks adds short decaying sounds at random moments.
func (n Noise) knocks(out []float64, r *rand.Rand) {
	add := func(level, perSecond, lowest, highest, ring float64) {
		if level == 0 {
			return
		}
		count := int(perSecond*float64(len(out))/Rate + r.Float64())
		for range count {
			at := r.IntN(len(out) + 1)
			f, size := lowest+(highest-lowest)*r.Float64(), level*(2+4*r.Float64())
			for i := 0; i < int(5*ring*Rate) && at+i < len(out); i++ {
				t := float64(i) / Rate
				out[at+i] += size * math.Exp(-t/ring) * math.Sin(2*math.Pi*f*t) * (1 + 0.3*r.NormFloat64())
			}
		}
	}
	add(n.Clicks, 0.3, 900, 2500, 0.006)
	add(n.Clanks, 0.2, 600, 4200, 0.05)
}

// addScaled adds part, brought to the RMS level.
func addScaled(out, part []float64, level float64) {
	scale := level / math.Max(rms(part), 1e-12)
	for i, v := range part {
		out[i] += scale * v
	}
}

func or(v, fallback float64) float64 {
	if v == 0 {
		return fallback
	}
	return v
}

func rms(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// highPass is a second-order Butterworth high-pass at cut Hz.
func highPass(x []float64, cut float64) []float64 {
	w := 2 * math.Pi * cut / Rate
	q := math.Sqrt2 / 2
	alpha, cos := math.Sin(w)/(2*q), math.Cos(w)
	b0, b1, b2 := (1+cos)/2, -(1 + cos), (1+cos)/2
	a0, a1, a2 := 1+alpha, -2*cos, 1-alpha
	y := make([]float64, len(x))
	var x1, x2, y1, y2 float64
	for i, v := range x {
		y[i] = (b0*v + b1*x1 + b2*x2 - a1*y1 - a2*y2) / a0
		x1, x2, y1, y2 = v, x1, y[i], y1
	}
	return y
}
