package session

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"callout/audio"
	"callout/intents"
)

// A candidate is one text that may have been said, and what it means.
type candidate struct {
	text  string
	log   float64 // natural, of the text given the sound
	score float64 // log with the bonus for its length
	mean  string  // what it means; "" is nothing
	whole bool    // it means something, and nothing in it is in doubt
	free  bool    // it is what the recogniser wrote without the language
	items []intents.Item
}

// Evidence is what speaks for and against the best text of an utterance. Every number is
// a natural log-likelihood or its difference, cut to a range so that none outweighs all.
type Evidence struct {
	Margin   float64 // ahead of the best text that means something else; 0 to 10
	Gap      float64 // behind the free text; -4 to 16
	Agree    float64 // 1: the free text means the same
	Conflict float64 // 1: the free text means something else, without doubt
	Worth    float64 // log-likelihood a word; -4 to 0
	Silence  float64 // probability that nobody speaks
	Outside  float64 // 1: the language lacks the text; only the free pass has it
	Size     float64 // readings and the like in it
}

// Names of the coefficients, in the order of Evidence.
var evidenceNames = []string{"margin", "gap", "agree", "conflict", "worth", "silence", "outside", "size"}

func (e Evidence) list() []float64 {
	return []float64{e.Margin, e.Gap, e.Agree, e.Conflict, e.Worth, e.Silence, e.Outside, e.Size}
}

//go:embed data/certainty.json
var certaintyData []byte

// weights turn evidence into the probability that the meaning is right: a logistic
// regression over recordings of known content. The file says how it was made.
type weights struct {
	Source string             `json:"source"`
	Word   float64            `json:"word"`  // bonus for each word, against the pull to short texts
	Outer  float64            `json:"outer"` // nats that a text outside the language is set back
	Bias   float64            `json:"bias"`
	Per    map[string]float64 `json:"per"`
}

func loadWeights(data []byte) (weights, error) {
	var w weights
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&w); err != nil {
		return w, fmt.Errorf("session: certainty.json: %w", err)
	}
	for _, n := range evidenceNames {
		if _, ok := w.Per[n]; !ok {
			return w, fmt.Errorf("session: certainty.json: no weight for %q", n)
		}
	}
	if len(w.Per) != len(evidenceNames) {
		return w, fmt.Errorf("session: certainty.json: %d weights, want %d", len(w.Per), len(evidenceNames))
	}
	return w, nil
}

func (w weights) certainty(e Evidence) float64 {
	z := w.Bias
	for i, v := range e.list() {
		z += w.Per[evidenceNames[i]] * v
	}
	return 1 / (1 + math.Exp(-z))
}

// meaning writes items so that equal ones are equal, and texts of different words too.
func meaning(list []intents.Item) string {
	var keys []string
	for _, it := range list {
		var k string
		switch {
		case it.Reading != nil:
			r := it.Reading
			k = fmt.Sprint("reading ", r.Quantity, " ", r.Place, " ", strconv.FormatFloat(r.Value, 'g', -1, 64), " ", r.Qualifier)
		case it.Observation != nil:
			k = fmt.Sprint("seen ", it.Observation.Quantity, " ", it.Observation.Place, " ", it.Observation.Value)
		case it.Declaration != "":
			k = "declared " + string(it.Declaration)
		case it.Repair != "":
			k = "done " + string(it.Repair)
		case it.Command != nil:
			k = "command " + string(it.Command.Command)
			if it.Command.Number != nil {
				k += " " + strconv.FormatFloat(*it.Command.Number, 'g', -1, 64)
			}
		case it.Note != "":
			k = "note"
		}
		if len(keys) == 0 || keys[len(keys)-1] != k { // said twice is said once
			keys = append(keys, k)
		}
	}
	return strings.Join(keys, " | ")
}

// candidates are the texts of a transcript with their meanings, the best first.
func (w weights) candidates(p *intents.Parser, t audio.Transcript, ctx intents.Context) (list []candidate, free candidate) {
	of := func(text string, log float64) candidate {
		r := p.Parse(text, ctx)
		c := candidate{text: text, log: log, mean: meaning(r.Items), items: r.Items, whole: len(r.Items) > 0 && len(r.Doubts) == 0}
		c.score = log + w.Word*float64(len(strings.Fields(text))) - odd(r.Items)
		return c
	}
	for _, f := range t.Fit {
		if c := of(f.Text, f.LogLikelihood); c.whole && !contradicts(c.items) {
			list = append(list, c)
		}
	}
	free = of(t.Text, t.LogLikelihood)
	free.free = true
	if free.whole && !contradicts(free.items) {
		out := free
		out.score -= w.Outer
		list = append(list, out)
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].score > list[j].score })
	return list, free
}

// contradicts reports whether the same reading is there with two values, as in a text that
// a recogniser goes on with when the speech has ended. People who mend a number say so.
func contradicts(list []intents.Item) bool {
	for i, a := range list {
		for _, b := range list[:i] {
			if d, ok := rivals(b, a); ok && d.Quantity != "" {
				return true
			}
		}
	}
	return false
}

// odd is how much less a number is said than its sound alone tells, in nats: tenths of
// what is over a hundred are on no meter's display of three and a half digits but the
// mains ranges. Common practice, no source; two nats are one in seven.
func odd(list []intents.Item) (nats float64) {
	for _, it := range list {
		if r := it.Reading; r != nil && r.Value >= 100 && r.Value != math.Trunc(r.Value) {
			nats += 2
		}
	}
	return nats
}

// weigh chooses the likeliest meaning of a transcript. Rivals are the best texts of other
// meanings, best first. It reports false where no text means anything.
func (w weights) weigh(p *intents.Parser, t audio.Transcript, ctx intents.Context) (best candidate, e Evidence, rivals []candidate, ok bool) {
	list, free := w.candidates(p, t, ctx)
	if len(list) == 0 {
		return free, Evidence{}, nil, false
	}
	// A meaning is as likely as all its texts together.
	sums := map[string]float64{}
	var order []string
	first := map[string]candidate{}
	for _, c := range list {
		s, seen := sums[c.mean]
		if !seen {
			order, first[c.mean], sums[c.mean] = append(order, c.mean), c, c.score
			continue
		}
		sums[c.mean] = s + math.Log1p(math.Exp(c.score-s))
		if f := first[c.mean]; f.free { // what the language has is the better text
			first[c.mean] = c
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return sums[order[i]] > sums[order[j]] })
	best = first[order[0]]
	for _, m := range order[1:] {
		rivals = append(rivals, first[m])
	}
	e.Margin = 10
	if len(order) > 1 {
		e.Margin = min(10, sums[order[0]]-sums[order[1]])
	}
	e.Gap = max(-4, min(16, free.log-best.log))
	switch {
	case free.mean == best.mean:
		e.Agree = 1
	case free.whole:
		e.Conflict = 1
	}
	e.Worth = max(-4, best.log/float64(max(1, len(strings.Fields(best.text)))))
	e.Silence = t.NoSpeech
	if best.free {
		e.Outside = 1
	}
	e.Size = float64(len(best.items))
	return best, e, rivals, true
}
