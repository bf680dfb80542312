package main

import (
	"context"
	"errors"

	"callout/audio"
	"callout/audio/audiotest"
)

// wordsWrong counts the words of people's recordings and those heard wrong.
func wordsWrong(ctx context.Context, r audio.Recogniser, h audio.Hints) (words, wrong int, err error) {
	said, err := audiotest.People()
	if err != nil {
		return 0, 0, err
	}
	address, text, err := audiotest.Address(ctx)
	if err != nil {
		return 0, 0, err
	}
	said[address] = text
	for path, text := range said {
		x, err := audiotest.ReadSound(path)
		if err != nil {
			return 0, 0, err
		}
		t, err := r.Recognise(ctx, audio.Utterance{Samples: x}, h)
		if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
			return 0, 0, err
		}
		want := audiotest.Spelled(text)
		words, wrong = words+len(want), wrong+audiotest.Distance(want, audiotest.Spelled(t.Text))
	}
	return words, wrong, nil
}
