package scene

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"callout/audio"
)

// Voice is one synthetic talker, "program:voice[:option=value…]", such as
// "espeak-ng:en-us+m3:rate=165:pitch=45" or "flite:slt:rate=0.9".
type Voice string

// Reserved reports whether the voice is kept for tests by strangers, and must
// never be trained or tuned on.
func (v Voice) Reserved() bool {
	name := strings.Split(string(v), ":")
	if len(name) < 2 {
		return false
	}
	base, _, _ := strings.Cut(name[1], "+")
	switch name[0] {
	case "flite":
		return base == "rms" || base == "awb"
	case "espeak-ng":
		return base == "en-gb-scotland" || base == "en-gb-x-rp"
	}
	return name[0] == "festival" || name[0] == "piper" && base == "joe"
}

// Speak synthesises text at Rate.
func (v Voice) Speak(ctx context.Context, text string) ([]float32, error) {
	parts := strings.Split(string(v), ":")
	if len(parts) < 2 {
		return nil, fmt.Errorf("scene: voice %q: want program:voice", v)
	}
	options := map[string]string{}
	for _, o := range parts[2:] {
		key, value, ok := strings.Cut(o, "=")
		if !ok {
			return nil, fmt.Errorf("scene: voice %q: option %q: want name=value", v, o)
		}
		options[key] = value
	}
	var wav []byte
	var err error
	switch parts[0] {
	case "espeak-ng":
		wav, err = espeak(ctx, parts[1], options, text)
	case "flite":
		wav, err = flite(ctx, parts[1], options, text)
	default:
		return nil, fmt.Errorf("scene: voice %q: the program is espeak-ng or flite", v)
	}
	if err != nil {
		return nil, fmt.Errorf("scene: voice %q: %w", v, err)
	}
	clip, err := audio.ReadWAV(bytes.NewReader(wav))
	if err != nil {
		return nil, fmt.Errorf("scene: voice %q: %w", v, err)
	}
	return clip.At16k()
}

func espeak(ctx context.Context, voice string, options map[string]string, text string) ([]byte, error) {
	return toFile(ctx, text, func(out string) []string {
		args := []string{"espeak-ng", "-v", voice, "-w", out, "--stdin"}
		if r, ok := options["rate"]; ok {
			args = append(args, "-s", r)
		}
		if p, ok := options["pitch"]; ok {
			args = append(args, "-p", p)
		}
		return args
	})
}

func flite(ctx context.Context, voice string, options map[string]string, text string) ([]byte, error) {
	return toFile(ctx, text, func(out string) []string {
		args := []string{"flite", "-voice", voice, "-o", out, "-f", "/dev/stdin"}
		if r, err := strconv.ParseFloat(options["rate"], 64); err == nil && r > 0 {
			args = append(args, "--setf", "duration_stretch="+strconv.FormatFloat(1/r, 'f', 3, 64))
		}
		if p, ok := options["pitch"]; ok {
			args = append(args, "--setf", "int_f0_target_mean="+p)
		}
		return args
	})
}

// toFile runs a synthesiser that reads standard input and writes a file.
func toFile(ctx context.Context, text string, args func(out string) []string) ([]byte, error) {
	dir, err := os.MkdirTemp("", "callout-voice-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	out := filepath.Join(dir, "out.wav")
	a := args(out)
	cmd := exec.CommandContext(ctx, a[0], a[1:]...)
	cmd.Stdin = strings.NewReader(text + "\n")
	if msg, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w: %s", err, bytes.TrimSpace(msg))
	}
	return os.ReadFile(out)
}
