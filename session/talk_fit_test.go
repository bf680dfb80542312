package session

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"callout/intents"
	"callout/joblog"
)

// talkExample is what one line of the work half gives the fit.
type talkExample struct {
	row   []float64
	right bool
}

// TestFitTalk fits how far talk is trusted to the work half, and writes it to the file that
// TALK_FIT names (intents/data/talk/trust.json). It tells how the lines fare that a fifth of
// the fit has not seen.
func TestFitTalk(t *testing.T) {
	path := os.Getenv("TALK_FIT")
	if path == "" {
		t.Skip("TALK_FIT names no file to write")
	}
	k := knowledge(t)
	var evidence []intents.Evidence
	var right []bool
	names := map[string]bool{}
	for _, half := range []string{"work*.jsonl", "chatter.jsonl"} {
		for _, l := range readTalk(t, half) {
			c, _ := talkCall(t, k, l)
			e, ok := k.Parser.Evidence(l.Said, c.context())
			if !ok {
				continue
			}
			evidence, right = append(evidence, e), append(right, l.isRight(e.Items))
			for name := range e.Features {
				names[name] = true
			}
		}
	}
	order := slices.Sorted(maps.Keys(names))
	var list []talkExample
	for i, e := range evidence {
		x := talkExample{row: []float64{1}, right: right[i]}
		for _, name := range order {
			x.row = append(x.row, e.Features[name])
		}
		list = append(list, x)
	}
	unseen := make([]float64, len(list))
	const parts = 5
	for part := range parts {
		var train []talkExample
		for i, x := range list {
			if i%parts != part {
				train = append(train, x)
			}
		}
		w := fitTalk(train)
		for i, x := range list {
			if i%parts == part {
				unseen[i] = chance(w, x.row)
			}
		}
	}
	for _, enough := range []float64{.5, .6, .65, .7, .75, .8, .85, .9, .95} {
		good, bad := 0, 0
		for i, x := range list {
			if unseen[i] >= enough && x.right {
				good++
			} else if unseen[i] >= enough {
				bad++
			}
		}
		t.Logf("enough %.2f: %d right, %d wrong of %d", enough, good, bad, len(list))
	}
	w := fitTalk(list)
	per := map[string]float64{}
	for i, name := range order {
		per[name] = math.Round(w[i+1]*1e3) / 1e3
	}
	var old struct {
		Enough float64 `json:"enough"`
		Safely float64 `json:"safely"`
	}
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &old))
	b, err = json.MarshalIndent(map[string]any{"bias": math.Round(w[0]*1e3) / 1e3, "per": per, "enough": old.Enough, "safely": old.Safely,
		"source": fmt.Sprintf("TestFitTalk, %d lines of the work half", len(list))}, "", " ")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, append(b, '\n'), 0o644))
}

// isRight reports whether items are one of the meanings of a line that may be recorded.
func (l talkLine) isRight(items []intents.Item) bool {
	got := taken{}
	got.add(nil, callout(0, joblog.Recorded, items, 1))
	for _, m := range l.meanings() {
		want := taken{}
		for _, s := range m {
			want[canon(s)] = true
		}
		if len(m) > 0 && !l.Ask && maps.Equal(got, want) {
			return true
		}
	}
	return false
}

func chance(w, row []float64) float64 {
	z := 0.0
	for i, v := range row {
		z += w[i] * v
	}
	return 1 / (1 + math.Exp(-z))
}

// fitTalk is a logistic regression with a ridge, by gradient descent.
func fitTalk(list []talkExample) []float64 {
	w := make([]float64, len(list[0].row))
	const ridge, rate, steps = 1.0, 0.3, 6000
	for range steps {
		g := make([]float64, len(w))
		for _, x := range list {
			miss := chance(w, x.row)
			if x.right {
				miss--
			}
			for i, v := range x.row {
				g[i] += miss * v
			}
		}
		for i := range w {
			if i > 0 {
				g[i] += ridge * w[i]
			}
			w[i] -= rate * g[i] / float64(len(list)) * 4
		}
	}
	return w
}
