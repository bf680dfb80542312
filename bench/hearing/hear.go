package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"callout/audio"
	"callout/intents"
)

// heard keeps what a recogniser made of each clip in a folder, so that what comes after
// it can be measured again without it.
type heard struct {
	dir string
	r   audio.Recogniser
	h   audio.Hints
}

// search is changed when the recogniser's search is, so that nothing old is reused.
const search = "16 beams"

func newHeard(parts string, r audio.Recogniser, h audio.Hints, p *intents.Parser) heard {
	sum := sha256.Sum256([]byte(fmt.Sprint(search, r.Engine(), h.Prompt, p.Grammar(intents.Written))))
	return heard{filepath.Join(parts, "heard", hex.EncodeToString(sum[:6])), r, h}
}

// clip gives the transcript of a clip; silence is one without text.
func (k heard) clip(ctx context.Context, c clip, other []float32) (audio.Transcript, error) {
	path := filepath.Join(k.dir, c.ID+".json")
	var t audio.Transcript
	if raw, err := os.ReadFile(path); err == nil {
		return t, json.Unmarshal(raw, &t)
	}
	x, err := c.sound(other)
	if err != nil {
		return t, err
	}
	u := audio.Utterance{Samples: x}
	u.End = u.Duration()
	t, err = k.r.Recognise(ctx, u, k.h)
	if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
		return t, err
	}
	raw, err := json.Marshal(t)
	if err != nil {
		return t, err
	}
	if err := os.MkdirAll(k.dir, 0o755); err != nil {
		return t, err
	}
	return t, os.WriteFile(path, raw, 0o644)
}
