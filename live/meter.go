package live

import (
	"math"
	"time"
)

// Level is how loud the microphone is.
type Level struct {
	RMS, Peak float64 // dB re full scale
	Clipped   bool    // samples stood at full scale
	Dead      bool    // nothing but zeros for some seconds: muted, or the wrong device
}

const (
	clipAt      = 0.999           // of full scale
	clipRun     = 3               // samples in a row at clipAt are a clipped wave
	deadAfter   = 3 * time.Second // of zeros
	meterPeriod = 96 * time.Millisecond
)

// meter measures the sound of meterPeriod at a time. Its zero value is ready.
type meter struct {
	sum, peak float64
	n         int
	run       int
	clipped   bool
	zeros     time.Duration
}

// add takes samples at rate Hz and gives a level once a period is full.
func (m *meter) add(samples []float32, rate int) (Level, bool) {
	for _, s := range samples {
		a := math.Abs(float64(s))
		m.sum += a * a
		m.peak = math.Max(m.peak, a)
		if a >= clipAt {
			if m.run++; m.run >= clipRun {
				m.clipped = true
			}
		} else {
			m.run = 0
		}
	}
	m.n += len(samples)
	took := time.Duration(m.n) * time.Second / time.Duration(rate)
	if took < meterPeriod {
		return Level{}, false
	}
	if m.peak == 0 {
		m.zeros += took
	} else {
		m.zeros = 0
	}
	l := Level{RMS: decibels(m.sum / float64(m.n)), Peak: decibels(m.peak * m.peak), Clipped: m.clipped, Dead: m.zeros >= deadAfter}
	m.sum, m.peak, m.n, m.clipped = 0, 0, 0, false
	return l, true
}

// decibels of a power, not below -120.
func decibels(power float64) float64 { return 10 * math.Log10(math.Max(power, 1e-12)) }
