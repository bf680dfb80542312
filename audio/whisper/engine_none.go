//go:build !whisper || !cgo

package whisper

import (
	"context"

	"callout/audio"
)

// Built tells whether the recogniser is part of this program.
const Built = false

// Engine cannot be made in this build.
type Engine struct{}

var _ audio.Recogniser = (*Engine)(nil)

// Open returns ErrNotBuilt.
func Open(string, Options) (*Engine, error) { return nil, ErrNotBuilt }

// Recognise returns ErrNotBuilt.
func (*Engine) Recognise(context.Context, audio.Utterance, audio.Hints) (audio.Transcript, error) {
	return audio.Transcript{}, ErrNotBuilt
}

// Engine says that there is none.
func (*Engine) Engine() string { return "none" }

// Close does nothing.
func (*Engine) Close() error { return nil }

// Detector cannot be made in this build.
type Detector struct{}

var _ audio.Detector = (*Detector)(nil)

// OpenDetector returns ErrNotBuilt.
func OpenDetector(string) (*Detector, error) { return nil, ErrNotBuilt }

// Score says that every frame may be speech.
func (*Detector) Score([]float32) float64 { return 0.5 }

// Reset does nothing.
func (*Detector) Reset() {}

// Close does nothing.
func (*Detector) Close() error { return nil }
