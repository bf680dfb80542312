package audio

import "math"

// Noise says how loud the noise under the speech in a sound is: by how many dB the speech
// stands less than 15 dB over it, 0 to 20. Speech is the louder half of the frames, noise the
// quietest tenth; frequencies below 100 Hz don't count. It is an estimate: who talks in the
// background is taken for speech, and a sound that is silent or too short to tell for quiet.
func Noise(samples []float32) float64 {
	const quiet, most, least = 15, 20, 10 // dB, dB, frames
	var e Energy
	e.sort(samples)
	n := len(e.levels)
	if n < least {
		return 0
	}
	noise, loud := meanPower(e.levels[:n/10]), meanPower(e.levels[n/2:])
	if 10*math.Log10(loud) <= energyQuiet {
		return 0
	}
	return min(most, max(0, quiet-10*math.Log10(max(0, loud-noise)/noise)))
}

// meanPower is the mean power of levels in dB.
func meanPower(levels []float64) float64 {
	sum := 0.0
	for _, l := range levels {
		sum += math.Pow(10, l/10)
	}
	return sum / float64(len(levels))
}
