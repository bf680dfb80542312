//go:build whisper && cgo

package whisper

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	lib "github.com/ggerganov/whisper.cpp/bindings/go"

	"callout/audio"
	"callout/weights"
)

// Built tells whether the recogniser is part of this program.
const Built = true

// library is held by whoever calls the library: the binding's callback tables and the log
// are process-wide. It is a channel so that a context can end the wait.
var library = make(chan struct{}, 1)

func lock()   { library <- struct{}{} }
func unlock() { <-library }

const (
	contextStep   = 256 // audio contexts are multiples of this; see the package comment
	perSecond     = 50  // encoder positions in a second of sound
	minSamples    = audio.Rate / 2
	contextMargin = 1 * time.Second // silence that the encoder sees after the clip, at least
	tokensOnTop   = 12              // tokens allowed for no time at all ...
	tokenRate     = 10              // ... and for each second; fast speech has 6
)

// Engine is one loaded model. It is safe for concurrent use; calls wait for each other.
type Engine struct {
	name    string
	log     *slog.Logger
	threads int
	stop    flag

	ctx *lib.Context // nil after Close; guarded by library

	vocab  *vocabulary
	follow map[audio.Language]*follower // guarded by library
	begun  begun                        // guarded by library
}

var (
	_ audio.Recogniser = (*Engine)(nil)
	_ audio.Scorer     = (*Engine)(nil)
)

// Open loads the ggml model at path. It returns an error that wraps ErrModel when the
// file is missing, damaged or not a model.
func Open(path string, opt Options) (*Engine, error) {
	if _, err := weights.Inspect(path); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModel, err)
	}
	sum, err := weights.Sum(path)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrModel, err)
	}
	e := &Engine{
		name:    fmt.Sprintf("whisper.cpp %s %s sha256:%s", libraryVersion(), filepath.Base(path), sum),
		log:     opt.Log,
		threads: opt.Threads,
	}
	if e.log == nil {
		e.log = slog.New(slog.DiscardHandler)
	}
	if e.threads <= 0 {
		e.threads = min(4, runtime.NumCPU())
	}
	lock()
	defer unlock()
	captureLog()
	e.ctx = lib.Whisper_init(path)
	messages := e.drain()
	if e.ctx == nil {
		return nil, fmt.Errorf("%w: %s: the library refused it: %s", ErrModel, path, lastLine(messages))
	}
	e.stop = newFlag()
	e.vocab = newVocabulary(e.ctx)
	return e, nil
}

// drain sends the library's messages to the log and returns them. Callers hold library.
func (e *Engine) drain() string {
	text := drainLog()
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			e.log.Debug("whisper library", "message", line)
		}
	}
	return text
}

func lastLine(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	return lines[len(lines)-1]
}

// Engine names library, version, model file and its SHA-256.
func (e *Engine) Engine() string { return e.name }

// Close frees the model. It waits for a running call.
func (e *Engine) Close() error {
	lock()
	defer unlock()
	if e.ctx != nil {
		e.ctx.Whisper_free()
		e.ctx = nil
		e.stop.free()
	}
	return nil
}

// Recognise decodes u greedily and, with a language, searches it for the texts that fit
// best. It implements audio.Recogniser; an utterance may be as long as the model's
// window, 30 s, and longer ones give audio.ErrTooLong. When ctx ends
// during the call it returns after the encoder or decoder pass that is running.
func (e *Engine) Recognise(ctx context.Context, u audio.Utterance, h audio.Hints) (audio.Transcript, error) {
	begun := time.Now()
	if len(u.Samples) == 0 {
		return audio.Transcript{}, audio.ErrNoSpeech
	}
	select {
	case library <- struct{}{}:
		defer unlock()
	case <-ctx.Done():
	}
	if ctx.Err() != nil {
		return audio.Transcript{}, context.Cause(ctx)
	}
	if e.ctx == nil {
		return audio.Transcript{}, audio.ErrClosed
	}
	whole := e.ctx.Whisper_n_audio_ctx()
	need := perSecond * len(u.Samples) / audio.Rate
	if need > whole {
		return audio.Transcript{}, fmt.Errorf("whisper: %w: %s, at most %d s", audio.ErrTooLong, u.Duration().Round(time.Millisecond), whole/perSecond)
	}
	e.stop.set(flagRun)
	defer e.watch(ctx)()

	var t audio.Transcript
	for size := firstContext(need, whole); ; size = min(size+contextStep, whole) {
		looped, err := e.decode(ctx, u.Samples, h, size, &t)
		if ctx.Err() != nil {
			return audio.Transcript{}, context.Cause(ctx)
		}
		if err != nil {
			return audio.Transcript{}, err
		}
		if !looped {
			t.Window = size
			break
		}
		e.log.Debug("whisper repeats itself", "context", size)
		if size == whole {
			// No context helps: words that are certainly wrong are not handed on.
			return audio.Transcript{}, fmt.Errorf("whisper: the model only repeats itself: %w", audio.ErrNoSpeech)
		}
	}
	t.Took = time.Since(begun)
	if t.Text == "" || silent(t) {
		return audio.Transcript{NoSpeech: t.NoSpeech, Took: t.Took}, audio.ErrNoSpeech
	}
	return t, nil
}

// silent applies the reference implementation's rule for sound without speech: the
// no-speech token is likely and the text is not (its defaults: 0.6, and -1 a token).
// Source: openai-whisper, transcribe.py, no_speech_threshold and logprob_threshold.
func silent(t audio.Transcript) bool {
	var sum float64
	for _, w := range t.Words {
		sum += w.LogProb
	}
	return t.NoSpeech > 0.6 && sum < -1*float64(len(t.Words))
}

// watch stops the library when ctx ends. The function it returns ends the watch, and
// waits for it, so that it never stops a later call. Callers hold library.
func (e *Engine) watch(ctx context.Context) func() {
	ended := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		e.stop.set(flagStop)
		close(ended)
	})
	return func() {
		if !stop() {
			<-ended
		}
	}
}

// firstContext is the smallest multiple of contextStep that holds need positions and
// the margin, or the whole window.
func firstContext(need, whole int) int {
	need += int(contextMargin.Seconds() * perSecond)
	return min((need+contextStep-1)/contextStep*contextStep, whole)
}

// decode makes one attempt with a window of size positions. Callers hold library.
func (e *Engine) decode(ctx context.Context, samples []float32, h audio.Hints, size int, t *audio.Transcript) (looped bool, err error) {
	if hasRows() {
		return e.search(ctx, samples, h, size, t)
	}
	return e.pass(samples, h.Prompt, size, t)
}

// pass runs the library once and reads its result into t. Callers hold library.
func (e *Engine) pass(samples []float32, hint string, size int, t *audio.Transcript) (looped bool, err error) {
	if len(samples) < minSamples { // the library hears nothing in very short sound
		samples = append(samples[:len(samples):len(samples)], make([]float32, minSamples-len(samples))...)
	}
	p := e.ctx.Whisper_full_default_params(lib.SAMPLING_GREEDY)
	p.SetThreads(e.threads)
	p.SetPrintProgress(false)
	p.SetPrintTimestamps(false)
	p.SetNoContext(true)
	p.SetSingleSegment(true)
	limit := tokensOnTop + tokenRate*len(samples)/audio.Rate
	p.SetMaxTokensPerSegment(limit)
	p.SetTemperatureFallback(-1)
	p.SetAudioCtx(size)
	tune(&p, e.stop)
	if hint != "" {
		text := setPrompt(&p, strings.ReplaceAll(hint, "\x00", " "))
		defer text.free()
	}
	err = e.ctx.Whisper_full(p, samples, nil, nil, nil)
	messages := e.drain()
	if e.stop.get() == flagLoop {
		e.stop.set(flagRun)
		return true, nil
	}
	if err != nil {
		return false, fmt.Errorf("whisper: the library failed: %s", errors.Join(err, errors.New(lastLine(messages))))
	}
	ids := e.read(t)
	if t.NoSpeech, err = noSpeechProb(e.ctx, e.threads); err != nil {
		return false, fmt.Errorf("whisper: the library failed: %w", err)
	}
	return len(ids) >= limit || loops(ids), nil
}

// token is one piece of text of a result.
type token struct {
	text string
	log  float64
}

// read collects the last result into t and returns its text tokens. Callers hold library.
func (e *Engine) read(t *audio.Transcript) []lib.Token {
	var ids []lib.Token
	var tokens []token
	eot := e.ctx.Whisper_token_eot()
	for s := range e.ctx.Whisper_full_n_segments() {
		for i := range e.ctx.Whisper_full_n_tokens(s) {
			id := e.ctx.Whisper_full_get_token_id(s, i)
			if id >= eot { // special tokens come last
				continue
			}
			ids = append(ids, id)
			tokens = append(tokens, token{e.ctx.Whisper_full_get_token_text(s, i), tokenLogProb(e.ctx, s, i)})
		}
	}
	*t = audio.Transcript{Words: words(tokens), LogLikelihood: math.NaN()}
	t.Text = join(t.Words)
	return ids
}
