// Package audio is the sound end of callout: clips and utterances, the cutting of a
// recording into utterances, and what a speech recogniser is. It knows no trade and no
// particular recogniser or sound device; those live in packages of their own below it.
//
// Sound is mono float32, -1 to 1. Unless a type says otherwise the rate is Rate.
package audio

import (
	"context"
	"errors"
	"time"
)

// Rate is the sample rate of utterances, in hertz.
const Rate = 16000

var (
	// ErrNoSpeech is returned by a Recogniser that heard no words.
	ErrNoSpeech = errors.New("audio: no speech")
	// ErrTooLong is returned for an utterance longer than the recogniser's window.
	ErrTooLong = errors.New("audio: utterance too long")
	// ErrFormat is returned for a file that is not sound this package can read.
	ErrFormat = errors.New("audio: not a readable WAV file")
	// ErrClosed is returned by a Recogniser after Close.
	ErrClosed = errors.New("audio: recogniser is closed")
)

// Utterance is one stretch of speech at Rate. Samples belong to the receiver.
type Utterance struct {
	Samples []float32
	Start   time.Duration // since the start of the recording or session
	End     time.Duration
}

// Duration is the length of the sound.
func (u Utterance) Duration() time.Duration { return duration(len(u.Samples), Rate) }

func duration(samples, rate int) time.Duration {
	return time.Duration(samples) * time.Second / time.Duration(rate)
}

// Word is one word as heard. LogProb is the natural logarithm of the probability of its
// tokens given the sound and the words before, without the influence of any grammar;
// NaN if the engine cannot tell.
type Word struct {
	Text    string
	LogProb float64
}

// Hypothesis is a whole alternative text with its total log-likelihood (natural).
type Hypothesis struct {
	Text          string
	LogLikelihood float64
}

// Transcript is what was heard in one utterance.
type Transcript struct {
	Text          string
	Words         []Word
	LogLikelihood float64      // of the text and its end (natural); NaN if unknown
	NoSpeech      float64      // probability that nothing was said, 0 to 1
	Noise         float64      // under the speech, dB, as the function Noise has it; set by who gives the sound
	Alternatives  []Hypothesis // best first, the text itself included; nil if unknown
	Fit           []Hypothesis // texts of Hints.Language, best first; nil without one
	Scored        []Hypothesis // texts found elsewhere, by Scorer
	Took          time.Duration
	Window        int // how much the engine listened to, in its own measure; Scorer wants it
}

// Hints tell a recogniser what to expect.
type Hints struct {
	// Prompt is text in the style of what may be said. Engines may keep only its end.
	Prompt string
	// Language, if set, asks for the best texts of that language beside the free text.
	// Engines that can't search in one give no Fit.
	Language Language
}

// Language is a set of texts, as a machine that reads them byte by byte. Texts begin
// with a space, as recognisers write them. Implementations are deterministic and safe
// for concurrent use.
type Language interface {
	// Start is the state before the first byte.
	Start() int
	// Step is the state after one more byte, or false when no text goes on so.
	Step(state int, b byte) (int, bool)
	// Whole reports whether a text may end here.
	Whole(state int) bool
}

// Scorer is a recogniser that can also say how likely texts are which it did not find by
// itself.
type Scorer interface {
	// Score gives the natural log-likelihood of each text, its end included, given the
	// sound and the prompt; minus infinity for a text that can't be scored. Window is that
	// of the recogniser's transcript of the same sound. It fails as Recognise does.
	Score(ctx context.Context, u Utterance, h Hints, window int, texts []string) ([]float64, error)
}

// Recogniser turns one utterance into words.
//
// Recognise returns ErrNoSpeech when it heard none, the context's cause when it was
// stopped, and ErrClosed after Close. An utterance's result does not depend on earlier
// ones. Engine names engine, model and version for the job log. Close may be called
// twice. Implementations are safe for concurrent use; calls may wait for each other.
type Recogniser interface {
	Recognise(ctx context.Context, u Utterance, h Hints) (Transcript, error)
	Engine() string
	Close() error
}
