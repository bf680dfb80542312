package hearing

import (
	"time"

	"callout/audio"
)

// Heard is what the ear made of one stretch of sound.
type Heard struct {
	At            time.Time // the moment that the utterance ended
	Text          string    // empty: no words
	Certainty     float64   // 0..1, the probability that Text is what was said
	LogLikelihood float64   // natural, of Text given the sound; 0 if not known
	Alternatives  []Alternative
	Engine        string // the recognisers, as a job log names them
	Duration      time.Duration
	Sound         []float32 // at audio.Rate
	Trace         Trace
}

// Alternative is another text that was considered.
type Alternative struct {
	Text          string
	LogLikelihood float64 // natural
}

// Trace is what the recognisers made of the sound.
type Trace struct {
	First  audio.Transcript
	Second *audio.Transcript // nil: the second recogniser was not asked, or failed
}
