//go:build !cgo

package device

import "context"

// Player is not available without cgo.
type Player struct{}

// OpenPlayer returns ErrNoDevice.
func OpenPlayer() (*Player, error) { return nil, ErrNoDevice }

// Name is empty.
func (p *Player) Name() string { return "" }

// Play returns ErrNoDevice.
func (p *Player) Play(context.Context, []float32, int) error { return ErrNoDevice }

// Close does nothing.
func (p *Player) Close() error { return nil }
