//go:build whisper && cgo

package whisper

/*
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <whisper.h>

// The library's messages are kept, up to a limit, for Go to take after each call: a
// callback into Go would need handles. Messages come from the calling thread only, under
// the lock that guards every call.
#define CALLOUT_LOG 8192
static char  callout_log_text[CALLOUT_LOG];
static int   callout_log_used;

static void callout_log(enum ggml_log_level level, const char *text, void *user) {
	(void)level; (void)user;
	int n = (int)strlen(text);
	int room = CALLOUT_LOG - callout_log_used;
	if (n > room) n = room;
	memcpy(callout_log_text + callout_log_used, text, n);
	callout_log_used += n;
}

static const char *callout_log_take(int *used) {
	*used = callout_log_used;
	callout_log_used = 0;
	return callout_log_text;
}

static void callout_log_start(void) { whisper_log_set(callout_log, NULL); }

static bool callout_abort(void *flag) {
	return __atomic_load_n((int32_t *)flag, __ATOMIC_RELAXED) != 0;
}

static void callout_set_abort(struct whisper_full_params *p, int32_t *flag) {
	p->abort_callback = callout_abort;
	p->abort_callback_user_data = flag;
}
*/
import "C"

import (
	"sync/atomic"
	"unsafe"

	lib "github.com/ggerganov/whisper.cpp/bindings/go"
)

// The binding declares Params as the C struct itself; a library header of another size
// than this file sees fails to compile here.
var (
	_ [unsafe.Sizeof(lib.Params{}) - C.sizeof_struct_whisper_full_params]byte
	_ [C.sizeof_struct_whisper_full_params - unsafe.Sizeof(lib.Params{})]byte
)

func raw(p *lib.Params) *C.struct_whisper_full_params {
	return (*C.struct_whisper_full_params)(unsafe.Pointer(p))
}

func rawContext(c *lib.Context) *C.struct_whisper_context {
	return (*C.struct_whisper_context)(unsafe.Pointer(c))
}

func libraryVersion() string { return C.GoString(C.whisper_version()) }

// captureLog turns the library's messages away from standard error. Callers hold mutex.
func captureLog() { C.callout_log_start() }

// drainLog returns and forgets the captured messages. Callers hold mutex.
func drainLog() string {
	var n C.int
	text := C.callout_log_take(&n)
	return C.GoStringN(text, n)
}

// flag is an integer in C memory that stops a running call when it is not zero.
type flag struct{ p *C.int32_t }

func newFlag() flag { return flag{(*C.int32_t)(C.calloc(1, C.sizeof_int32_t))} }

func (f flag) set(v int32) { atomic.StoreInt32((*int32)(unsafe.Pointer(f.p)), v) }

func (f flag) free() { C.free(unsafe.Pointer(f.p)) }

// tune sets the fields that the binding has no setter for.
func tune(p *lib.Params, stop flag) {
	r := raw(p)
	r.no_timestamps = C.bool(true)
	r.suppress_nst = C.bool(true)
	r.greedy.best_of = 1
	C.callout_set_abort(r, stop.p)
}

// prompt is a text in C memory.
type prompt struct{ p *C.char }

// setPrompt points p at text; free the result after the call.
func setPrompt(p *lib.Params, text string) prompt {
	c := C.CString(text)
	raw(p).initial_prompt = c
	return prompt{c}
}

func (p prompt) free() { C.free(unsafe.Pointer(p.p)) }

func noSpeechProb(c *lib.Context, segment int) float64 {
	return float64(C.whisper_full_get_segment_no_speech_prob(rawContext(c), C.int(segment)))
}

// tokenLogProb is the natural log-probability of a token of the last result.
func tokenLogProb(c *lib.Context, segment, token int) float64 {
	return float64(C.whisper_full_get_token_data(rawContext(c), C.int(segment), C.int(token)).plog)
}
