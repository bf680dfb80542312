//go:build whisper && cgo

package whisper

/*
#include <math.h>
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

// Set while the voice-activity detector runs, which needs no lock and must not write here.
_Thread_local int callout_quiet;

static void callout_log(enum ggml_log_level level, const char *text, void *user) {
	(void)level; (void)user;
	if (callout_quiet) return;
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

// The probability of the no-speech token by the logits of the last decoder pass.
static double callout_no_speech(struct whisper_context *ctx) {
	const float *logits = whisper_get_logits(ctx);
	int n = whisper_n_vocab(ctx);
	float most = logits[0];
	for (int i = 1; i < n; i++) if (logits[i] > most) most = logits[i];
	double sum = 0;
	for (int i = 0; i < n; i++) sum += exp(logits[i] - most);
	return exp(logits[whisper_token_nosp(ctx)] - most) / sum;
}

// Whether the last times runs of size tokens are equal.
static bool callout_runs(const whisper_token *ids, int n, int size, int times) {
	if (size * times > n) return false;
	for (int i = n - size * (times - 1); i < n; i++)
		if (ids[i] != ids[i - size]) return false;
	return true;
}

// Whether the tokens end in a loop: a run of 3 to 5 three times, a longer one twice, or
// one or two tokens eight times. Less is speech: "no, no, no", "two two two two".
static bool callout_loops(const whisper_token *ids, int n) {
	for (int size = 1; 2 * size <= n; size++)
		if (callout_runs(ids, n, size, size < 3 ? 8 : size < 6 ? 3 : 2)) return true;
	return false;
}

#define CALLOUT_TOKENS 512

// Called before each token is chosen; it changes nothing, but stops a loop at once.
static void callout_watch(struct whisper_context *ctx, struct whisper_state *state,
		const whisper_token_data *tokens, int n, float *logits, void *flag) {
	(void)ctx; (void)state; (void)logits;
	whisper_token ids[CALLOUT_TOKENS];
	int from = n > CALLOUT_TOKENS ? n - CALLOUT_TOKENS : 0;
	for (int i = from; i < n; i++) ids[i - from] = tokens[i].id;
	int32_t running = 0;
	if (callout_loops(ids, n - from))
		__atomic_compare_exchange_n((int32_t *)flag, &running, 2, false, __ATOMIC_RELAXED, __ATOMIC_RELAXED);
}

static void callout_set_stop(struct whisper_full_params *p, int32_t *flag) {
	p->abort_callback = callout_abort;
	p->abort_callback_user_data = flag;
	p->logits_filter_callback = callout_watch;
	p->logits_filter_callback_user_data = flag;
}
*/
import "C"

import (
	"math"
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

// captureLog turns the library's messages away from standard error. Callers hold library.
func captureLog() { C.callout_log_start() }

// drainLog returns and forgets the captured messages. Callers hold library.
func drainLog() string {
	var n C.int
	text := C.callout_log_take(&n)
	return C.GoStringN(text, n)
}

// flag is an integer in C memory that stops a running call when it is not zero.
type flag struct{ p *C.int32_t }

const (
	flagRun  = 0
	flagStop = 1 // the caller's context ended
	flagLoop = 2 // the text repeats itself
)

func newFlag() flag { return flag{(*C.int32_t)(C.calloc(1, C.sizeof_int32_t))} }

func (f flag) set(v int32) { atomic.StoreInt32((*int32)(unsafe.Pointer(f.p)), v) }

func (f flag) get() int32 { return atomic.LoadInt32((*int32)(unsafe.Pointer(f.p))) }

func (f flag) free() { C.free(unsafe.Pointer(f.p)) }

// tune sets the fields that the binding has no setter for.
func tune(p *lib.Params, stop flag) {
	r := raw(p)
	r.no_timestamps = C.bool(true)
	r.suppress_nst = C.bool(true)
	r.greedy.best_of = 1
	// The library drops text by its own no-speech probability, which it reads from the
	// first row of the scores. After a prompt of more than one token that row is what an
	// earlier pass, of an earlier clip perhaps, left there. silent decides instead.
	r.no_speech_thold = 2
	r.logprob_thold = C.float(math.Inf(-1))
	C.callout_set_stop(r, stop.p)
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

// noSpeechProb is the probability that nothing is said in the sound that was encoded
// last. As in the reference implementation it is read at the start token, which is
// decoded alone once more for that; the library's own is wrong, see tune.
func noSpeechProb(c *lib.Context, threads int) (float64, error) {
	if err := c.Whisper_decode([]lib.Token{c.Whisper_token_sot()}, 0, threads); err != nil {
		return 0, err
	}
	return float64(C.callout_no_speech(rawContext(c))), nil
}

// tokenLogProb is the natural log-probability of a token of the last result.
func tokenLogProb(c *lib.Context, segment, token int) float64 {
	return float64(C.whisper_full_get_token_data(rawContext(c), C.int(segment), C.int(token)).plog)
}

// loops reports whether ids end in a loop.
func loops(ids []lib.Token) bool {
	if len(ids) == 0 {
		return false
	}
	return bool(C.callout_loops((*C.whisper_token)(unsafe.Pointer(&ids[0])), C.int(len(ids))))
}
