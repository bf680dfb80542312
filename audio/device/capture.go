//go:build cgo

package device

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"
	"unsafe"

	"github.com/gen2brain/malgo"

	"callout/audio"
)

const (
	ringLength = 30 * audio.Rate        // samples kept for a reader that is late
	silence    = 500 * time.Millisecond // without sound, a device at work counts as lost
	starting   = 3 * time.Second        // the same from opening to the first sound: servers fill a buffer, headsets wake
	firstRetry = 250 * time.Millisecond
	lastRetry  = 2 * time.Second
	period     = 20 // ms of sound in one call from the sound system
)

// Microphone captures 16 kHz mono sound, whatever the device's own rate and
// channels are. A device that goes away, or falls silent for half a second, is
// opened again as soon as it can be: the one with the same id, else with the
// same name. One goroutine may Read; Stats is safe for concurrent use.
type Microphone struct {
	backends []malgo.Backend
	changed  func(Change)
	choice   Choice

	ring     *ring
	losses   atomic.Int64
	silences atomic.Int64
	frames   atomic.Int64
	stuck    atomic.Int64

	stop context.CancelFunc
	done sync.WaitGroup
	once sync.Once
	err  error // of closing; set before done
}

// OpenMicrophone opens the microphone that want means; an error that wraps
// ErrNoDevice if it is not there. Changed, which may be nil, is told when the
// device is opened, lost and back again, one call at a time; it must not block.
func OpenMicrophone(want Choice, changed func(Change)) (*Microphone, error) {
	return openMicrophone(real(), want, changed)
}

func openMicrophone(backends []malgo.Backend, want Choice, changed func(Change)) (*Microphone, error) {
	if changed == nil {
		changed = func(Change) {}
	}
	m := &Microphone{backends: backends, changed: changed, ring: newRing(ringLength)}
	known := ids{}
	first, err := m.open(want, known)
	if err != nil {
		return nil, err
	}
	if want != (Choice{}) {
		want = Choice{Name: first.info.Name, ID: first.info.ID}
	}
	m.choice = want
	ctx, stop := context.WithCancel(context.Background())
	m.stop = stop
	m.changed(Change{At: time.Now(), Name: first.info.Name})
	m.done.Go(func() { m.err = m.keep(ctx, first, want, known) })
	return m, nil
}

// capturing is one opened device.
type capturing struct {
	system *system
	device *malgo.Device
	info   Info
	gone   chan struct{} // holds a token when the sound system stopped it
}

func (c *capturing) close() error {
	c.device.Uninit()
	return c.system.close()
}

func (m *Microphone) open(want Choice, known ids) (*capturing, error) {
	s, err := openSystem(m.backends)
	if err != nil {
		return nil, err
	}
	c := &capturing{system: s, gone: make(chan struct{}, 1)}
	info, id, err := s.find(malgo.Capture, want, known)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("microphone: %w", err), s.close())
	}
	c.info = info
	cfg := malgo.DefaultDeviceConfig(malgo.Capture)
	cfg.Capture.DeviceID = id
	cfg.Capture.Format, cfg.Capture.Channels, cfg.SampleRate = malgo.FormatF32, 1, audio.Rate
	cfg.PeriodSizeInMilliseconds = period
	cfg.Resampling.Linear.LpfOrder = 8 // the library's steepest, against folding
	c.device, err = malgo.InitDevice(s.ctx.Context, cfg, malgo.DeviceCallbacks{
		Data: func(_, in []byte, _ uint32) {
			if len(in) >= 4 {
				m.ring.write(unsafe.Slice((*float32)(unsafe.Pointer(&in[0])), len(in)/4))
			}
		},
		Stop: func() {
			select {
			case c.gone <- struct{}{}:
			default:
			}
		},
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%w: microphone %s: %w", ErrNoDevice, info.Name, err), s.close())
	}
	if err := c.device.Start(); err != nil {
		return nil, errors.Join(fmt.Errorf("%w: microphone %s: %w", ErrNoDevice, info.Name, err), c.close())
	}
	return c, nil
}

// keep watches the open device and opens it again, until ctx is done.
func (m *Microphone) keep(ctx context.Context, c *capturing, want Choice, known ids) error {
	tick := time.NewTicker(silence / 4)
	defer tick.Stop()
	lost := false // already told
	for {
		why := m.watch(ctx, c, tick.C, func() {
			if lost {
				lost = false
				m.changed(Change{At: time.Now(), Name: c.info.Name})
			}
		})
		if why != "" && !lost {
			lost = true
			m.losses.Add(1)
			m.changed(Change{At: time.Now(), Lost: true, Name: c.info.Name, Why: why})
		}
		ended, err := letGo(c.close)
		if !ended {
			m.stuck.Add(1)
		}
		if why == "" {
			return err
		}
		if c = m.again(ctx, want, known); c == nil {
			return nil
		}
	}
}

// watch returns why the device is lost, or "" when ctx is done. It calls alive
// when sound comes.
func (m *Microphone) watch(ctx context.Context, c *capturing, tick <-chan time.Time, alive func()) string {
	before, last, allowed := m.ring.written.Load()+uint64(m.ring.dropped.Load()), time.Now(), starting
	for {
		select {
		case <-ctx.Done():
			return ""
		case <-c.gone:
			return "the sound system stopped it"
		case now := <-tick:
			written := m.ring.written.Load() + uint64(m.ring.dropped.Load())
			if written != before {
				before, last, allowed = written, now, silence
				alive()
			} else if now.Sub(last) >= allowed {
				m.silences.Add(1)
				return "it gives no sound"
			}
		}
	}
}

// again opens the device as soon as it is back; nil when ctx is done.
func (m *Microphone) again(ctx context.Context, want Choice, known ids) *capturing {
	for wait := firstRetry; ; wait = min(2*wait, lastRetry) {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(wait):
		}
		if c, err := m.open(want, known); err == nil {
			return c
		}
	}
}

// Read fills frame with the next samples and gives the moment at which its last
// one was there to be taken. It waits for sound, through any loss, until ctx is
// done.
func (m *Microphone) Read(ctx context.Context, frame []float32) (time.Time, error) {
	for !m.ring.take(frame) {
		select {
		case <-ctx.Done():
			return time.Time{}, context.Cause(ctx)
		case <-m.ring.wake:
		}
	}
	m.frames.Add(int64(len(frame)))
	behind := time.Duration(m.ring.waiting()) * time.Second / audio.Rate
	return time.Now().Add(-behind), nil
}

// Choice is how to find the same microphone again; the zero Choice for the
// default.
func (m *Microphone) Choice() Choice { return m.choice }

// Stats counts what happened so far.
func (m *Microphone) Stats() Stats {
	return Stats{Frames: m.frames.Load(), Overruns: m.ring.dropped.Load(), Losses: int(m.losses.Load()), Silences: int(m.silences.Load()), Stuck: int(m.stuck.Load())}
}

// Close lets the device go. It may be called twice.
func (m *Microphone) Close() error {
	m.once.Do(func() {
		m.stop()
		m.done.Wait()
	})
	return m.err
}
