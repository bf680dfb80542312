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
)

const (
	playPeriod  = 10                     // ms of sound in one call from the sound system
	playPeriods = 6                      // of them in the device's buffer
	drain       = 120 * time.Millisecond // left open after the last sample, so that the buffer is heard
	fade        = 5 * time.Millisecond   // of a sound that is cut off, against a click
)

// Player plays on a loudspeaker. Between sounds the device stays open, so that
// the next one is out at once. A device that went away is looked for again by
// the next Play. Safe for concurrent use: one sound at a time, the others wait.
type Player struct {
	backends []malgo.Backend
	want     Choice
	known    ids
	late     atomic.Int64 // see Late

	mu     sync.Mutex // one sound at a time; guards what follows
	system *system
	device *malgo.Device
	rate   int
	opened time.Time
	name   atomic.Pointer[string]
	feed   *feed
	closed bool
}

// feed is what the sound system's thread takes samples from.
type feed struct {
	mu    sync.Mutex // held for a copy's time only
	sound *sound
	taken time.Time     // of the last call
	calls chan struct{} // holds a token after a call
	gone  chan struct{} // holds a token when the device was stopped
}

// sound is one call of Play under way.
type sound struct {
	samples []float32
	at      int
	fade    int       // samples left of a fade to silence; 0 if not fading
	begun   time.Time // the first sample was taken
	first   chan struct{}
	done    chan struct{}
}

// OpenPlayer finds the default loudspeaker. It returns an error wrapping
// ErrNoDevice if there is none.
func OpenPlayer() (*Player, error) { return openPlayer(real(), Choice{}) }

// OpenLoudspeaker finds the loudspeaker that want means.
func OpenLoudspeaker(want Choice) (*Player, error) { return openPlayer(real(), want) }

func openPlayer(backends []malgo.Backend, want Choice) (*Player, error) {
	p := &Player{backends: backends, want: want, known: ids{}}
	s, err := openSystem(backends)
	if err != nil {
		return nil, err
	}
	info, _, err := s.find(malgo.Playback, want, p.known)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("loudspeaker: %w", err), s.close())
	}
	if want != (Choice{}) {
		p.want = Choice{Name: info.Name, ID: info.ID}
	}
	p.name.Store(&info.Name)
	p.system = s
	return p, nil
}

// Name is the loudspeaker's name, as the system gives it.
func (p *Player) Name() string { return *p.name.Load() }

// Choice is how to find the same loudspeaker again; the zero Choice for the
// default.
func (p *Player) Choice() Choice { return p.want }

// Late counts the calls of the sound system that came so late that its buffer
// may have run dry while a sound was being played.
func (p *Player) Late() int64 { return p.late.Load() }

// Play plays mono samples (-1..1) at rate Hz and returns when they have been
// heard, or ctx is done; then the sound is cut off within milliseconds. It
// returns an error wrapping ErrLost when the device went away or takes nothing,
// and an error wrapping ErrNoDevice when it isn't there.
func (p *Player) Play(ctx context.Context, samples []float32, rate int) error {
	return p.PlayTold(ctx, samples, rate, nil)
}

// PlayTold is Play that calls begun, once, with the moment at which the sound
// system took the first sample.
func (p *Player) PlayTold(ctx context.Context, samples []float32, rate int, begun func(time.Time)) error {
	if len(samples) == 0 {
		return ctx.Err()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := p.ready(rate); err != nil {
		return err
	}
	s := &sound{samples: samples, first: make(chan struct{}), done: make(chan struct{})}
	p.feed.start(s)
	defer p.feed.start(nil)
	watchdog := time.NewTimer(starting)
	defer watchdog.Stop()
	first, ended := s.first, ctx.Done()
	for {
		select {
		case <-first:
			first = nil
			if begun != nil {
				begun(s.begun)
			}
		case <-ended:
			ended = nil
			p.feed.cut(rate)
		case <-p.feed.calls:
			if time.Since(p.opened) < starting {
				watchdog.Reset(starting) // servers take a bufferful, then wait
			} else {
				watchdog.Reset(silence)
			}
		case <-p.feed.gone:
			return p.lost("the sound system stopped it")
		case <-watchdog.C:
			return p.lost("it takes no sound")
		case <-s.done:
			if first != nil && !s.begun.IsZero() && begun != nil {
				begun(s.begun)
			}
			if ctx.Err() == nil {
				select {
				case <-time.After(drain):
				case <-ctx.Done():
				}
			}
			return ctx.Err()
		}
	}
}

// lost lets the device go, to be opened afresh by the next Play.
func (p *Player) lost(why string) error {
	return errors.Join(fmt.Errorf("%w: %s: %s", ErrLost, p.Name(), why), p.release())
}

// ready opens the device at rate, unless it is.
func (p *Player) ready(rate int) error {
	if p.closed {
		return ErrClosed
	}
	if p.device != nil && p.rate == rate {
		select {
		case <-p.feed.gone: // it went away between two sounds
		default:
			if time.Since(p.opened) < starting || !p.feed.still(time.Now()) {
				return nil
			}
		}
	}
	if p.device != nil {
		if err := p.release(); err != nil {
			return err
		}
	}
	if p.system == nil {
		s, err := openSystem(p.backends)
		if err != nil {
			return err
		}
		p.system = s
	}
	err := p.open(rate)
	if err != nil {
		err = errors.Join(err, p.release())
	}
	return err
}

func (p *Player) open(rate int) error {
	info, id, err := p.system.find(malgo.Playback, p.want, p.known)
	if err != nil {
		return fmt.Errorf("loudspeaker: %w", err)
	}
	p.name.Store(&info.Name)
	cfg := malgo.DefaultDeviceConfig(malgo.Playback)
	cfg.Playback.DeviceID = id
	cfg.Playback.Format, cfg.Playback.Channels, cfg.SampleRate = malgo.FormatF32, 1, uint32(rate)
	cfg.PeriodSizeInMilliseconds, cfg.Periods = playPeriod, playPeriods
	f := &feed{calls: make(chan struct{}, 1), gone: make(chan struct{}, 1)}
	dev, err := malgo.InitDevice(p.system.ctx.Context, cfg, malgo.DeviceCallbacks{
		Data: func(out, _ []byte, _ uint32) {
			if len(out) >= 4 && f.fill(unsafe.Slice((*float32)(unsafe.Pointer(&out[0])), len(out)/4)) {
				p.late.Add(1)
			}
		},
		Stop: func() {
			select {
			case f.gone <- struct{}{}:
			default:
			}
		},
	})
	if err != nil {
		return fmt.Errorf("%w: loudspeaker %s: %w", ErrNoDevice, info.Name, err)
	}
	p.device, p.rate, p.feed, p.opened = dev, rate, f, time.Now()
	if err := dev.Start(); err != nil {
		return fmt.Errorf("%w: loudspeaker %s: %w", ErrNoDevice, info.Name, err)
	}
	return nil
}

func (f *feed) start(s *sound) {
	f.mu.Lock()
	f.sound = s
	f.mu.Unlock()
}

// still is whether the device, open as it is, has taken nothing for so long that it counts
// as lost: not every sound system tells.
func (f *feed) still(now time.Time) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return now.Sub(f.taken) >= silence
}

func (f *feed) cut(rate int) {
	f.mu.Lock()
	if f.sound != nil && f.sound.fade == 0 {
		f.sound.fade = max(1, int(fade*time.Duration(rate)/time.Second))
		f.sound.samples = f.sound.samples[:min(len(f.sound.samples), f.sound.at+f.sound.fade)]
	}
	f.mu.Unlock()
}

// fill is called by the sound system's thread. It reports whether it was called
// too late.
func (f *feed) fill(out []float32) (late bool) {
	now := time.Now()
	f.mu.Lock()
	defer f.mu.Unlock()
	s := f.sound
	n := 0
	if s != nil {
		if s.begun.IsZero() {
			s.begun = now
			close(s.first)
		} else {
			late = now.Sub(f.taken) > playPeriod*(playPeriods+1)*time.Millisecond
		}
		n = copy(out, s.samples[s.at:])
		s.at += n
		if s.fade > 0 {
			left := len(s.samples) - s.at + n // before this copy
			for i := range n {
				out[i] *= float32(left-i) / float32(s.fade+1)
			}
		}
		if s.at == len(s.samples) {
			close(s.done)
			f.sound = nil
		}
	}
	clear(out[n:])
	f.taken = now
	select {
	case f.calls <- struct{}{}:
	default:
	}
	return late
}

// release lets device and sound system go.
func (p *Player) release() error {
	dev, sys := p.device, p.system
	p.device, p.system = nil, nil
	if dev == nil && sys == nil {
		return nil
	}
	_, err := letGo(func() error {
		if dev != nil {
			dev.Uninit()
		}
		if sys != nil {
			return sys.close()
		}
		return nil
	})
	return err
}

// Close lets go of the sound system once a sound under way has ended. It may be
// called twice.
func (p *Player) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	return p.release()
}
