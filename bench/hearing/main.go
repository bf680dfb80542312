// Hearing bench: how callout hears readings in the noise of an outdoor unit. It makes
// clips from synthetic voices, hears them as `callout hear` does, and prints what was
// recorded, asked and ignored, beside two baselines on the same clips: the same model
// unconstrained with the same parser, and pocketsphinx with a JSGF of the same language.
//
// What a recogniser made of a clip is kept under the parts folder, by the checksum of the
// model, the prompt and the language, so that a second run measures what comes after it
// without hearing again.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"callout/audio"
	"callout/audio/whisper"
	"callout/joblog"
	"callout/session"
)

type options struct {
	set                   string
	n                     int
	parts, model, out     string
	second                string
	record, fit, baseline bool
	detect                bool
	policy                session.Policy
	threads, classic      int
}

func main() {
	var o options
	flag.StringVar(&o.set, "set", "unseen", "which half of the voices: unseen or tuning")
	flag.IntVar(&o.n, "n", 160, "texts, and half as many by more natural voices; the unseen set has each at four levels, the tuning set at two")
	flag.StringVar(&o.parts, "parts", ".parts", "folder of fetched and made parts")
	flag.StringVar(&o.model, "model", os.Getenv("CALLOUT_MODEL"), "model file")
	flag.StringVar(&o.second, "second", os.Getenv("CALLOUT_SECOND"), "model file of the recogniser that is asked where the first is unsure; empty: none")
	flag.StringVar(&o.out, "out", "", "write the table to this file too")
	flag.BoolVar(&o.record, "record", false, "only make the voices' recordings")
	flag.BoolVar(&o.fit, "fit", false, "fit the weights of certainty to the tuning set, and write them")
	flag.BoolVar(&o.detect, "detectors", false, "only compare the voice-activity detectors")
	flag.BoolVar(&o.baseline, "baselines", true, "measure the baselines too")
	flag.IntVar(&o.classic, "classic", 60, "clips for the classic recogniser, at most: the first texts at all levels")
	flag.IntVar(&o.threads, "threads", 2, "threads of the recogniser")
	flag.Float64Var(&o.policy.Ask, "ask", session.DefaultPolicy.Ask, "certainty below which a callout is asked back")
	flag.Float64Var(&o.policy.AskSafety, "ask-safety", session.DefaultPolicy.AskSafety, "the same for safety declarations")
	flag.Float64Var(&o.policy.Ignore, "ignore", session.DefaultPolicy.Ignore, "certainty below which it is ignored")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, o); err != nil {
		fmt.Fprintln(os.Stderr, "hearing:", err)
		os.Exit(1)
	}
}

// clips gives the clips of a set.
func clips(o options, s studio) ([]clip, map[string]talker, error) {
	voices, english, seed := unseen, unseenEnglish, uint64(2)
	levelsOf := func(int) []string { return levels }
	switch o.set {
	case "unseen":
	case "tuning":
		voices, english, seed = tuning, tuningEnglish, 1
		levelsOf = func(i int) []string { return []string{levels[i%2], levels[2+(i/2)%2]} }
	default:
		return nil, nil, fmt.Errorf("no set %q: unseen or tuning", o.set)
	}
	by := map[string]talker{}
	var out []clip
	for _, part := range []struct {
		n      int
		seed   uint64
		voices []talker
	}{{o.n, seed, voices}, {o.n / 2, seed + 10, english}} {
		texts, err := sample(part.n, part.seed)
		if err != nil {
			return nil, nil, err
		}
		for _, v := range part.voices {
			by[v.Name] = v
		}
		out = append(out, cast(s, texts, part.voices, part.seed, levelsOf)...)
	}
	return out, by, nil
}

func run(ctx context.Context, o options) error {
	s := studio{dir: o.parts + "/clips", parts: o.parts + "/kokoro"}
	list, voices, err := clips(o, s)
	if err != nil {
		return err
	}
	if err := s.record(ctx, list, voices); err != nil || o.record {
		return err
	}
	if o.detect {
		return compareDetectors(os.Stdout, list)
	}
	k, err := session.LoadKnowledge()
	if err != nil {
		return err
	}
	engine, err := whisper.Open(o.model, whisper.Options{Threads: o.threads})
	if err != nil {
		return err
	}
	defer engine.Close()
	ear, err := session.NewEar(engine, k.Parser)
	if err != nil {
		return err
	}
	h := newHeard(o.parts, engine, ear.Hints(), k.Parser)
	transcripts := make([]audio.Transcript, len(list))
	for i, c := range list {
		if transcripts[i], err = h.clip(ctx, c, second(list, i)); err != nil {
			return err
		}
	}
	var again []audio.Transcript // of the second recogniser, where it is asked
	name := engine.Engine()
	if o.second != "" {
		other, err := whisper.Open(o.second, whisper.Options{Threads: o.threads})
		if err != nil {
			return err
		}
		defer other.Close()
		name += "; where unsure " + other.Engine()
		h := newHeard(o.parts, other, ear.Hints(), k.Parser)
		again = make([]audio.Transcript, len(list))
		for i, c := range list {
			if !o.fit && !ear.Unsure(transcripts[i]) {
				continue
			}
			if again[i], err = h.clip(ctx, c, second(list, i)); err != nil {
				return err
			}
		}
	}
	if o.fit {
		return fitCertainty(o, engine.Engine(), ear, list, transcripts, again)
	}
	return report(ctx, o, k, engine, name, ear, list, transcripts, again)
}

func compareDetectors(w io.Writer, list []clip) error {
	neural, err := whisper.OpenDetector(os.Getenv("CALLOUT_VAD"))
	if err != nil {
		return err
	}
	defer neural.Close()
	return detectors(w, list, map[string]func() audio.Detector{
		"loudness": func() audio.Detector { return &audio.Energy{} },
		"neural":   func() audio.Detector { neural.Reset(); return neural },
	}, []string{"loudness", "neural"})
}

// second is another clip's voice, to talk in the background of clip i.
func second(list []clip, i int) []float32 {
	for j := 1; j < len(list); j++ {
		if c := list[(i+17*j)%len(list)]; c.Kind == "chatter" {
			x, err := readWAV(c.WAV)
			if err != nil {
				return nil
			}
			return x
		}
	}
	return nil
}

func report(ctx context.Context, o options, k *session.Knowledge, engine audio.Recogniser, name string, ear *session.Ear, list []clip, transcripts, again []audio.Transcript) error {
	ours, free := newTable("callout"), newTable("same model, free text, same parser")
	judge := func(t *table, c clip, u session.Utterance, p session.Policy) error {
		j, err := session.Judge(k, p, u)
		if err == nil {
			t.add(c, outcomeOf(c, j))
		}
		return err
	}
	var took, whole []float64
	twice := 0
	for i, c := range list {
		begun := time.Now()
		u, heard := ear.Understand(transcripts[i]), transcripts[i].Took
		if again != nil && ear.Unsure(transcripts[i]) {
			u = ear.UnderstandBoth(transcripts[i], again[i])
			heard += again[i].Took
			twice++
		}
		u.Source = joblog.Speech
		if err := judge(ours, c, u, o.policy); err != nil {
			return err
		}
		after := time.Since(begun)
		took = append(took, float64(after.Microseconds())/1000)
		whole = append(whole, float64((heard+after).Microseconds())/1000)
		plain := session.Utterance{Text: transcripts[i].Text, Certainty: 1}
		if err := judge(free, c, plain, session.Policy{}); err != nil {
			return err
		}
	}
	tables := []*table{ours}
	if o.baseline {
		tables = append(tables, free)
		classic := newTable("pocketsphinx, JSGF of the language, same parser")
		at := map[string]int{}
		for i, c := range list {
			at[c.ID] = i
		}
		part := list[:min(len(list), o.classic)] // it takes seconds a clip
		texts, err := sphinx(ctx, k.Parser, part, func(c clip) ([]float32, error) { return c.sound(second(list, at[c.ID])) })
		if err != nil {
			return err
		}
		for _, c := range part {
			if err := judge(classic, c, session.Utterance{Text: texts[c.ID], Certainty: 1}, session.Policy{}); err != nil {
				return err
			}
		}
		tables = append(tables, classic)
	}
	out := io.Writer(os.Stdout)
	if o.out != "" {
		f, err := os.Create(o.out)
		if err != nil {
			return err
		}
		defer f.Close()
		out = io.MultiWriter(os.Stdout, f)
	}
	fmt.Fprintf(out, "%s voices, %d texts, %d clips; %s; ask below %g (safety %g), ignore below %g\n", o.set, o.n, len(list), name, o.policy.Ask, o.policy.AskSafety, o.policy.Ignore)
	write(out, tables)
	fmt.Fprintf(out, "\nFrom the clip's end to the decision, %d threads: median %.0f ms, 95 of 100 under %.0f ms; of that after the recogniser: median %.1f ms\n",
		o.threads, quantile(whole, 0.5), quantile(whole, 0.95), quantile(took, 0.5))
	if again != nil {
		fmt.Fprintf(out, "The second recogniser was asked in %d of %d clips.\n", twice, len(list))
	}
	if o.baseline {
		words, bad, err := wordsWrong(ctx, engine, audio.Hints{})
		if err != nil {
			return err
		}
		_, primed, err := wordsWrong(ctx, engine, ear.Hints())
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "\nPeople's recordings (connected digits, numbers, read speech), free text: %d of %d words right; primed for callouts: %d\n", words-bad, words, words-primed)
	}
	return nil
}
