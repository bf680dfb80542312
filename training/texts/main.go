// Texts writes what the adapter's training speaks: sentences of the callout language,
// from the grammar that parser and recogniser share, each as spoken and as it should be
// written, and talk that is no callout.
//
// usage: texts [-n CALLOUTS] [-talk TALK] [-like LINES] [-seed SEED] > texts.jsonl
package main

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand"
	"os"
)

// text is one line of the output. Written is empty for talk: what the untouched model
// writes for it is right.
type text struct {
	Kind    string `json:"kind"`
	Spoken  string `json:"spoken"`
	Written string `json:"written,omitempty"`
}

func main() {
	n := flag.Int("n", 30000, "callouts")
	talk := flag.Int("talk", 12000, "lines of talk")
	like := flag.Int("like", 0, "lines like those of the corpus of talk")
	from := flag.String("corpus", "intents/testdata/talk/work.jsonl", "the file of it; never a blind one")
	seed := flag.Int64("seed", 1, "seed")
	flag.Parse()
	if err := run(*n, *talk, *like, *from, rand.New(rand.NewSource(*seed))); err != nil {
		fmt.Fprintln(os.Stderr, "texts:", err)
		os.Exit(1)
	}
}

func run(n, talk, like int, from string, r *rand.Rand) error {
	w := bufio.NewWriter(os.Stdout)
	out := json.NewEncoder(w)
	c, err := newCallouts(r)
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for tries := 0; len(seen) < n; tries++ {
		if tries > 60*n {
			return fmt.Errorf("only %d of %d distinct callouts", len(seen), n)
		}
		t, ok := c.next()
		if !ok || seen[t.Spoken] {
			continue
		}
		seen[t.Spoken] = true
		if err := out.Encode(t); err != nil {
			return err
		}
	}
	k, err := readTalk(r)
	if err != nil {
		return err
	}
	for range talk {
		if err := out.Encode(text{Kind: "talk", Spoken: k.next()}); err != nil {
			return err
		}
	}
	if like > 0 {
		c, err := readCorpus(from, r)
		if err != nil {
			return err
		}
		for range like {
			if err := out.Encode(c.next()); err != nil {
				return err
			}
		}
	}
	return w.Flush()
}
