//go:build whisper && cgo

package whisper

/*
#include <stdint.h>
#include <stdlib.h>
#include <whisper.h>

// What setup/rows.patch adds to the library; not there in a library from elsewhere.
__attribute__((weak)) int  callout_rows_start (struct whisper_context *ctx, int audio_ctx, int texts);
__attribute__((weak)) void callout_rows_copy  (struct whisper_context *ctx, int from, int to, int length);
__attribute__((weak)) void callout_rows_drop  (struct whisper_context *ctx, int text);
__attribute__((weak)) int  callout_rows_decode(struct whisper_context *ctx, const int32_t *token, const int32_t *pos, const int32_t *text, int n, int kept, int n_threads);
__attribute__((weak)) double callout_rows_norm(struct whisper_context *ctx, int row);

static int has_rows(void) { return callout_rows_decode != NULL; }
static int rows_start(struct whisper_context *ctx, int audio_ctx, int texts) { return callout_rows_start(ctx, audio_ctx, texts); }
static void rows_copy(struct whisper_context *ctx, int from, int to) { callout_rows_copy(ctx, from, to, -1); }
static void rows_drop(struct whisper_context *ctx, int text) { callout_rows_drop(ctx, text); }
static int rows_decode(struct whisper_context *ctx, const int32_t *token, const int32_t *pos, const int32_t *text, int n, int kept, int threads) {
	return callout_rows_decode(ctx, token, pos, text, n, kept, threads);
}
static double rows_norm(struct whisper_context *ctx, int row) { return callout_rows_norm(ctx, row); }
*/
import "C"

import (
	"errors"
	"unsafe"

	lib "github.com/ggerganov/whisper.cpp/bindings/go"
)

var errRows = errors.New("whisper: the library failed to score a text")

// hasRows reports whether the library can score several texts in one pass.
func hasRows() bool { return C.has_rows() != 0 }

// row is one token at a position of a text.
type row struct{ token, pos, text int32 }

// rowsStart empties the decoder's memory and sets the encoder's window.
func rowsStart(c *lib.Context, window, texts int) error {
	if C.rows_start(rawContext(c), C.int(window), C.int(texts)) != 0 {
		return errRows
	}
	return nil
}

// rowsCopy makes text to begin with all that text from has.
func rowsCopy(c *lib.Context, from, to int32) { C.rows_copy(rawContext(c), C.int(from), C.int(to)) }

func rowsDrop(c *lib.Context, text int32) { C.rows_drop(rawContext(c), C.int(text)) }

// rowsDecode scores rows, of which the last kept (0: all) can be read with scores.
func rowsDecode(c *lib.Context, rows []row, kept, threads int) error {
	n := len(rows)
	flat := make([]C.int32_t, 3*n)
	for i, r := range rows {
		flat[i], flat[n+i], flat[2*n+i] = C.int32_t(r.token), C.int32_t(r.pos), C.int32_t(r.text)
	}
	if C.rows_decode(rawContext(c), &flat[0], &flat[n], &flat[2*n], C.int(n), C.int(kept), C.int(threads)) != 0 {
		return errRows
	}
	return nil
}

// scores is the row's scores over the vocabulary, and their log-norm: the natural
// log-probability of token t is s[t]-norm. They are valid until the next pass.
func scores(c *lib.Context, row int) (s []float32, norm float64) {
	n := c.Whisper_n_vocab()
	all := unsafe.Slice((*float32)(unsafe.Pointer(C.whisper_get_logits(rawContext(c)))), (row+1)*n)
	s = all[row*n:]
	return s, float64(C.rows_norm(rawContext(c), C.int(row)))
}

func noSpeechToken(c *lib.Context) int { return int(C.whisper_token_nosp(rawContext(c))) }
