//go:build cgo

package device

import (
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"time"
	"unsafe"

	"github.com/gen2brain/malgo"
)

// real lists the backends that lead to a device. The library would fall back to
// its silent backend by itself, and speech would be lost unnoticed; so would
// ALSA's pseudo devices lose it, on a machine that has no card. JACK is left out:
// where its library finds no server it writes to standard error and may crash.
func real() []malgo.Backend {
	list := []malgo.Backend{malgo.BackendWasapi, malgo.BackendDsound, malgo.BackendWinmm, malgo.BackendCoreaudio, malgo.BackendPulseaudio}
	if cards, err := filepath.Glob("/dev/snd/pcm*"); err == nil && len(cards) > 0 {
		list = append(list, malgo.BackendAlsa)
	}
	return list
}

// system is one connexion to the sound system.
type system struct {
	ctx  *malgo.AllocatedContext
	once sync.Once
}

func openSystem(backends []malgo.Backend) (*system, error) {
	ctx, err := malgo.InitContext(backends, malgo.ContextConfig{}, nil)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoDevice, err)
	}
	return &system{ctx: ctx}, nil
}

func (s *system) close() error {
	var err error
	s.once.Do(func() {
		err = s.ctx.Uninit()
		s.ctx.Free()
	})
	return err
}

// find gives the device that want means, with the pointer that the library
// wants for it: nil for the default, so that the sound system may move it.
func (s *system) find(kind malgo.DeviceType, want Choice, known ids) (Info, unsafe.Pointer, error) {
	devices, err := s.ctx.Devices(kind)
	if err != nil {
		return Info{}, nil, fmt.Errorf("%w: %w", ErrNoDevice, err)
	}
	infos := make([]Info, len(devices))
	for i, d := range devices {
		infos[i] = Info{Name: d.Name(), ID: d.ID.String(), Default: d.IsDefault != 0}
	}
	found, err := Find(infos, want)
	if err != nil || want == (Choice{}) {
		return found, nil, err
	}
	for i, d := range devices {
		if infos[i] == found {
			return found, known.pointer(d.ID), nil
		}
	}
	return found, nil, ErrNoDevice
}

// patience is how long a device may take to be let go.
const patience = time.Second

// letGo runs close, which lets a device go, and reports whether it came to an
// end. Where a server took the device away, the library may wait for an answer
// that never comes; then it is left behind with its thread.
func letGo(close func() error) (ended bool, err error) {
	done := make(chan error, 1)
	go func() { done <- close() }()
	select {
	case err = <-done:
		return true, err
	case <-time.After(patience):
		return false, nil
	}
}

// ids keeps the C copies of device ids, which the binding never frees: a device
// that comes and goes for hours has one.
type ids map[malgo.DeviceID]unsafe.Pointer

func (m ids) pointer(id malgo.DeviceID) unsafe.Pointer {
	p, ok := m[id]
	if !ok {
		p = id.Pointer()
		m[id] = p
	}
	return p
}

// List gives the microphones and the loudspeakers that there are.
func List() (microphones, loudspeakers []Info, err error) {
	s, err := openSystem(real())
	if err != nil {
		return nil, nil, err
	}
	for kind, list := range map[malgo.DeviceType]*[]Info{malgo.Capture: &microphones, malgo.Playback: &loudspeakers} {
		devices, e := s.ctx.Devices(kind)
		if e != nil {
			err = errors.Join(err, fmt.Errorf("device: %w", e))
		}
		for _, d := range devices {
			*list = append(*list, Info{Name: d.Name(), ID: d.ID.String(), Default: d.IsDefault != 0})
		}
	}
	return microphones, loudspeakers, errors.Join(err, s.close())
}
