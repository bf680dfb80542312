package session

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
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

// Evidence is what speaks for and against the likeliest meaning of an utterance.
type Evidence struct {
	Best     []intents.Item
	Rivals   []Rival            // other meanings that texts of the utterance have, best first
	Features map[string]float64 // by the names in Features
}

// Rival is another meaning than the best.
type Rival struct {
	Items  []intents.Item
	Behind float64 // natural log-likelihood by which it lies behind the best
	Teen   bool    // it differs as "fifteen" does from "fifty"
}

// Features are the names of what tells whether the right meaning is among those found:
//
//	gap       nats by which the best text lies behind the free text; -4 to 16
//	conflict  1 if the free text means something else, without doubt
//	worth     log-likelihood of the best text, a word; -4 to 0
//	silence   probability that nobody speaks
//	outside   1 if the language lacks the best text; only the free pass has it
//	size      readings and the like in it
//	single    1 if it is one word
//	dropped   1 if the free text has more numbers
//	fewer     words that the free text has more; 0 to 4
func Features() []string {
	return []string{"gap", "conflict", "worth", "silence", "outside", "size", "single", "dropped", "fewer"}
}

// PairFeatures are the same where two recognisers heard the sound: those of each added up,
// but for these:
//
//	both    1 if both hold the same meaning the likeliest
//	first   1 if the first has a text for the best meaning
//	second  1 if the second has
//	size    readings and the like in it
func PairFeatures() []string {
	return []string{"both", "first", "second", "size", "gap", "conflict", "worth", "silence", "outside", "dropped", "fewer"}
}

//go:embed data/certainty.json
var certaintyData []byte

//go:embed data/certainty
var certaintyFiles embed.FS

// CertaintyFile names the file of weights of certainty for the recogniser that calls
// itself so: its own, by the beginning of its model's checksum, or the common one.
func CertaintyFile(engine string) string {
	_, sum, _ := strings.Cut(engine, "sha256:")
	if name := fmt.Sprintf("data/certainty/%.12s.json", sum); len(sum) >= 12 {
		if _, err := certaintyFiles.Open(name); err == nil {
			return name
		}
	}
	return "data/certainty.json"
}

func certaintyOf(engine string) []byte {
	if raw, err := certaintyFiles.ReadFile(CertaintyFile(engine)); err == nil {
		return raw
	}
	return certaintyData
}

// Weights turn evidence into the probability that the best meaning is right: the share
// of the best among all meanings found, times the probability that the right one is
// among them, a logistic regression. Both are fitted to recordings of known content.
type Weights struct {
	Source string             `json:"source"`
	Word   float64            `json:"word"`  // nats for each word, against the pull to short texts
	Outer  float64            `json:"outer"` // nats by which a text outside the language is set back
	Sharp  float64            `json:"sharp"` // how much a nat between two meanings tells
	Teen   float64            `json:"teen"`  // nats less between "fifteen" and "fifty"
	Bias   float64            `json:"bias"`
	Per    map[string]float64 `json:"per"` // of each feature
}

// Calibration is what data/certainty.json holds: the weights for one recogniser, and for
// two that heard the same sound.
type Calibration struct {
	One  Weights `json:"one"`
	Pair Weights `json:"pair"`
}

func loadCalibration(data []byte) (Calibration, error) {
	var c Calibration
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("session: certainty.json: %w", err)
	}
	return c, errors.Join(c.One.check(Features()), c.Pair.check(PairFeatures()))
}

func (w Weights) check(names []string) error {
	for _, n := range names {
		if _, ok := w.Per[n]; !ok {
			return fmt.Errorf("session: certainty.json: no weight for %q", n)
		}
	}
	if len(w.Per) != len(names) || w.Sharp <= 0 {
		return fmt.Errorf("session: certainty.json: %d weights, sharp %g; want %d, sharp above 0", len(w.Per), w.Sharp, len(names))
	}
	return nil
}

// Share is the probability of the best meaning among those found.
func (w Weights) Share(e Evidence) float64 {
	sum := 1.0
	for _, r := range e.Rivals {
		behind := r.Behind
		if r.Teen {
			behind = max(0, behind-w.Teen) // as likely at most: then it is asked
		}
		sum += math.Exp(-w.Sharp * behind)
	}
	return 1 / sum
}

// Found is the probability that the right meaning is among those found.
func (w Weights) Found(e Evidence) float64 {
	z := w.Bias
	for name, v := range e.Features {
		z += w.Per[name] * v
	}
	return 1 / (1 + math.Exp(-z))
}

// Certainty is the probability that the best meaning is right.
func (w Weights) Certainty(e Evidence) float64 { return w.Share(e) * w.Found(e) }

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
func (w Weights) candidates(p *intents.Parser, t audio.Transcript, x expectation) (list []candidate, free candidate) {
	of := func(text string, log float64) candidate {
		r := p.Parse(text, x.context)
		c := candidate{text: text, log: log, mean: meaning(r.Items), items: r.Items, whole: len(r.Items) > 0 && len(r.Doubts) == 0}
		c.score = log + w.Word*float64(len(strings.Fields(text))) - odd(r.Items) - x.against(r.Items)
		return c
	}
	for _, f := range t.Fit {
		if c := of(f.Text, f.LogLikelihood); c.whole && !contradicts(c.items) {
			list = append(list, c)
		}
	}
	free = of(t.Text, logOf(t))
	free.free = true
	if free.whole && !contradicts(free.items) {
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

// meanings are the candidates of a transcript, one for each meaning.
type meanings struct {
	order []string // by likelihood
	sums  map[string]float64
	first map[string]candidate // the best text for each
	free  candidate
	quiet float64
}

func (w Weights) meanings(p *intents.Parser, t audio.Transcript, x expectation) meanings {
	list, free := w.candidates(p, t, x)
	m := meanings{sums: map[string]float64{}, first: map[string]candidate{}, free: free, quiet: t.NoSpeech}
	for _, c := range list {
		s, seen := m.sums[c.mean]
		if !seen {
			m.order, m.first[c.mean], m.sums[c.mean] = append(m.order, c.mean), c, c.score
			continue
		}
		m.sums[c.mean] = s + math.Log1p(math.Exp(c.score-s)) // as likely as all its texts together
		if f := m.first[c.mean]; f.free {                    // what the language has is the better text
			m.first[c.mean] = c
		}
	}
	sort.SliceStable(m.order, func(i, j int) bool { return m.sums[m.order[i]] > m.sums[m.order[j]] })
	return m
}

// features tell how well the text for a meaning fits the sound.
func (m meanings) features(mean string) map[string]float64 {
	best, ok := m.first[mean]
	if !ok {
		return map[string]float64{"gap": 16, "worth": -4, "silence": m.quiet}
	}
	words, freeWords := len(strings.Fields(best.text)), len(strings.Fields(m.free.text))
	return map[string]float64{
		"gap":      max(-4, min(16, m.free.log-best.log)),
		"conflict": flag(m.free.whole && m.free.mean != best.mean),
		"worth":    max(-4, best.log/float64(max(1, words))),
		"silence":  m.quiet,
		"outside":  flag(best.free),
		"dropped":  flag(!best.free && len(written.FindAllString(m.free.text, -1)) > len(written.FindAllString(best.text, -1))),
		"fewer":    float64(max(0, min(4, freeWords-words))),
	}
}

// weigh chooses the likeliest meaning of a transcript, with the text for it and for the
// best rivals. It reports false where no text means anything.
func (w Weights) weigh(p *intents.Parser, t audio.Transcript, x expectation) (best candidate, e Evidence, rivals []candidate, ok bool) {
	m := w.meanings(p, t, x)
	if len(m.order) == 0 {
		return m.free, Evidence{}, nil, false
	}
	best = m.first[m.order[0]]
	e = Evidence{Best: best.items, Features: m.features(m.order[0])}
	e.Features["size"], e.Features["single"] = float64(len(best.items)), flag(len(strings.Fields(best.text)) == 1)
	for _, k := range m.order[1:] {
		c := m.first[k]
		rivals = append(rivals, c)
		e.Rivals = append(e.Rivals, Rival{Items: c.items, Behind: m.sums[m.order[0]] - m.sums[k], Teen: teens(best.items, c.items)})
	}
	return best, e, rivals, true
}

// weighPair does the same for two recognisers that heard the same sound: a meaning that
// one of them lacks is as likely to it as its least likely, and a nat less.
func (w Weights) weighPair(p *intents.Parser, t, second audio.Transcript, x expectation) (best candidate, e Evidence, rivals []candidate, ok bool) {
	a, b := w.meanings(p, t, x), w.meanings(p, second, x)
	sums, first := map[string]float64{}, map[string]candidate{}
	var order []string
	for _, m := range []meanings{b, a} { // the first's texts stand
		for _, k := range m.order {
			if _, seen := first[k]; !seen {
				order = append(order, k)
			}
			first[k] = m.first[k]
		}
	}
	if len(order) == 0 {
		return a.free, Evidence{}, nil, false
	}
	for _, k := range order {
		sums[k] = a.of(k) + b.of(k)
	}
	sort.SliceStable(order, func(i, j int) bool { return sums[order[i]] > sums[order[j]] })
	top := order[0]
	best = first[top]
	e = Evidence{Best: best.items, Features: a.features(top)}
	for name, v := range b.features(top) {
		e.Features[name] += v
	}
	e.Features["size"] = float64(len(best.items))
	e.Features["both"] = flag(len(a.order) > 0 && len(b.order) > 0 && a.order[0] == b.order[0])
	e.Features["first"], e.Features["second"] = flag(a.has(top)), flag(b.has(top))
	for _, k := range order[1:] {
		c := first[k]
		rivals = append(rivals, c)
		e.Rivals = append(e.Rivals, Rival{Items: c.items, Behind: sums[top] - sums[k], Teen: teens(best.items, c.items)})
	}
	return best, e, rivals, true
}

func (m meanings) has(mean string) bool {
	_, ok := m.sums[mean]
	return ok
}

func (m meanings) of(mean string) float64 {
	if s, ok := m.sums[mean]; ok {
		return s
	}
	if len(m.order) > 0 {
		return m.sums[m.order[len(m.order)-1]] - 1
	}
	return m.free.log - 8
}

var written = regexp.MustCompile(`\d+(\.\d+)?`)

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// teens reports whether two meanings differ in a reading as "fifteen" does from "fifty".
func teens(a, b []intents.Item) bool {
	for _, x := range a {
		for _, y := range b {
			if x.Reading != nil && y.Reading != nil && x.Reading.Quantity == y.Reading.Quantity && x.Reading.Place == y.Reading.Place &&
				(teen(x.Reading.Value, y.Reading.Value) || teen(y.Reading.Value, x.Reading.Value)) {
				return true
			}
		}
	}
	return false
}

// teen reports whether a ends in a whole ten where b ends in the teen that sounds like it.
func teen(a, b float64) bool {
	x, y := int(a), int(b)
	return x/100 == y/100 && x%10 == 0 && x%100 >= 20 && y%100 == 10+x%100/10
}
