//go:build whisper && cgo

package whisper

import (
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"strings"
	"unsafe"

	lib "github.com/ggerganov/whisper.cpp/bindings/go"

	"callout/audio"
)

// scoreRows is how many tokens are scored in one pass, at most; the library takes no more
// than the model's text context, 448.
const scoreRows = 384

// Score gives the natural log-likelihood of each text, its end included, given the sound:
// what a search that had come across it would have given it. It implements audio.Scorer.
// The prompt of h counts, its language does not; window is the transcript's, or 0. A text
// that can't be scored, being empty or longer than the model's context, has minus infinity.
func (e *Engine) Score(ctx context.Context, u audio.Utterance, h audio.Hints, window int, texts []string) ([]float64, error) {
	if len(u.Samples) == 0 {
		return nil, audio.ErrNoSpeech
	}
	select {
	case library <- struct{}{}:
		defer unlock()
	case <-ctx.Done():
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if e.ctx == nil {
		return nil, audio.ErrClosed
	}
	whole := e.ctx.Whisper_n_audio_ctx()
	need := perSecond * len(u.Samples) / audio.Rate
	if need > whole {
		return nil, fmt.Errorf("whisper: %w", audio.ErrTooLong)
	}
	if !hasRows() {
		return nil, errRows
	}
	e.stop.set(flagRun)
	defer e.watch(ctx)()
	defer e.drain()
	size := max(firstContext(need, whole), min(window, whole))
	if key := keyOf(u.Samples, size, h.Prompt); e.begun.key != key {
		if err := e.encode(u.Samples, size); err != nil {
			return nil, err
		}
		b, err := e.beginTexts(h.Prompt)
		if err != nil {
			return nil, err
		}
		e.begun = begun{key, b}
	} else {
		for text := range int32(beginText) { // what a search left
			rowsDrop(e.ctx, text)
		}
	}
	return e.score(ctx, texts)
}

// begin is what the decoder made of all that stands before a text.
type begin struct {
	at     []float32 // the scores of the first token
	norm   float64
	tokens int
}

// begun is a clip that was encoded last, with the beginning of its texts in the decoder's
// memory: to score more texts of it, neither has to be done again.
type begun struct {
	key key
	begin
}

// key tells clips and prompts apart.
type key struct {
	sound         uint64
	samples, size int
	prompt        string
}

func keyOf(samples []float32, size int, prompt string) key {
	h := fnv.New64a()
	h.Write(unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(samples))), 4*len(samples)))
	return key{h.Sum64(), len(samples), size, prompt}
}

// encode makes the encoder's view of a clip, with a window of size positions, what the
// decoder hears. Callers hold library.
func (e *Engine) encode(samples []float32, size int) error {
	e.begun = begun{}
	if len(samples) < minSamples { // the library hears nothing in very short sound
		samples = append(samples[:len(samples):len(samples)], make([]float32, minSamples-len(samples))...)
	}
	if err := e.ctx.Whisper_pcm_to_mel(samples, e.threads); err != nil {
		return fmt.Errorf("whisper: the library failed: %w", err)
	}
	if err := rowsStart(e.ctx, size, textsUsed); err != nil {
		return err
	}
	if err := e.ctx.Whisper_encode(0, e.threads); err != nil {
		return fmt.Errorf("whisper: the library failed: %w", err)
	}
	return nil
}

// beginTexts decodes what stands before a text.
func (e *Engine) beginTexts(prompt string) (begin, error) {
	prefix, _, err := e.prefixTokens(prompt)
	if err != nil {
		return begin{}, err
	}
	rows := make([]row, len(prefix))
	for i, t := range prefix {
		rows[i] = row{t, int32(i), beginText}
	}
	if err := rowsDecode(e.ctx, rows, 1, e.threads); err != nil {
		return begin{}, err
	}
	at, norm := scores(e.ctx, len(prefix)-1)
	return begin{append([]float32(nil), at...), norm, len(prefix)}, nil // the next pass writes over it
}

// score teacher-forces texts on the clip that was encoded, several in one pass.
func (e *Engine) score(ctx context.Context, texts []string) ([]float64, error) {
	c := e.ctx
	eot := int32(c.Whisper_token_eot())
	before := e.begun.begin
	out := make([]float64, len(texts))
	forced := make([][]int32, len(texts))
	for i, text := range texts {
		out[i] = math.Inf(-1)
		var err error
		if forced[i], err = e.tokens(text); err != nil {
			return nil, err
		}
		if n := len(forced[i]); n == 0 || before.tokens+n >= c.Whisper_n_text_ctx() || n > scoreRows {
			forced[i] = nil
		}
	}
	for from := 0; from < len(texts); {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		var rows []row
		to := from
		for ; to < len(texts) && to-from < 2*beams && len(rows)+len(forced[to]) <= scoreRows; to++ {
			if forced[to] == nil {
				continue
			}
			text := int32(to - from + 1)
			rowsCopy(c, beginText, text)
			for j, t := range forced[to] {
				rows = append(rows, row{t, int32(before.tokens + j), text})
			}
		}
		if len(rows) > 0 {
			if err := rowsDecode(c, rows, 0, e.threads); err != nil {
				e.begun = begun{}
				return nil, err
			}
		}
		at := 0
		for i := from; i < to; i++ {
			if forced[i] == nil {
				continue
			}
			sum := float64(before.at[forced[i][0]]) - before.norm
			for j := range forced[i] {
				next := eot
				if j+1 < len(forced[i]) {
					next = forced[i][j+1]
				}
				s, n := scores(c, at)
				sum += float64(s[next]) - n
				at++
			}
			out[i] = sum
			rowsDrop(c, int32(i-from+1))
		}
		from = to
	}
	return out, nil
}

// tokens is text as the model would write it after the prompt.
func (e *Engine) tokens(text string) ([]int32, error) {
	if text = strings.TrimSpace(strings.ReplaceAll(text, "\x00", " ")); text == "" {
		return nil, nil
	}
	buf := make([]lib.Token, 2*len(text)+8)
	n, err := e.ctx.Whisper_tokenize(" "+text, buf)
	if err != nil {
		return nil, fmt.Errorf("whisper: text: %w", err)
	}
	out := make([]int32, n)
	for i, id := range buf[:n] {
		out[i] = int32(id)
	}
	return out, nil
}
