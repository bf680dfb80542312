// Package speech makes sound of what callout has to say: a Voice turns text
// into samples, a Sink lets them be heard or keeps them.
package speech

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"strconv"
	"strings"

	"callout/audio"
)

// Voice turns a text into sound. Implementations are safe for concurrent use.
type Voice interface {
	// Synthesise returns mono samples. It stops when ctx is done.
	Synthesise(ctx context.Context, text string) (audio.Clip, error)
	// Name tells which voice it is, for `callout ready` and the job log.
	Name() string
}

// Sink takes finished sound.
type Sink interface {
	// Play returns when the sound was heard or kept, or ctx is done.
	Play(ctx context.Context, samples []float32, rate int) error
	// Name tells where the sound goes.
	Name() string
	Close() error
}

// ErrNoVoice is returned when the voice's program is not installed.
var ErrNoVoice = errors.New("speech: espeak-ng is not installed (Debian: apt-get install espeak-ng)")

// Espeak speaks with the espeak-ng program, run as a program of its own.
type Espeak struct {
	path, voice string
	rate        int
}

// NewEspeak finds espeak-ng. Voice is one of its voice names, such as "en-us";
// rate is in words a minute, 80 to 450. ErrNoVoice if the program is missing.
func NewEspeak(voice string, rate int) (*Espeak, error) {
	if rate < 80 || rate > 450 {
		return nil, fmt.Errorf("speech: rate %d words a minute is outside 80 to 450", rate)
	}
	path, err := exec.LookPath("espeak-ng")
	if err != nil {
		return nil, ErrNoVoice
	}
	return &Espeak{path: path, voice: voice, rate: rate}, nil
}

// Name is "espeak-ng" with the voice.
func (e *Espeak) Name() string { return "espeak-ng, voice " + e.voice }

// Synthesise runs espeak-ng once. The text goes in on standard input, so that
// nothing in it can be taken for an option.
func (e *Espeak) Synthesise(ctx context.Context, text string) (audio.Clip, error) {
	if strings.TrimSpace(text) == "" {
		return audio.Clip{}, nil
	}
	cmd := exec.CommandContext(ctx, e.path, "-v", e.voice, "-s", strconv.Itoa(e.rate), "--stdin", "--stdout")
	cmd.Stdin = strings.NewReader(text)
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return audio.Clip{}, ctx.Err()
		}
		return audio.Clip{}, fmt.Errorf("speech: espeak-ng: %w: %s", err, strings.TrimSpace(complaint.String()))
	}
	clip, err := audio.ReadWAV(openEnded(out.Bytes()))
	if err != nil {
		return audio.Clip{}, fmt.Errorf("speech: espeak-ng (is there a voice %q?): %w", e.voice, err)
	}
	return clip, nil
}

// openEnded mends the sizes in a WAV header that was written to a pipe, where
// the program could not go back and fill them in.
func openEnded(wav []byte) *bytes.Reader {
	const header = 44
	if len(wav) >= header && string(wav[36:40]) == "data" {
		put := func(at, n int) {
			wav[at], wav[at+1], wav[at+2], wav[at+3] = byte(n), byte(n>>8), byte(n>>16), byte(n>>24)
		}
		put(4, len(wav)-8)
		put(40, len(wav)-header)
	}
	return bytes.NewReader(wav)
}
