// Command demo makes the recordings of the demo call: it speaks call.tsv with
// synthetic voices in the noise of an outdoor unit.
package main

import (
	"context"
	_ "embed"
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"callout/audio"
	"callout/internal/scene"
)

//go:embed call.tsv
var call string

// voices are the talkers of the call.
func voices() map[string]scene.Voice {
	return map[string]scene.Voice{"tech": "flite:slt:rate=0.95", "helper": "espeak-ng:en-us+m3:rate=150"}
}

func main() {
	out := flag.String("out", "", "folder for the recordings")
	snr := flag.Float64("snr", 18, "active speech level over the unit's noise, dB")
	flag.Parse()
	if *out == "" || flag.NArg() > 0 {
		fmt.Fprintln(os.Stderr, "demo: usage: demo -out FOLDER [-snr DB]")
		os.Exit(2)
	}
	if err := record(context.Background(), *out, *snr); err != nil {
		fmt.Fprintln(os.Stderr, "demo:", err)
		os.Exit(1)
	}
}

// record writes one WAV file a line, and the schedule of all, which comes last
// so that a folder with a schedule is complete.
func record(ctx context.Context, dir string, snr float64) error {
	rows := csv.NewReader(strings.NewReader(call))
	rows.Comma, rows.Comment, rows.LazyQuotes, rows.FieldsPerRecord = '\t', '#', true, 3
	lines, err := rows.ReadAll()
	if err != nil {
		return fmt.Errorf("call.tsv: %w", err)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var schedule strings.Builder
	for i, line := range lines {
		voice, ok := voices()[line[1]]
		if !ok {
			return fmt.Errorf("call.tsv: row %d: no talker %q", i+1, line[1])
		}
		name := fmt.Sprintf("%02d.wav", i+1)
		if err := say(ctx, filepath.Join(dir, name), voice, line[2], uint64(i), snr); err != nil {
			return err
		}
		fmt.Fprintf(&schedule, "%s\t%s\t%s\n", name, line[0], line[2])
		fmt.Fprintf(os.Stderr, "\rdemo: recording %d of %d", i+1, len(lines))
	}
	fmt.Fprintln(os.Stderr)
	return os.WriteFile(filepath.Join(dir, "schedule.tsv"), []byte(schedule.String()), 0o644)
}

// say records one line with half a second of the unit's noise around it.
func say(ctx context.Context, path string, voice scene.Voice, text string, seed uint64, snr float64) error {
	speech, err := voice.Speak(ctx, text)
	if err != nil {
		return err
	}
	margin := make([]float32, scene.Rate/2)
	speech = append(append(margin, speech...), margin...)
	mixed := scene.Mix(speech, scene.Typical(seed).Make(len(speech)), snr, 0.7)
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := audio.WriteWAV(f, mixed, scene.Rate); err != nil {
		f.Close()
		return fmt.Errorf("%s: %w", path, err)
	}
	return f.Close()
}
