package live

import (
	"math"
	"slices"
	"time"

	"callout/audio"
)

// own tells the program's own voice, as the microphone hears it, from somebody
// who speaks: it knows what is being played, learns how loud that comes back,
// and lets a frame count as speech only if it is louder than that by a margin.
// With a headset nothing comes back, and everything is heard at once; beside a
// loudspeaker only a voice above the prompt's is.
type own struct {
	rate     int // of the sound being played
	start    time.Time
	power    []float64 // of each stretch of it, ownStep long
	coupling []float64 // learnt: dB by which the echo lies under what is played; a window
	next     int
	limit    float64 // dB, from coupling
	spoken   int     // frames with somebody's voice in them
	floor    float64 // power that the microphone gives when nothing is played
}

const (
	ownStep    = 16 * time.Millisecond
	ownReach   = 400 * time.Millisecond // sound system, room and their echo take no longer
	ownMargin  = 9.0                    // dB over the usual echo of loud speech; its peaks are lower
	ownWindow  = 256                    // frames learnt from: 8 s of speech
	ownRank    = 0.75                   // the echo is under the limit in so many of them
	ownSpoken  = 4                      // of frames with somebody's voice in them, one in so many is learnt from
	ownUnknown = 6.0                    // dB assumed until something was learnt: louder than was played
	ownEnough  = 24                     // frames from which the limit is believed
	ownFall    = 0.794                  // by which it falls in a frame, at most: 31 dB/s
	ownRise    = 1.0116                 // by which the floor rises in a frame: 1.6 dB/s
	ownQuiet   = 1e-5                   // power under which what is played teaches nothing (-50 dB)
)

func newOwn() *own { return &own{limit: ownUnknown} }

// play tells that samples are out from the moment start.
func (o *own) play(samples []float32, rate int, start time.Time) {
	step := int(ownStep * time.Duration(rate) / time.Second)
	o.rate, o.start, o.power = rate, start, o.power[:0]
	for at := 0; at < len(samples); at += step {
		o.power = append(o.power, power(samples[at:min(at+step, len(samples))]))
	}
}

// stop tells that the sound was cut off at the moment end.
func (o *own) stop(end time.Time) {
	if n := int(end.Sub(o.start)/ownStep) + 1; n >= 0 && n < len(o.power) {
		o.power = o.power[:n]
	}
}

// heard takes one frame of the microphone that ended at the moment at, and
// reports whether it may be somebody else's voice.
func (o *own) heard(frame []float32, at time.Time) bool {
	p := power(frame)
	played := o.loudest(at)
	if played < ownQuiet {
		switch {
		case o.floor == 0:
			o.floor = math.Max(p, 1e-12)
		case p < o.floor:
			o.floor = math.Max(p, o.floor*ownFall)
		default:
			o.floor *= ownRise
		}
		return true
	}
	other := p > o.floor+played*math.Pow(10, (o.limit+ownMargin)/10)
	if other {
		// Louder than the echo was: somebody speaks, or the loudspeaker was
		// turned up. It is learnt from, but slowly.
		if o.spoken++; o.spoken%ownSpoken != 0 {
			return true
		}
	}
	o.learn(decibels(math.Max(p-o.floor, 1e-12) / played))
	return other
}

// ownDeaf is the usual echo, in dB under what is played, below which nothing of it is
// taken for speech: a headset's.
const ownDeaf = -45

// deaf reports whether what is played is known not to come back.
func (o *own) deaf() bool { return len(o.coupling) >= ownEnough && o.limit < ownDeaf }

func (o *own) learn(coupling float64) {
	if len(o.coupling) < ownWindow {
		o.coupling = append(o.coupling, coupling)
	} else {
		o.coupling[o.next] = coupling
		o.next = (o.next + 1) % ownWindow
	}
	if len(o.coupling) >= ownEnough {
		sorted := slices.Sorted(slices.Values(o.coupling))
		o.limit = sorted[int(ownRank*float64(len(sorted)-1))]
	}
}

// loudest is the power of the loudest stretch whose echo can be in a frame that
// ended at the moment at.
func (o *own) loudest(at time.Time) float64 {
	to := int(at.Sub(o.start) / ownStep)
	from := int((at.Sub(o.start) - ownReach - audio.FrameSize*time.Second/audio.Rate) / ownStep)
	most := 0.0
	for i := max(0, from); i <= to && i < len(o.power); i++ {
		most = math.Max(most, o.power[i])
	}
	return most
}

func power(samples []float32) float64 {
	sum := 0.0
	for _, s := range samples {
		sum += float64(s) * float64(s)
	}
	return sum / float64(max(1, len(samples)))
}
