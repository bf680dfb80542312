package scene

import "math"

// frame is the length over which speech activity is judged, in samples: 20 ms.
const frame = Rate / 50

// ActiveLevel is the RMS of speech while somebody speaks: of the 20 ms frames
// whose level is within 25 dB of the loudest, after a high-pass at 70 Hz. It is
// a plain stand-in for the active speech level of ITU-T P.56.
func ActiveLevel(speech []float32) float64 {
	x := make([]float64, len(speech))
	for i, v := range speech {
		x[i] = float64(v)
	}
	x = highPass(x, 70)
	var levels []float64
	loudest := 0.0
	for at := 0; at+frame <= len(x); at += frame {
		l := rms(x[at : at+frame])
		levels = append(levels, l)
		loudest = math.Max(loudest, l)
	}
	sum, n := 0.0, 0
	for _, l := range levels {
		if l > 0 && l >= loudest*math.Pow(10, -25.0/20) {
			sum += l * l
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}

// Mix puts noise under speech so that the active speech level lies snr dB over
// the noise's level, with the peak at peak (0..1). Noise must be at least as
// long as speech and have an RMS of 1, as Make gives it; what is longer than the
// speech stands after it.
func Mix(speech, noise []float32, snr, peak float64) []float32 {
	gain := ActiveLevel(speech) / math.Pow(10, snr/20)
	out := make([]float32, len(noise))
	highest := 0.0
	for i := range out {
		v := gain * float64(noise[i])
		if i < len(speech) {
			v += float64(speech[i])
		}
		out[i] = float32(v)
		highest = math.Max(highest, math.Abs(v))
	}
	return scale(out, peak/math.Max(highest, 1e-12))
}

// Normal brings speech alone to the peak.
func Normal(speech []float32, peak float64) []float32 {
	highest := 0.0
	for _, v := range speech {
		highest = math.Max(highest, math.Abs(float64(v)))
	}
	return scale(append([]float32(nil), speech...), peak/math.Max(highest, 1e-12))
}

func scale(x []float32, by float64) []float32 {
	for i := range x {
		x[i] = float32(float64(x[i]) * by)
	}
	return x
}
