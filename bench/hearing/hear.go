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

// kept is a recogniser that keeps what it made of each sound in a folder, so that what comes
// after it can be measured again without it. The ear that is measured is the product's own.
type kept struct {
	audio.Recogniser
	dir   string
	spent time.Duration // that the recogniser took for what it was asked, kept or not
	waits time.Duration // that the asker waited, for the recogniser or the folder
}

// search is changed when the recogniser's search is, so that nothing old is reused.
const search = "24 beams, 5 alike, window, noise, by sound"

// keep makes the folder's name of all that decides what a recogniser makes of a sound; it
// walks the language of p, or none.
func keep(o options, r audio.Recogniser, h audio.Hints, p *intents.Parser) *kept {
	language := ""
	if p != nil {
		language = fmt.Sprint(p.Grammar(intents.Written))
	}
	sum := sha256.Sum256([]byte(fmt.Sprint(search, r.Engine(), h.Prompt, language)))
	return &kept{Recogniser: r, dir: filepath.Join(o.parts, "heard", hex.EncodeToString(sum[:6]))}
}

// file names what is kept of a sound.
func (k *kept) file(sound audio.Utterance, ext string) string {
	h := sha256.New()
	raw := make([]byte, 0, 4*len(sound.Samples))
	for _, v := range sound.Samples {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	h.Write(raw)
	return filepath.Join(k.dir, hex.EncodeToString(h.Sum(nil)[:12])+ext)
}

// Recognise gives the transcript that is kept, or makes it.
func (k *kept) Recognise(ctx context.Context, sound audio.Utterance, h audio.Hints) (audio.Transcript, error) {
	begun := time.Now()
	defer func() { k.waits += time.Since(begun) }()
	path := k.file(sound, ".json")
	var t audio.Transcript
	known, err := read(path, &t)
	if err != nil {
		return t, err
	}
	if !known {
		if t, err = k.Recogniser.Recognise(ctx, sound, h); err != nil && !errors.Is(err, audio.ErrNoSpeech) {
			return t, err
		}
		if err := store(path, t); err != nil {
			return t, err
		}
	}
	k.spent += t.Took
	return t, nil // silence is a transcript without text
}

// scores are what a recogniser gave texts of a sound, and how long that took.
type scores struct {
	Logs map[string]float64
	Took time.Duration
}

// Score gives the likelihoods that are kept, and makes those that are missing.
func (k *kept) Score(ctx context.Context, sound audio.Utterance, h audio.Hints, window int, texts []string) ([]float64, error) {
	begun := time.Now()
	defer func() { k.waits += time.Since(begun) }()
	path := k.file(sound, ".scores.json")
	known := scores{Logs: map[string]float64{}}
	if _, err := read(path, &known); err != nil {
		return nil, err
	}
	var missing []string
	for _, text := range texts {
		if _, ok := known.Logs[text]; !ok {
			missing = append(missing, text)
		}
	}
	if len(missing) > 0 {
		scorer, ok := k.Recogniser.(audio.Scorer)
		if !ok {
			return nil, fmt.Errorf("%s can't score texts", k.Engine())
		}
		start := time.Now()
		s, err := scorer.Score(ctx, sound, h, window, missing)
		if err != nil {
			return nil, err
		}
		for i, text := range missing {
			known.Logs[text] = max(-200, s[i]) // JSON has no infinity
		}
		known.Took += time.Since(start)
		if err := store(path, known); err != nil {
			return nil, err
		}
	}
	k.spent += known.Took
	logs := make([]float64, len(texts))
	for i, text := range texts {
		logs[i] = known.Logs[text]
	}
	return logs, nil
}

// read reports false where nothing is kept.
func read(path string, into any) (bool, error) {
	raw, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return true, json.Unmarshal(raw, into)
}

func store(path string, v any) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, raw, 0o644)
}

// heard is the clip's sound, through the command, if there is one.
func (c clip) heard(ctx context.Context, through string) (audio.Utterance, error) {
	x, err := c.sound()
	if err != nil {
		return audio.Utterance{}, err
	}
	if through != "" {
		raw := make([]byte, 0, 2*len(x))
		for _, v := range x {
			raw = binary.LittleEndian.AppendUint16(raw, uint16(int16(math.Round(32767*float64(v)))))
		}
		cmd := exec.CommandContext(ctx, "sh", "-c", through)
		cmd.Stdin, cmd.Stderr = bytes.NewReader(raw), os.Stderr
		out, err := cmd.Output()
		if err != nil {
			return audio.Utterance{}, fmt.Errorf("%s: %w", through, err)
		}
		x = audiotest.Raw(out)
	}
	u := audio.Utterance{Samples: x}
	u.End = u.Duration()
	return u, nil
}
