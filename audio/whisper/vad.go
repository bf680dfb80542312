//go:build whisper && cgo

package whisper

/*
#include <stdlib.h>
#include <whisper.h>

extern _Thread_local int callout_quiet;

// The probability of speech in the last window of the samples; negative if it failed.
static float vad_score(struct whisper_vad_context *ctx, const float *samples, int n) {
	callout_quiet = 1;
	float p = -1;
	if (whisper_vad_detect_speech_no_reset(ctx, samples, n) && whisper_vad_n_probs(ctx) > 0)
		p = whisper_vad_probs(ctx)[whisper_vad_n_probs(ctx) - 1];
	callout_quiet = 0;
	return p;
}
*/
import "C"

import (
	"fmt"
	"math"
	"os"
	"unsafe"

	"callout/audio"
)

// Detector finds speech with the library's voice-activity detector, a small neural
// network that keeps its state from frame to frame. It is not safe for concurrent use,
// and takes about a third of a millisecond a frame.
type Detector struct {
	ctx *C.struct_whisper_vad_context // nil after Close
}

var _ audio.Detector = (*Detector)(nil)

// OpenDetector loads the detector's ggml file at path. It returns an error that wraps
// ErrModel when the file is missing or is no detector.
func OpenDetector(path string) (*Detector, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModel, err)
	}
	lock()
	defer unlock()
	captureLog()
	name := C.CString(path)
	defer C.free(unsafe.Pointer(name))
	p := C.whisper_vad_default_context_params()
	p.n_threads = 1
	p.use_gpu = false
	ctx := C.whisper_vad_init_from_file_with_params(name, p)
	messages := drainLog()
	if ctx == nil {
		return nil, fmt.Errorf("%w: %s: the library refused it: %s", ErrModel, path, lastLine(messages))
	}
	d := &Detector{ctx: ctx}
	d.Reset()
	return d, nil
}

// Score implements audio.Detector. After Close, or should the library fail, every frame
// may be speech: 0.5, so that nothing said is lost.
func (d *Detector) Score(frame []float32) float64 {
	if d.ctx == nil || len(frame) == 0 {
		return 0.5
	}
	// No lock: the detector has a context of its own, and must not wait for a recogniser.
	p := float64(C.vad_score(d.ctx, (*C.float)(unsafe.Pointer(&frame[0])), C.int(len(frame))))
	if math.IsNaN(p) || p < 0 {
		return 0.5
	}
	return p
}

// Reset implements audio.Detector.
func (d *Detector) Reset() {
	if d.ctx != nil {
		C.whisper_vad_reset_state(d.ctx)
	}
}

// Close frees the detector. It may be called twice.
func (d *Detector) Close() error {
	if d.ctx != nil {
		C.whisper_vad_free(d.ctx)
		d.ctx = nil
	}
	return nil
}
