// Package audiotest has what tests need in place of sound and recognisers: a recogniser
// that says what it is told to, and the checks that every recogniser must pass.
package audiotest

import (
	"context"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"callout/audio"
)

// Reply is what a Script answers to one utterance.
type Reply struct {
	Text         string             // heard; empty: audio.ErrNoSpeech
	LogProb      float64            // of each word; 0 is certainty
	NoSpeech     float64            // 0 to 1
	Alternatives []audio.Hypothesis // as in audio.Transcript
	Err          error              // returned in place of the text
	Delay        time.Duration      // before the answer; the context is obeyed meanwhile
}

// Script is an audio.Recogniser that gives its replies in order, whatever the sound, and
// audio.ErrNoSpeech when they are used up or the sound is silence. It is safe for
// concurrent use.
type Script struct {
	mu      sync.Mutex
	replies []Reply
	heard   []Heard
	closed  bool
}

// Heard is one call that a Script answered.
type Heard struct {
	Utterance audio.Utterance
	Hints     audio.Hints
}

var _ audio.Recogniser = (*Script)(nil)

// NewScript makes a Script.
func NewScript(replies ...Reply) *Script { return &Script{replies: replies} }

// Say makes a Script that hears each text with certainty.
func Say(texts ...string) *Script {
	s := &Script{}
	for _, t := range texts {
		s.replies = append(s.replies, Reply{Text: t})
	}
	return s
}

// Calls returns the calls answered so far, in order.
func (s *Script) Calls() []Heard {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Heard(nil), s.heard...)
}

// Recognise implements audio.Recogniser.
func (s *Script) Recognise(ctx context.Context, u audio.Utterance, h audio.Hints) (audio.Transcript, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.closed:
		return audio.Transcript{}, audio.ErrClosed
	case ctx.Err() != nil:
		return audio.Transcript{}, context.Cause(ctx)
	case silent(u.Samples) || len(s.replies) == 0:
		return audio.Transcript{NoSpeech: 1}, audio.ErrNoSpeech
	}
	r := s.replies[0]
	s.replies = s.replies[1:]
	s.heard = append(s.heard, Heard{u, h})
	if r.Delay > 0 {
		select {
		case <-ctx.Done():
			return audio.Transcript{}, context.Cause(ctx)
		case <-time.After(r.Delay):
		}
	}
	t := audio.Transcript{NoSpeech: r.NoSpeech, Alternatives: r.Alternatives, Took: r.Delay}
	for _, w := range strings.Fields(r.Text) {
		t.Words = append(t.Words, audio.Word{Text: w, LogProb: r.LogProb})
	}
	t.Text = strings.Join(strings.Fields(r.Text), " ")
	switch {
	case r.Err != nil:
		return audio.Transcript{}, fmt.Errorf("audiotest: scripted: %w", r.Err)
	case t.Text == "":
		return t, audio.ErrNoSpeech
	}
	return t, nil
}

func silent(samples []float32) bool {
	for _, s := range samples {
		if math.Abs(float64(s)) > 1e-4 {
			return false
		}
	}
	return true
}

// Engine implements audio.Recogniser.
func (s *Script) Engine() string { return "audiotest script" }

// Close implements audio.Recogniser.
func (s *Script) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return nil
}
