package hearing

import (
	"fmt"
	"math"
	"slices"
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
	words []audio.Word // of a free one
	over  int          // words of it that its items do not hold
}

// between stands between the meanings of items.
const between = " | "

// meaning writes items so that equal ones are equal, and texts of different words too.
func meaning(list []intents.Item) string {
	return strings.Join(distinct(list), between)
}

// distinct are the items' meanings, each once.
func distinct(list []intents.Item) (keys []string) {
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
		case it.Question != nil:
			k = fmt.Sprint("question ", *it.Question)
		}
		if !slices.Contains(keys, k) { // said twice is said once
			keys = append(keys, k)
		}
	}
	return keys
}

// candidate reads a text.
func (w Weights) candidate(x prior, text string, log float64) candidate {
	r := x.parse(text)
	c := candidate{text: text, log: log, mean: meaning(r.Items), items: r.Items,
		whole: len(r.Items) > 0 && len(r.Doubts) == 0 && !contradicts(r.Items) && !x.pointless(r.Items)}
	c.over = over(text, r)
	words := float64(length(text) - c.over) // what is stepped over makes nothing likelier
	if n := len(r.Items); n > 0 {           // what a recogniser says twice is no more likely for its length
		words *= float64(len(distinct(r.Items))) / float64(n)
	}
	c.score = log + w.Word*words - odd(r.Items) - x.against(r.Items)
	return c
}

// over is the number of words in a text that stand outside of its items.
func over(text string, r intents.Result) (n int) {
	if len(r.Items) == 0 {
		return 0
	}
	outside := []byte(text)
	for _, it := range r.Items {
		for i := it.Start; i < min(it.End, len(outside)); i++ {
			outside[i] = ' '
		}
	}
	for _, word := range strings.Fields(string(outside)) {
		if letters.MatchString(word) || written.MatchString(word) {
			n++
		}
	}
	return n
}

// length is the number of words in a text; digits apart, "1 18", are one.
func length(text string) (n int) {
	number := false
	for _, word := range strings.Fields(text) {
		digits := word[0] >= '0' && word[0] <= '9'
		if !digits || !number {
			n++
		}
		number = digits
	}
	return n
}

// candidates are the texts of a transcript with their meanings, the best first.
func (w Weights) candidates(x prior, t audio.Transcript) (list []candidate, free candidate) {
	for _, f := range t.Fit {
		if c := w.candidate(x, f.Text, f.LogLikelihood); c.whole {
			list = append(list, c)
		}
	}
	free = w.candidate(x, t.Text, logOf(t))
	free.free, free.words = true, t.Words
	if free.whole {
		out := free
		out.score -= w.Outer
		list = append(list, out)
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].score > list[j].score })
	return list, free
}

// logOf is the log-likelihood of a transcript's text, or of its words if that is all there is.
func logOf(t audio.Transcript) float64 {
	if !math.IsNaN(t.LogLikelihood) {
		return t.LogLikelihood
	}
	sum := 0.0
	for _, w := range t.Words {
		if !math.IsNaN(w.LogProb) {
			sum += w.LogProb
		}
	}
	return sum
}

// contradicts reports whether the same reading is there with two values, as in a text that
// a recogniser goes on with when the speech has ended. People who mend a number say so.
func contradicts(list []intents.Item) bool {
	for i, a := range list {
		for _, b := range list[:i] {
			if d, ok := intents.Conflict(b, a); ok && d.Quantity != "" {
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

// meanings are the candidates of a transcript, one for each meaning.
type meanings struct {
	order []string // by likelihood
	sums  map[string]float64
	first map[string]candidate // the best text for each
	added map[string]candidate // meanings that another recogniser found, scored by this one
	free  candidate
	quiet float64
}

func (w Weights) meanings(x prior, t audio.Transcript) meanings {
	list, free := w.candidates(x, t)
	m := meanings{sums: map[string]float64{}, first: map[string]candidate{}, added: map[string]candidate{}, free: free, quiet: t.NoSpeech}
	for _, c := range list {
		s, seen := m.sums[c.mean]
		if !seen {
			m.order, m.first[c.mean], m.sums[c.mean] = append(m.order, c.mean), c, c.score
			continue
		}
		m.sums[c.mean] = s + math.Log1p(math.Exp(c.score-s))       // as likely as all its texts together
		if f := m.first[c.mean]; f.free && c.log > f.log-farFrom { // what the language has is the better text
			m.first[c.mean] = c
		}
	}
	sort.SliceStable(m.order, func(i, j int) bool { return m.sums[m.order[i]] > m.sums[m.order[j]] })
	for _, f := range t.Scored {
		c := w.candidate(x, f.Text, f.LogLikelihood)
		if old, seen := m.added[c.mean]; c.whole && (!seen || c.score > old.score) {
			m.added[c.mean] = c
		}
	}
	return m
}

// text is this recogniser's text for a meaning, or the other's that it has scored.
func (m meanings) text(mean string) (candidate, bool) {
	if c, ok := m.first[mean]; ok {
		return c, true
	}
	c, ok := m.added[mean]
	return c, ok
}

// of is how likely a meaning is. One that was never scored is as likely as the least
// likely of the others, and a nat less.
func (m meanings) of(mean string) float64 {
	if s, ok := m.sums[mean]; ok {
		return s
	}
	if c, ok := m.added[mean]; ok {
		return c.score
	}
	if len(m.order)+len(m.added) == 0 {
		return m.free.log - 8
	}
	least := math.Inf(1)
	for _, s := range m.sums {
		least = min(least, s)
	}
	for _, c := range m.added {
		least = min(least, c.score)
	}
	return least - 1
}
