package audio

import (
	"math"
	"slices"
)

// FrameSize is the length of a detector's frame: 32 ms at Rate.
const FrameSize = 512

// Detector says how likely each frame of a stream is to hold speech. It keeps state from
// frame to frame; it is not safe for concurrent use.
type Detector interface {
	// Score takes the next FrameSize samples and gives a probability, 0 to 1.
	Score(frame []float32) float64
	// Reset forgets the stream.
	Reset()
}

// Energy is a Detector that compares a frame's level with the noise floor, which it
// follows: down within a second, so that a drop-out does not deceive it, up slowly, and
// up at once when the level has been steady for longer than anybody's voice is. Frequencies below 100 Hz, where fans rumble and
// speech is not, do not count. It needs no model, and steady noise up to about 6 dB below
// the speech does not trouble it; a neural detector does better in gusts.
type Energy struct {
	floor  float64 // dB re full scale
	known  bool
	lastX  float64 // of the high-pass filter
	lastY  float64
	levels []float64
	recent [energySteady]float64 // the last levels
	seen   int                   // of them
}

const (
	energyFall   = 1.0                       // dB by which it falls in a frame, at most: 31 dB/s
	energySteady = 40                        // frames, 1.3 s, of a level that ...
	energySway   = 6.0                       // ... stays within so many dB are noise
	energyRise   = 0.05                      // dB by which the floor rises in a frame: 1.6 dB/s
	energyHalf   = 7.0                       // dB over the floor at which speech is as likely as not
	energySlope  = 1.0                       // per dB
	energyQuiet  = -65.0                     // dB; below it nothing is speech
	highPass     = 1 - 2*math.Pi*100.0/16000 // pole of a first-order high-pass at 100 Hz
)

// Prime sets the noise floor from the quietest tenth of a recording, so that its first
// words are judged as its last are.
func (e *Energy) Prime(samples []float32) {
	e.sort(samples)
	e.lastX, e.lastY = 0, 0
	if len(e.levels) > 0 {
		e.floor, e.known = e.levels[len(e.levels)/10], true
	}
}

// sort measures the levels of a recording's frames, the quietest first.
func (e *Energy) sort(samples []float32) {
	e.Reset()
	for at := 0; at+FrameSize <= len(samples); at += FrameSize {
		e.levels = append(e.levels, e.level(samples[at:at+FrameSize]))
	}
	slices.Sort(e.levels)
}

// Reset forgets the noise floor.
func (e *Energy) Reset() { *e = Energy{levels: e.levels[:0]} }

// Score implements Detector.
func (e *Energy) Score(frame []float32) float64 {
	l := math.Max(e.level(frame), energyQuiet)
	e.recent[e.seen%energySteady] = l
	e.seen++
	switch {
	case !e.known:
		e.floor, e.known = l, true
	case l < e.floor:
		e.floor = math.Max(l, e.floor-energyFall)
	default:
		e.floor += energyRise
		if low, high := slices.Min(e.recent[:]), slices.Max(e.recent[:]); e.seen >= energySteady && high-low < energySway {
			e.floor = math.Max(e.floor, low)
		}
	}
	if l <= energyQuiet {
		return 0
	}
	return 1 / (1 + math.Exp(-energySlope*(l-e.floor-energyHalf)))
}

// level is the frame's RMS level in dB re full scale, after the high-pass filter.
func (e *Energy) level(frame []float32) float64 {
	var sum float64
	for _, s := range frame {
		x := float64(s)
		e.lastY = highPass * (e.lastY + x - e.lastX)
		e.lastX = x
		sum += e.lastY * e.lastY
	}
	return 10 * math.Log10(sum/float64(max(1, len(frame)))+1e-12)
}
