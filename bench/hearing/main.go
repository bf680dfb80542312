// Hearing bench: how callout hears readings in the noise of an outdoor unit. It makes
// clips from synthetic voices, hears them as `callout hear` does, and prints what was
// recorded, asked and ignored, beside two baselines.
//
// usage: hearing [-set unseen|tuning] [-n TEXTS] [-record]
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"

	"callout/audio"
	"callout/audio/whisper"
	"callout/session"
)

type options struct {
	set    string
	n      int
	parts  string
	record bool
	model  string
	most   int
	tag    string
	rows   string
	prime  string
	shard  int
	shards int
}

func main() {
	var o options
	flag.StringVar(&o.set, "set", "unseen", "which half of the voices: unseen or tuning")
	flag.IntVar(&o.n, "n", 220, "texts")
	flag.StringVar(&o.parts, "parts", ".parts", "folder of fetched and made parts")
	flag.BoolVar(&o.record, "record", false, "only make the voices' recordings")
	flag.StringVar(&o.model, "model", os.Getenv("CALLOUT_MODEL"), "model file")
	flag.StringVar(&o.rows, "rows", "", "write what was heard to this file")
	flag.StringVar(&o.prime, "prime", "session/data/prime.txt", "file with the prompt")
	flag.IntVar(&o.shard, "shard", 0, "which part of the clips")
	flag.IntVar(&o.shards, "shards", 1, "parts of the clips")
	flag.StringVar(&o.tag, "tag", "3", "name of what is kept of this run")
	flag.IntVar(&o.most, "most", 1<<30, "clips, at most")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, o); err != nil {
		fmt.Fprintln(os.Stderr, "hearing:", err)
		os.Exit(1)
	}
}

// clips gives the clips of a set. The tuning set has each text at two levels, the
// unseen one at all.
func clips(o options, s studio) ([]clip, map[string]talker, error) {
	voices, seed := unseen, uint64(2)
	levelsOf := func(int) []string { return levels }
	if o.set == "tuning" {
		voices, seed = tuning, 1
		levelsOf = func(i int) []string { return []string{levels[i%2], levels[2+(i/2)%2]} }
	}
	texts, err := sample(o.n, seed)
	if err != nil {
		return nil, nil, err
	}
	by := map[string]talker{}
	for _, v := range voices {
		by[v.Name] = v
	}
	return cast(s, texts, voices, seed, levelsOf), by, nil
}

func run(ctx context.Context, o options) error {
	s := studio{dir: o.parts + "/clips", parts: o.parts + "/kokoro"}
	list, voices, err := clips(o, s)
	if err != nil {
		return err
	}
	if err := s.record(ctx, list, voices); err != nil {
		return err
	}
	if o.record {
		return nil
	}
	return dump(ctx, o, list)
}

// dump prints what the recogniser made of each clip.
func dump(ctx context.Context, o options, list []clip) error {
	k, err := session.LoadKnowledge()
	if err != nil {
		return err
	}
	lang, err := session.Language(k.Parser, false)
	if err != nil {
		return err
	}
	e, err := whisper.Open(o.model, whisper.Options{Threads: 2})
	if err != nil {
		return err
	}
	defer e.Close()
	prime, err := os.ReadFile(o.prime)
	if err != nil {
		return err
	}
	h := newHeard(o.parts, e, audio.Hints{Prompt: strings.TrimSpace(string(prime)), Language: lang}, o.tag)
	var rows []heardRow
	for i, c := range list {
		if i >= o.most {
			break
		}
		if i%o.shards != o.shard {
			continue
		}
		t, err := h.clip(ctx, c, nil)
		if err != nil {
			return err
		}
		rows = append(rows, row(k.Parser, c, t))
	}
	if o.rows == "" {
		return nil
	}
	return writeRows(o.rows, rows)
}
