//go:build !cgo

package device

import (
	"context"
	"time"
)

// Player is not available without cgo.
type Player struct{}

// OpenPlayer returns ErrNoDevice.
func OpenPlayer() (*Player, error) { return nil, ErrNoDevice }

// OpenLoudspeaker returns ErrNoDevice.
func OpenLoudspeaker(Choice) (*Player, error) { return nil, ErrNoDevice }

// Name is empty.
func (p *Player) Name() string { return "" }

// Choice is the zero Choice.
func (p *Player) Choice() Choice { return Choice{} }

// Late is 0.
func (p *Player) Late() int64 { return 0 }

// Play returns ErrNoDevice.
func (p *Player) Play(context.Context, []float32, int) error { return ErrNoDevice }

// PlayTold returns ErrNoDevice.
func (p *Player) PlayTold(context.Context, []float32, int, func(time.Time)) error {
	return ErrNoDevice
}

// Close does nothing.
func (p *Player) Close() error { return nil }

// Microphone is not available without cgo.
type Microphone struct{}

// OpenMicrophone returns ErrNoDevice.
func OpenMicrophone(Choice, func(Change)) (*Microphone, error) { return nil, ErrNoDevice }

// Read returns ErrNoDevice.
func (m *Microphone) Read(context.Context, []float32) (time.Time, error) {
	return time.Time{}, ErrNoDevice
}

// Choice is the zero Choice.
func (m *Microphone) Choice() Choice { return Choice{} }

// Stats is zero.
func (m *Microphone) Stats() Stats { return Stats{} }

// Close does nothing.
func (m *Microphone) Close() error { return nil }

// List returns ErrNoDevice.
func List() (microphones, loudspeakers []Info, err error) { return nil, nil, ErrNoDevice }
