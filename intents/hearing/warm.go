package hearing

import (
	"context"
	"errors"

	"callout/audio"
)

// Warm hears a second of silence with everything that the ear listens with, so that the
// first utterance does not wait until memory is touched and tables are made.
func (e *Ear) Warm(ctx context.Context) error {
	silence := audio.Utterance{Samples: make([]float32, audio.Rate)}
	for _, r := range []audio.Recogniser{e.recogniser, e.second} {
		for _, l := range []audio.Language{e.answers, e.callouts} {
			if r == nil {
				continue
			}
			if _, err := r.Recognise(ctx, silence, audio.Hints{Prompt: e.prompt, Language: l}); err != nil && !errors.Is(err, audio.ErrNoSpeech) {
				return err
			}
		}
	}
	return nil
}
