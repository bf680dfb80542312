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
	"maps"
	"os"
	"os/signal"
	"strings"

	"callout/audio"
	"callout/audio/whisper"
	"callout/session"
)

type options struct {
	set                   string
	n                     int
	seed                  uint64
	parts, models, out    string
	through               string
	record, fit, baseline bool
	talk                  bool
	list, unprimed        bool
	detect                bool
	policy                session.Policy
	threads, classic      int
}

func main() {
	var o options
	flag.StringVar(&o.set, "set", "unseen", "clips: unseen, of voices never tuned on; drawn, of the same voices, with texts drawn from the whole language; tuning and tuning-drawn, of the tuning voices, and tuning-both, what weights are fitted to")
	flag.Uint64Var(&o.seed, "seed", 0, "other texts, voices and noises than the set's own: a set that was never heard")
	flag.IntVar(&o.n, "n", 160, "texts, and half as many by more natural voices; each is at four levels, in the tuning set at two")
	flag.StringVar(&o.parts, "parts", ".parts", "folder of fetched and made parts")
	flag.StringVar(&o.models, "models", os.Getenv("CALLOUT_MODEL")+","+os.Getenv("CALLOUT_SECOND"),
		"model files, with spaces between: each is measured on the same clips; after a comma that of the recogniser that is asked where the first is unsure")
	flag.StringVar(&o.out, "out", "", "write the table to this file too")
	flag.StringVar(&o.through, "through", "", "command that every sound goes through before it is heard, 16-bit at 16 kHz, such as noise reduction")
	flag.BoolVar(&o.record, "record", false, "only make the voices' recordings")
	flag.BoolVar(&o.list, "list", false, "list the clips that were not heard right")
	flag.BoolVar(&o.fit, "fit", false, "fit the weights of certainty to the tuning set, and write them")
	flag.BoolVar(&o.talk, "only-talk", false, "fit only the weights that tell of talk, the others as they are; to the set talk too")
	flag.BoolVar(&o.unprimed, "unprimed", false, "hear without the prompt, as a model with an adapter does; to fit its first weights")
	flag.BoolVar(&o.detect, "detectors", false, "only compare the voice-activity detectors")
	flag.BoolVar(&o.baseline, "baselines", true, "measure the baselines too")
	flag.IntVar(&o.classic, "classic", 60, "clips for the classic recogniser, at most: the first texts at all levels; 0: none")
	flag.IntVar(&o.threads, "threads", 2, "threads of the recogniser")
	flag.Float64Var(&o.policy.Ask, "ask", session.DefaultPolicy.Ask, "certainty below which a callout is asked back; 0: each model's own")
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
func clips(o options, s studio, k *session.Knowledge) ([]clip, map[string]talker, error) {
	if o.set == "tuning-both" || o.set == "tuning-all" {
		var out []clip
		by := map[string]talker{}
		sets := []string{"tuning", "tuning-drawn"}
		if o.set == "tuning-all" {
			sets = append(sets, "talk")
		}
		for _, o.set = range sets {
			list, voices, err := clips(o, s, k)
			if err != nil {
				return nil, nil, err
			}
			out = append(out, list...)
			maps.Copy(by, voices)
		}
		return out, by, nil
	}
	voices, english, seed := unseen, unseenEnglish, uint64(2)
	levelsOf := func(int) []string { return levels }
	two := func(i int) []string { return []string{levels[i%2], levels[2+(i/2)%2]} }
	spoken := func(paths ...string) func(int, uint64) ([]said, error) {
		return func(n int, seed uint64) ([]said, error) { return talk(paths, n, seed) }
	}
	drawn := func(n int, seed uint64) ([]said, error) { return draw(k, n, seed) }
	texts := sample
	switch o.set {
	case "unseen":
	case "drawn":
		seed, texts = 3, drawn
	case "tuning":
		voices, english, seed, levelsOf = tuning, tuningEnglish, 1, two
	case "tuning-drawn":
		voices, english, seed, levelsOf, texts = tuning, tuningEnglish, 4, two, drawn
	case "talk":
		voices, english, seed, levelsOf, texts = tuning, tuningEnglish, 5, two, spoken(corpus+"work.jsonl", corpus+"chatter.jsonl")
	case "talk-blind": // by natural voices, as people speak it
		voices, seed, texts = natural(voices), 6, spoken(corpus+"blind.jsonl", corpus+"chatter_blind.jsonl")
		levelsOf = func(int) []string { return levels[:3] }
	default:
		return nil, nil, fmt.Errorf("no set %q: unseen, drawn, tuning, tuning-drawn, tuning-both, talk or talk-blind", o.set)
	}
	seed += 100 * o.seed
	by := map[string]talker{}
	var out []clip
	for _, part := range []struct {
		n      int
		seed   uint64
		voices []talker
	}{{o.n, seed, voices}, {o.n / 2, seed + 10, english}} {
		list, err := texts(part.n, part.seed)
		if err != nil {
			return nil, nil, err
		}
		for _, v := range part.voices {
			by[v.Name] = v
		}
		out = append(out, cast(s, list, part.voices, part.seed, levelsOf)...)
	}
	behind(out)
	return out, by, nil
}

func natural(list []talker) (out []talker) {
	for _, v := range list {
		if v.Speaker != "" {
			out = append(out, v)
		}
	}
	return out
}

// corpus is the folder of the corpus of talk.
const corpus = "intents/testdata/talk/"

func run(ctx context.Context, o options) error {
	s := studio{dir: o.parts + "/clips", parts: o.parts + "/kokoro"}
	k, err := session.LoadKnowledge()
	if err != nil {
		return err
	}
	list, voices, err := clips(o, s, k)
	if err != nil {
		return err
	}
	if err := s.record(ctx, list, voices); err != nil || o.record {
		return err
	}
	if o.detect {
		return compareDetectors(os.Stdout, list)
	}
	var all []*heard
	for _, model := range strings.Fields(o.models) {
		h, err := hear(ctx, o, k, list, model)
		if err != nil {
			return err
		}
		if o.fit {
			if err := fitCertainty(o, h, list); err != nil {
				return err
			}
		}
		all = append(all, h)
	}
	if o.fit {
		return nil
	}
	return report(ctx, o, k, list, all)
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
