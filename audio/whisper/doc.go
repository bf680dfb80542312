// Package whisper is the speech recogniser: OpenAI's Whisper models run by whisper.cpp
// on the processor. It is built with -tags whisper and cgo, against the library that
// set-up builds; without them Open returns ErrNotBuilt and all else still builds.
//
// The high-level part of the Go binding hides the decoding parameters, so this package
// uses the low-level part and, for the fields and functions that the binding lacks, three
// files with C: bridge.go, rows.go (several texts of a clip in one pass) and vad.go.
//
// Given a language, the engine follows the likeliest texts of it beside the free text, in
// the same decoder passes (search.go). The library's own grammar option and its beam
// search are not used: the one ends texts anywhere, the other draws its beams at random.
//
// Traps in the library, each met here:
//   - With flash attention, its default, attention runs over the audio context rounded
//     up to a multiple of 256 without a mask; a context that is not one reads rows that
//     an earlier clip left behind. Contexts are multiples of 256.
//   - A context little longer than the clip can make the model repeat itself with full
//     confidence. Loops are noticed and the clip is tried with the next longer context.
//   - The library drops text by a no-speech probability that, after a prompt, is one of an
//     earlier pass. It is told never to; this package computes the probability itself.
//   - The binding keeps its callbacks in unlocked maps: one lock guards every call.
//   - Aborted calls may look like silence: the context is asked after every call.
//   - Its loader reads past the end of a short file: models are inspected before.
package whisper

import (
	"errors"
	"log/slog"
)

var (
	// ErrNotBuilt is returned by Open in a program built without the recogniser.
	ErrNotBuilt = errors.New("whisper: this program was built without the speech recogniser; run make, which builds it with -tags whisper")
	// ErrModel is returned by Open for a model file that is missing or unusable.
	ErrModel = errors.New("whisper: model cannot be used")
)

// Options of Open. The zero value is ready for use.
type Options struct {
	Threads int          // of computation; 0: the lesser of 4 and the cores
	Log     *slog.Logger // receives the library's own messages at debug level; nil: none
}
