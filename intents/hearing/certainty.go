package hearing

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"

	"callout/audio"
	"callout/intents"
	"callout/weights/adapters"
)

// Evidence is what speaks for and against the likeliest meaning of an utterance.
type Evidence struct {
	Best     []intents.Item
	Rivals   []Rival            // other meanings that texts of the utterance have, best first
	Features map[string]float64 // by the names in Features
	Against  float64            // nats by which readings that are not usual are less likely
	Nought   bool               // a reading may have lost a nought
}

// Rival is another meaning than the best.
type Rival struct {
	Items  []intents.Item
	Behind float64 // natural log-likelihood by which it lies behind the best
	Teen   bool    // it differs as "fifteen" does from "fifty"
}

//go:embed data/certainty.json
var certaintyData []byte

//go:embed data/certainty
var certaintyFiles embed.FS

// CommonCertaintyFile holds the weights of certainty for models that have none of their own.
const CommonCertaintyFile = "data/certainty.json"

// OwnCertaintyFile names the file of weights of certainty for one model alone: by the
// adapter in it, whatever the type of its weights, else by the beginning of its checksum in
// what its recogniser calls itself.
func OwnCertaintyFile(engine string) string {
	_, sum, _ := strings.Cut(engine, "sha256:")
	sum = sum[:min(len(sum), 64)]
	if a, ok := adapters.In(sum); ok {
		return "data/certainty/" + a.Name + ".json"
	}
	return fmt.Sprintf("data/certainty/%.12s.json", sum)
}

// CertaintyFile names the file of weights of certainty for the recogniser that calls
// itself so: its model's own, or the common one.
func CertaintyFile(engine string) string {
	own := OwnCertaintyFile(engine)
	if _, err := certaintyFiles.Open(own); err == nil {
		return own
	}
	return CommonCertaintyFile
}

// AskBelow is the certainty below which what a recogniser heard is asked back, where the
// policy leaves that to the recogniser: it is told by what the recogniser calls itself.
func AskBelow(engine string) float64 {
	c, err := CalibrationOf(engine)
	if err != nil {
		return 1 // a broken build: NewEar fails with the same error
	}
	return c.Ask
}

// CalibrationOf is the one for the recogniser that calls itself so.
func CalibrationOf(engine string) (Calibration, error) { return loadCalibration(certaintyOf(engine)) }

func certaintyOf(engine string) []byte {
	if raw, err := certaintyFiles.ReadFile(CertaintyFile(engine)); err == nil {
		return raw
	}
	return certaintyData
}

// Weights turn evidence into the probability that the best meaning is right, by a logistic
// regression; one of its features is the share of the best among all meanings found. Both
// are fitted to recordings of known content.
type Weights struct {
	Source string             `json:"source"`
	Word   float64            `json:"word"`   // nats for each word, against the pull to short texts
	Outer  float64            `json:"outer"`  // nats by which a text outside the language is set back
	Sharp  float64            `json:"sharp"`  // how much a nat between two meanings tells
	Teen   float64            `json:"teen"`   // nats less between "fifteen" and "fifty"
	Second float64            `json:"second"` // what a nat of the second recogniser is to one of the first
	Loud   float64            `json:"loud"`   // nats less in noise about as loud as the speech, see loud
	Bias   float64            `json:"bias"`
	Per    map[string]float64 `json:"per"` // of each feature
}

// Calibration is what data/certainty.json holds: the weights for one recogniser, and for
// two that heard the same sound.
type Calibration struct {
	// Primed says whether the recognisers hear better with the prompt. Those with an adapter
	// know the trade's phrases without it, and are done sooner.
	Primed bool `json:"primed"`
	// Ask is the certainty (0..1) below which a callout is asked back, unless the policy says
	// otherwise: chosen on the hearing bench's tuning voices.
	Ask float64 `json:"ask"`
	// Sure is the certainty of the first recogniser below which the second is asked.
	Sure float64 `json:"sure"`

	One  Weights `json:"one"`
	Pair Weights `json:"pair"`
}

func loadCalibration(data []byte) (Calibration, error) {
	var c Calibration
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("hearing: certainty.json: %w", err)
	}
	if !(c.Ask > 0 && c.Ask <= c.Sure && c.Sure < 1) {
		return c, fmt.Errorf("hearing: certainty.json: ask is %g and sure %g; they lie between 0 and 1, and ask is the lower", c.Ask, c.Sure)
	}
	return c, errors.Join(c.One.check(Features()), c.Pair.check(PairFeatures()))
}

func (w Weights) check(names []string) error {
	for _, n := range names {
		if _, ok := w.Per[n]; !ok {
			return fmt.Errorf("hearing: certainty.json: no weight for %q", n)
		}
	}
	if len(w.Per) != len(names) || w.Sharp <= 0 {
		return fmt.Errorf("hearing: certainty.json: %d weights, sharp %g; want %d, sharp above 0", len(w.Per), w.Sharp, len(names))
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

// torn is the share below which rivals are so near that nothing else makes the best sure.
const torn = 2. / 3

// Certainty is the probability that the best meaning is right. Where the rivals hold more
// than a third it is no more than the share of the best, and where a nought may be lost no
// more than a half: what may be misheard is asked.
func (w Weights) Certainty(e Evidence) float64 {
	z := w.Bias - e.Against
	for _, name := range slices.Sorted(maps.Keys(e.Features)) { // in order, or the last bit is chance
		z += w.Per[name] * e.Features[name]
	}
	if z > 0 {
		z = max(0, z-w.Loud*loud(e.Features["noise"])) // asked at worst, not left alone
	}
	p := 1 / (1 + math.Exp(-z))
	if e.Nought {
		p = min(p, .5) // asked: no likelihood tells
	}
	if share := w.Share(e); share < torn {
		return min(p, share)
	}
	return p
}

// loud goes from 0, for noise (in tens of dB, as the feature) 6 dB below the speech, to 1 where
// it is 3 dB below. What drowns there is heard wrongly by both recognisers alike and as
// surely as anything else, and too seldom for the regression to learn it.
func loud(noise float64) float64 { return max(0, min(1, (noise-0.9)/0.3)) }

// weigh chooses the likeliest meaning of what recognisers heard in one sound, with the
// text for it and for the best rivals. It reports false where no text means anything.
// Log-likelihoods of recognisers are added: each has its own errors.
func (w Weights) weigh(x prior, list ...audio.Transcript) (best candidate, e Evidence, rivals []candidate, ok bool) {
	heard := make([]meanings, len(list))
	first, sums := map[string]candidate{}, map[string]float64{}
	var order []string
	for i, t := range list {
		heard[i] = w.meanings(x, t)
		for _, k := range heard[i].order {
			if _, seen := first[k]; !seen {
				order, first[k] = append(order, k), heard[i].first[k]
			}
		}
	}
	if len(order) == 0 {
		return heard[0].free, Evidence{}, nil, false
	}
	for _, k := range order {
		for i, m := range heard {
			sums[k] += []float64{1, w.Second}[i] * m.of(k)
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return sums[order[i]] > sums[order[j]] })
	top := order[0]
	best = first[top]
	e = Evidence{Best: best.items, Features: features(best, heard), Against: x.usual.against(best.items), Nought: x.usual.noughtLost(best.items)}
	for _, k := range order[1:] {
		c := first[k]
		rivals = append(rivals, c)
		e.Rivals = append(e.Rivals, Rival{Items: c.items, Behind: sums[top] - sums[k], Teen: teens(best.items, c.items)})
	}
	w.among(&e, list[0].Noise)
	return best, e, rivals, true
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
