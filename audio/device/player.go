//go:build cgo

package device

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/gen2brain/malgo"
)

// real lists the backends that lead to a loudspeaker. The library would fall
// back to its silent backend by itself, and speech would be lost unnoticed.
var real = []malgo.Backend{
	malgo.BackendWasapi, malgo.BackendDsound, malgo.BackendWinmm, malgo.BackendCoreaudio,
	malgo.BackendPulseaudio, malgo.BackendAlsa, malgo.BackendJack,
}

// Player plays on the default loudspeaker. Safe for concurrent use: one sound
// at a time, the others wait.
type Player struct {
	mu   sync.Mutex
	ctx  *malgo.AllocatedContext
	name string
	once sync.Once
}

// OpenPlayer finds the default loudspeaker. It returns an error wrapping
// ErrNoDevice if there is none.
func OpenPlayer() (*Player, error) { return openPlayer(real) }

func openPlayer(backends []malgo.Backend) (*Player, error) {
	ctx, err := malgo.InitContext(backends, malgo.ContextConfig{}, nil)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoDevice, err)
	}
	p := &Player{ctx: ctx}
	list, err := ctx.Devices(malgo.Playback)
	if err != nil || len(list) == 0 {
		return nil, fmt.Errorf("%w (%w)", ErrNoDevice, firstError(err, p.Close()))
	}
	p.name = list[0].Name()
	for _, d := range list {
		if d.IsDefault != 0 {
			p.name = d.Name()
		}
	}
	return p, nil
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return ErrNoDevice
}

// Name is the loudspeaker's name, as the system gives it.
func (p *Player) Name() string { return p.name }

// drain is how long the device is left open after the last sample was handed
// over, so that its own buffer is heard.
const drain = 120 * time.Millisecond

// Play plays mono samples (-1..1) at rate Hz and returns when they have been
// heard, when ctx is done, or when the device has taken nothing for two seconds.
func (p *Player) Play(ctx context.Context, samples []float32, rate int) error {
	if len(samples) == 0 {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	cfg := malgo.DefaultDeviceConfig(malgo.Playback)
	cfg.Playback.Format, cfg.Playback.Channels, cfg.SampleRate = malgo.FormatF32, 1, uint32(rate)
	var at int // owned by the device's thread
	done, taken := make(chan struct{}), make(chan struct{}, 1)
	dev, err := malgo.InitDevice(p.ctx.Context, cfg, malgo.DeviceCallbacks{Data: func(out, _ []byte, _ uint32) {
		finished := at >= len(samples)
		for i := 0; i+4 <= len(out); i += 4 {
			var v float32
			if at < len(samples) {
				v = samples[at]
				at++
			}
			binary.NativeEndian.PutUint32(out[i:], math.Float32bits(v))
		}
		if !finished && at >= len(samples) {
			close(done)
		}
		select {
		case taken <- struct{}{}:
		default:
		}
	}})
	if err != nil {
		return fmt.Errorf("device: opening %s: %w", p.name, err)
	}
	defer dev.Uninit()
	if err := dev.Start(); err != nil {
		return fmt.Errorf("device: starting %s: %w", p.name, err)
	}
	const stuck = 2 * time.Second
	watchdog := time.NewTimer(stuck)
	defer watchdog.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-taken:
			watchdog.Reset(stuck)
		case <-watchdog.C:
			return fmt.Errorf("device: %s takes no sound", p.name)
		case <-done:
			select {
			case <-time.After(drain):
			case <-ctx.Done():
			}
			return ctx.Err()
		}
	}
}

// Close lets go of the sound system. It may be called twice.
func (p *Player) Close() error {
	var err error
	p.once.Do(func() {
		err = p.ctx.Uninit()
		p.ctx.Free()
	})
	return err
}
