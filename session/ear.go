package session

import (
	"context"
	_ "embed"
	"errors"
	"math"
	"strings"
	"time"

	"callout/audio"
	"callout/joblog"
)

//go:embed data/prime.txt
var prime string

// Ear turns sound into utterances of a call. Safe for concurrent use if its
// recogniser is.
type Ear struct {
	recogniser audio.Recogniser
	hints      audio.Hints
}

// NewEar listens with r, primed with typical callouts.
func NewEar(r audio.Recogniser) *Ear {
	return &Ear{recogniser: r, hints: audio.Hints{Prompt: strings.TrimSpace(prime)}}
}

// Hear recognises one stretch of sound. Silence gives an utterance without
// text and no error. At is the moment that the utterance ended.
func (e *Ear) Hear(ctx context.Context, sound audio.Utterance, at time.Time) (Utterance, error) {
	u := Utterance{At: at, Source: joblog.Speech, Engine: e.recogniser.Engine(), Duration: sound.Duration(), Sound: sound.Samples}
	t, err := e.recogniser.Recognise(ctx, sound, e.hints)
	if errors.Is(err, audio.ErrNoSpeech) {
		return u, nil
	}
	if err != nil {
		return u, err
	}
	u.Text, u.Certainty = t.Text, certainty(t.Words)
	for _, w := range t.Words {
		if !math.IsNaN(w.LogProb) {
			u.LogLikelihood += w.LogProb
		}
	}
	for _, a := range t.Alternatives {
		u.Alternatives = append(u.Alternatives, joblog.Alternative{Text: a.Text, LogLikelihood: a.LogLikelihood})
	}
	return u, nil
}

// certainty is the probability of the least sure word: a callout is as good as
// its worst word, for that may be the number. Without probabilities it is 0.
func certainty(words []audio.Word) float64 {
	if len(words) == 0 {
		return 0
	}
	least := 0.0
	for _, w := range words {
		if math.IsNaN(w.LogProb) {
			return 0
		}
		least = math.Min(least, w.LogProb)
	}
	return math.Exp(least)
}
