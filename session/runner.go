package session

import (
	"context"
	"errors"
	"fmt"
	"time"

	"callout/joblog"
	"callout/prompts"
)

// Log keeps entries. Append returns once the entry is safe on disk.
type Log interface {
	Append(body joblog.Body, at time.Time) (uint64, error)
}

// Output lets people and programs see a record that is already in the log.
type Output interface {
	Show(ctx context.Context, r Record) error
}

// Runner drives a Call: each entry goes into the log, then to the outputs. If
// the log fails nothing more is said: advice that can't be recorded isn't given.
// Not safe for concurrent use; one goroutine owns it.
type Runner struct {
	call    *Call
	log     Log
	outputs []Output
	keep    Keep
	unkept  bool // told that sound can't be kept
	broken  error
}

// Keep stores the sound of the utterance that will be log entry seq, before
// that entry is written, and returns its file name and SHA-256.
type Keep func(seq uint64, sound []float32) (name, sum string, err error)

// KeepSound makes the runner keep the sound of every utterance.
func (r *Runner) KeepSound(k Keep) { r.keep = k }

// NewRunner begins with a call whose log holds exactly the entries applied to it.
func NewRunner(call *Call, log Log, outputs ...Output) *Runner {
	return &Runner{call: call, log: log, outputs: outputs}
}

// Call is the conversation, for looking at.
func (r *Runner) Call() *Call { return r.call }

// ErrLogFailed is returned by every call after the log could not be written.
var ErrLogFailed = errors.New("session: the job log can't be written")

// Begin opens a new job.
func (r *Runner) Begin(ctx context.Context, at time.Time) error { return r.do(ctx)(r.call.Begin(at)) }

// Resume goes on with a job.
func (r *Runner) Resume(ctx context.Context, at time.Time) error { return r.do(ctx)(r.call.Resume(at)) }

// Hear takes one utterance; what was due before it is told first.
func (r *Runner) Hear(ctx context.Context, u Utterance) error {
	if err := r.Tick(ctx, u.At); err != nil {
		return err
	}
	var lost error
	if r.keep != nil && len(u.Sound) > 0 {
		u.Audio, u.AudioSHA256, lost = r.keep(r.call.Entries()+1, u.Sound)
	}
	if err := r.do(ctx)(r.call.Hear(u)); err != nil {
		return err
	}
	if lost != nil && !r.unkept && !r.call.Closed() {
		r.unkept = true
		return r.Tell(ctx, u.At, "sound_not_kept", prompts.Args{"Why": lost.Error()})
	}
	return nil
}

// Tick tells what is due at the moment.
func (r *Runner) Tick(ctx context.Context, at time.Time) error {
	if due, ok := r.call.NextDue(); !ok || due.After(at) {
		return r.broken
	}
	return r.do(ctx)(r.call.Tick(at))
}

// Tell says a phrase of the book.
func (r *Runner) Tell(ctx context.Context, at time.Time, phrase string, args prompts.Args) error {
	return r.do(ctx)(r.call.Tell(at, phrase, args))
}

// Through puts something between the runner and its log, to time it.
func (r *Runner) Through(wrap func(Log) Log) { r.log = wrap(r.log) }

// do logs the records, then shows them. The whole turn is in the log before
// the first of it is shown.
func (r *Runner) do(ctx context.Context) func([]Record, error) error {
	return func(records []Record, stepErr error) error {
		if r.broken != nil {
			return r.broken
		}
		for _, rec := range records {
			seq, err := r.log.Append(rec.Body, rec.At)
			if err == nil && seq != rec.Seq {
				err = fmt.Errorf("entry %d became %d: something else writes to this log", rec.Seq, seq)
			}
			if err != nil {
				r.broken = fmt.Errorf("%w: %w", ErrLogFailed, err)
				return r.broken
			}
		}
		for _, rec := range records {
			for _, out := range r.outputs {
				if err := out.Show(ctx, rec); err != nil {
					return err
				}
			}
		}
		return stepErr
	}
}
