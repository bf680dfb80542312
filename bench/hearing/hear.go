package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"callout/audio"
	"callout/audio/audiotest"
	"callout/intents"
)

// heard keeps what a recogniser made of each clip in a folder, so that what comes after
// it can be measured again without it.
type heard struct {
	dir     string
	r       audio.Recogniser
	h       audio.Hints
	through string // a command that every sound goes through first; "": none
}

// search is changed when the recogniser's search is, so that nothing old is reused.
const search = "24 beams, 5 alike, window, noise"

func newHeard(o options, r audio.Recogniser, h audio.Hints, p *intents.Parser) heard {
	sum := sha256.Sum256([]byte(fmt.Sprint(search, r.Engine(), h.Prompt, p.Grammar(intents.Written), o.through)))
	return heard{filepath.Join(o.parts, "heard", hex.EncodeToString(sum[:6])), r, h, o.through}
}

// sound is the clip's, through the command.
func (k heard) sound(ctx context.Context, c clip) ([]float32, error) {
	x, err := c.sound()
	if err != nil || k.through == "" {
		return x, err
	}
	raw := make([]byte, 0, 2*len(x))
	for _, v := range x {
		raw = binary.LittleEndian.AppendUint16(raw, uint16(int16(math.Round(32767*float64(v)))))
	}
	cmd := exec.CommandContext(ctx, "sh", "-c", k.through)
	cmd.Stdin, cmd.Stderr = bytes.NewReader(raw), os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", k.through, err)
	}
	return audiotest.Raw(out), nil
}

// clip gives the transcript of a clip; silence is one without text.
func (k heard) clip(ctx context.Context, c clip) (audio.Transcript, error) {
	path := filepath.Join(k.dir, c.ID+".json")
	var t audio.Transcript
	if raw, err := os.ReadFile(path); err == nil {
		return t, json.Unmarshal(raw, &t)
	}
	x, err := k.sound(ctx, c)
	if err != nil {
		return t, err
	}
	u := audio.Utterance{Samples: x}
	u.End = u.Duration()
	t, err = k.r.Recognise(ctx, u, k.h)
	if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
		return t, err
	}
	t.Noise = audio.Noise(x)
	raw, err := json.Marshal(t)
	if err != nil {
		return t, err
	}
	if err := os.MkdirAll(k.dir, 0o755); err != nil {
		return t, err
	}
	return t, os.WriteFile(path, raw, 0o644)
}

// scores are what a recogniser gave texts of a clip, and how long that took.
type scores struct {
	Logs map[string]float64
	Took time.Duration
}

// scored adds to a transcript of a clip how likely the recogniser holds texts.
func (k heard) scored(ctx context.Context, c clip, t *audio.Transcript, texts []string) error {
	path := filepath.Join(k.dir, c.ID+".scores.json")
	known := scores{Logs: map[string]float64{}}
	if raw, err := os.ReadFile(path); err == nil {
		if err := json.Unmarshal(raw, &known); err != nil {
			return err
		}
	}
	var missing []string
	for _, text := range texts {
		if _, ok := known.Logs[text]; !ok {
			missing = append(missing, text)
		}
	}
	if len(missing) > 0 {
		x, err := k.sound(ctx, c)
		if err != nil {
			return err
		}
		begun := time.Now()
		s, err := k.r.(audio.Scorer).Score(ctx, audio.Utterance{Samples: x}, k.h, t.Window, missing)
		if err != nil {
			return err
		}
		for i, text := range missing {
			known.Logs[text] = max(-200, s[i]) // JSON has no infinity
		}
		known.Took += time.Since(begun)
		raw, err := json.Marshal(known)
		if err != nil {
			return err
		}
		if err := os.WriteFile(path, raw, 0o644); err != nil {
			return err
		}
	}
	for _, text := range texts {
		t.Scored = append(t.Scored, audio.Hypothesis{Text: text, LogLikelihood: known.Logs[text]})
	}
	t.Took += known.Took
	return nil
}
