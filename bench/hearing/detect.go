package main

import (
	"fmt"
	"io"
	"math"

	"callout/audio"
	"callout/internal/scene"
)

// detection counts what a voice-activity detector makes of clips in noise.
type detection struct {
	speech, hit  int // frames with speech, and those found
	noise, false int // frames at least 300 ms from any, and those taken for speech
	clips, whole int // clips, and those that were cut into one utterance with all the speech
}

// detectors compares detectors on clips that begin with two seconds of noise and end with
// one and a half: a stream, as the microphone gives it.
func detectors(w io.Writer, list []clip, by map[string]func() audio.Detector, order []string) error {
	fmt.Fprintf(w, "\nVoice activity: speech frames found / noise frames taken for speech / clips cut into one whole utterance, %%\n\n| detector | clean | 10 dB | 5 dB | 0 dB |\n|---|---|---|---|---|\n")
	for _, name := range order {
		row := "| " + name
		for _, level := range levels {
			var d detection
			for _, c := range list {
				if c.Level == level {
					if err := d.add(c, by[name]()); err != nil {
						return err
					}
				}
			}
			row += fmt.Sprintf(" | %.0f / %.1f / %.0f", share(d.hit, d.speech), share(d.false, d.noise), share(d.whole, d.clips))
		}
		fmt.Fprintln(w, row+" |")
	}
	return nil
}

func share(a, b int) float64 { return 100 * float64(a) / float64(max(1, b)) }

func (d *detection) add(c clip, det audio.Detector) error {
	x, err := readWAV(c.WAV)
	if err != nil {
		return err
	}
	speech := append(append(make([]float32, 2*audio.Rate), x...), make([]float32, 3*audio.Rate/2)...)
	active := activeFrames(speech)
	sound := scene.Normal(speech, 0.5)
	if db := snr(c.Level); !math.IsInf(db, 1) {
		sound = scene.Mix(speech, scene.Typical(c.Seed).Make(len(speech)), db, 0.5)
	}
	first, last := -1, -1
	for i, a := range active {
		if a {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	seg := audio.NewSegmenter(audio.SegmentOptions{})
	var cut []audio.Utterance
	for i := range active {
		frame := sound[i*audio.FrameSize : (i+1)*audio.FrameSize]
		score := det.Score(frame)
		far := i < first-10 || i > last+10
		switch {
		case active[i]:
			d.speech++
			d.hit += bit(score >= 0.5)
		case far:
			d.noise++
			d.false += bit(score >= 0.5)
		}
		if u, ok := seg.Push(frame, score); ok {
			cut = append(cut, u)
		}
	}
	if u, ok := seg.Flush(); ok {
		cut = append(cut, u)
	}
	d.clips++
	at := func(frame int) float64 { return float64(frame*audio.FrameSize) / audio.Rate }
	d.whole += bit(len(cut) == 1 && cut[0].Start.Seconds() <= at(first)+0.1 && cut[0].End.Seconds() >= at(last+1)-0.1)
	return nil
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// activeFrames tells which frames of clean speech are within 25 dB of its loudest.
func activeFrames(x []float32) []bool {
	n := len(x) / audio.FrameSize
	power := make([]float64, n)
	most := 0.0
	for i := range power {
		for _, v := range x[i*audio.FrameSize : (i+1)*audio.FrameSize] {
			power[i] += float64(v) * float64(v)
		}
		most = max(most, power[i])
	}
	out := make([]bool, n)
	for i, p := range power {
		out[i] = p > most*math.Pow(10, -2.5)
	}
	return out
}
