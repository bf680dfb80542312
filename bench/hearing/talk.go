package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
)

// talked is a line of the corpus of talk, see intents/testdata/talk.
type talked struct {
	Kind   string     `json:"kind"`
	Open   string     `json:"open"`
	Before []string   `json:"before"`
	Said   string     `json:"said"`
	Mean   []string   `json:"mean"`
	Or     [][]string `json:"or"`
	Ask    bool       `json:"ask"`
}

// alone are the kinds of lines that mean something by themselves and are recorded.
var alone = []string{"reading", "pair", "nameplate", "isolation", "observation", "complaint", "repair", "intent", "chatter"}

// talk picks n lines of files of the corpus that need nothing said before them: an ear is
// judged by them, and not the conversation.
func talk(paths []string, n int, seed uint64) ([]said, error) {
	var out []said
	for _, path := range paths {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		s := bufio.NewScanner(f)
		for line := 1; s.Scan(); line++ {
			var t talked
			if err := json.Unmarshal(s.Bytes(), &t); err != nil {
				return nil, fmt.Errorf("%s:%d: %w", path, line, err)
			}
			if t.Ask || t.Open != "" || len(t.Before) > 0 || !slices.Contains(alone, t.Kind) {
				continue
			}
			x := said{Kind: t.Kind, Text: t.Said, Means: keysOfTalk(t.Mean)}
			for _, or := range t.Or {
				x.Or = append(x.Or, keysOfTalk(or))
			}
			out = append(out, x)
		}
		if err := s.Err(); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
	}
	r := rand.New(rand.NewPCG(seed, 0x74616c6b))
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out[:min(n, len(out))], nil
}

// keysOfTalk writes the corpus's items in the bench's words: values stand without their
// units, and what is no number has a value of nought.
func keysOfTalk(items []string) []string {
	out := make([]string, 0, len(items))
	for _, it := range items {
		f := strings.Fields(it)
		switch {
		case len(f) == 4 && f[0] != "ask" && f[0] != "correct":
			f = f[:3]
		case len(f) == 3 && slices.Contains([]string{"nothing", "open_line", "unsteady"}, f[2]):
			f = []string{f[0], f[1], "0", f[2]}
		}
		out = append(out, strings.Join(f, " "))
	}
	return unique(out)
}
