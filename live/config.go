package live

import (
	"context"
	"time"

	"callout/audio"
	"callout/prompts"
	"callout/session"
)

// Conversation is the session behind the turn. A session.Runner with its Call
// is one, by Of.
type Conversation interface {
	// Hear logs, decides, and has the answer shown; Tick what is due; Tell a
	// phrase of the book.
	Hear(ctx context.Context, u session.Utterance) error
	Tick(ctx context.Context, at time.Time) error
	Tell(ctx context.Context, at time.Time, phrase string, args prompts.Args) error
	// NextDue is the moment of the earliest running timer.
	NextDue() (time.Time, bool)
	// Foresee says what would become of u, without taking it.
	Foresee(u session.Utterance) session.Outlook
	Closed() bool
}

// Of makes a Conversation of a runner.
func Of(r *session.Runner) Conversation { return runner{r} }

type runner struct{ *session.Runner }

func (r runner) NextDue() (time.Time, bool)                  { return r.Call().NextDue() }
func (r runner) Foresee(u session.Utterance) session.Outlook { return r.Call().Foresee(u) }
func (r runner) Closed() bool                                { return r.Call().Closed() }

// Ear turns sound into words; hearing.Ear is behind it. It is called from one
// goroutine.
type Ear interface {
	Hear(ctx context.Context, sound audio.Utterance, at time.Time) (session.Utterance, error)
}

// Microphone gives 16 kHz mono sound. Read fills frame and tells when its last
// sample was there; it returns an error only when nothing more will come.
type Microphone interface {
	Read(ctx context.Context, frame []float32) (time.Time, error)
}

// Pauses say how much silence ends an utterance. Zero fields take the defaults.
type Pauses struct {
	Early  time.Duration // decoding starts; 96 ms, longer than the gaps inside most words
	Whole  time.Duration // it means something whole; 320 ms
	Number time.Duration // the same, and one more word would make another number; 550 ms
	Doubt  time.Duration // it will be asked back, as it is not clear; 550 ms
	Other  time.Duration // it means nothing yet known; 700 ms
	Longer time.Duration // a callout began and its end is missing; 1400 ms
}

// WithDefaults fills the zero fields.
func (p Pauses) WithDefaults() Pauses {
	for _, d := range []struct {
		v   *time.Duration
		def time.Duration
	}{
		{&p.Early, 96 * time.Millisecond}, {&p.Whole, 320 * time.Millisecond}, {&p.Number, 550 * time.Millisecond}, {&p.Doubt, 550 * time.Millisecond},
		{&p.Other, 700 * time.Millisecond}, {&p.Longer, 1400 * time.Millisecond},
	} {
		if *d.v == 0 {
			*d.v = d.def
		}
	}
	return p
}

func (p Pauses) needed(o session.Outlook) time.Duration {
	switch {
	case o.Unfinished:
		return p.Longer
	case o.Whole && o.Grows:
		return p.Number
	case o.Whole:
		return p.Whole
	case o.Doubtful:
		return p.Doubt
	}
	return p.Other
}

// Config is what a Session works with.
type Config struct {
	Microphone  Microphone // nil: typed only
	Detector    audio.Detector
	Ear         Ear
	Warm        func(context.Context) error // called before the ear's first utterance; may be nil
	Voice       Voice                       // nil: nothing is spoken
	Loudspeaker Loudspeaker                 // one with a method Late() int64 tells how often it ran dry
	Book        *prompts.Book
	Rate        int // words a minute
	Pauses      Pauses
	// Notice is told what a person at the screen should know, Level how loud
	// the microphone is, Timed where a turn's time went. All may be nil; they
	// are called by the loop and must not block.
	Notice func(text string)
	Level  func(Level)
	Timed  func(Timing)
}
