package audio

import (
	"fmt"
	"math"
)

// At16k gives the clip's samples at 16 kHz. The result may share memory with the clip
// when that is its rate already.
func (c Clip) At16k() ([]float32, error) {
	if c.Rate == Rate {
		return c.Samples, nil
	}
	return Resample(c.Samples, c.Rate, Rate)
}

// The filter: a sinc with resampleLobes zero crossings on each side under a Kaiser
// window. With beta 10 its stop band lies about 100 dB down (Kaiser's formula, Oppenheim
// and Schafer, "Discrete-Time Signal Processing", section 7.5.3) and its transition band
// is the last 10% below the lower Nyquist frequency: nothing folds back.
const (
	resampleLobes = 64
	resampleBeta  = 10.0
	resampleBand  = 0.95 // cut-off, of the lower Nyquist frequency
	maxPhases     = 4096 // distinct filters; rates with a longer period are interpolated to the nearest
)

// Resample converts samples between two rates in hertz with a windowed-sinc filter. No
// delay is added: an event at time t stays at time t. The result has
// ceil(len·to/from) samples.
func Resample(samples []float32, from, to int) ([]float32, error) {
	if from < minWAVRate || to < minWAVRate || from > maxWAVRate || to > maxWAVRate {
		return nil, fmt.Errorf("audio: resample from %d to %d Hz: rates run from %d to %d", from, to, minWAVRate, maxWAVRate)
	}
	if from == to {
		return append([]float32(nil), samples...), nil
	}
	d := gcd(from, to)
	up, down := to/d, from/d
	n := int((int64(len(samples))*int64(up) + int64(down) - 1) / int64(down))
	out := make([]float32, n)
	// Cut-off in cycles per input sample times two.
	cut := resampleBand * math.Min(1, float64(to)/float64(from))
	half := int(math.Ceil(resampleLobes / cut))
	phases := min(up, maxPhases)
	bank := make([][]float32, phases)
	for i := range out {
		at := int64(i) * int64(down)
		whole, part := int(at/int64(up)), at%int64(up)
		phase := int(part * int64(phases) / int64(up))
		if bank[phase] == nil {
			bank[phase] = sincFilter(float64(phase)/float64(phases), cut, half)
		}
		f := bank[phase]
		first := whole - half
		lo, hi := max(0, -first), min(len(f), len(samples)-first)
		var sum float32
		for k := lo; k < hi; k++ {
			sum += f[k] * samples[first+k]
		}
		out[i] = sum
	}
	return out, nil
}

// sincFilter is centred at half+offset of its 2·half+2 taps and has unit gain at 0 Hz.
func sincFilter(offset, cut float64, half int) []float32 {
	taps := make([]float64, 2*half+2)
	total := 0.0
	for k := range taps {
		x := float64(k-half) - offset
		w := x / float64(half+1)
		if w < -1 || w > 1 {
			continue
		}
		s := cut
		if x != 0 {
			s = math.Sin(math.Pi*cut*x) / (math.Pi * x)
		}
		taps[k] = s * bessel(resampleBeta*math.Sqrt(1-w*w)) / bessel(resampleBeta)
		total += taps[k]
	}
	f := make([]float32, len(taps))
	for k, t := range taps {
		f[k] = float32(t / total)
	}
	return f
}

// bessel is the modified Bessel function of the first kind and order 0, by its series.
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-16; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
