package session

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync/atomic"
	"time"

	"callout/audio"
	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
)

//go:embed data/prime.txt
var prime string

// Ear turns sound into utterances of a call. Safe for concurrent use if its
// recogniser is.
type Ear struct {
	recogniser audio.Recogniser
	parser     *intents.Parser
	second     audio.Recogniser // asked where the first is unsure; nil: none
	calibrated Calibration
	prompt     string
	usual      usual
	callouts   audio.Language
	answers    audio.Language // callouts, and what only answers a question
	expects    atomic.Pointer[expectation]
}

// NewEar listens with r, primed with typical callouts, for what p understands.
func NewEar(r audio.Recogniser, p *intents.Parser) (*Ear, error) {
	e := &Ear{recogniser: r, parser: p, prompt: strings.TrimSpace(prime)}
	var err error
	if e.calibrated, err = loadCalibration(certaintyOf(r.Engine())); err != nil {
		return nil, err
	}
	if e.usual, err = loadUsual(usualData, p.Catalogue()); err != nil {
		return nil, err
	}
	if e.callouts, err = Language(p, false); err != nil {
		return nil, fmt.Errorf("session: language: %w", err)
	}
	if e.answers, err = Language(p, true); err != nil {
		return nil, fmt.Errorf("session: language: %w", err)
	}
	return e, nil
}

// Second gives the ear another recogniser, for the same sound, where the first is unsure.
// It is slower, and errs otherwise than the first does.
func (e *Ear) Second(r audio.Recogniser) { e.second = r }

// expectation is what is known of an utterance before it is heard.
type expectation struct {
	context  intents.Context
	quantity catalogue.QuantityID // whose next reading the engine expects ...
	place    catalogue.PlaceID
	low      float64 // ... between these
	high     float64
	question bool // one is open
	usual    usual
}

// surprise is how much less likely a reading outside of what the engine expects is held,
// in nats. It is small, and a floor: one in seven is as unlikely as anything gets, so that
// a surprise is still heard, and asked back.
const surprise = 2

// against is what speaks against items before they are heard, in nats.
func (x expectation) against(list []intents.Item) (nats float64) {
	for _, it := range list {
		if r := it.Reading; r != nil && r.Quantity == x.quantity && r.Place == x.place && r.Qualifier == "" && (r.Value < x.low || r.Value > x.high) {
			nats = surprise
		}
	}
	return max(nats, x.usual.against(list))
}

// pointless reports whether all that items say is yes or no, with no question open.
func (x expectation) pointless(list []intents.Item) bool {
	for _, it := range list {
		if it.Command == nil || it.Command.Command != "yes" && it.Command.Command != "no" {
			return false
		}
	}
	return !x.question
}

// Expect tells the ear what is open in the call, from now on, and what the engine expects
// to hear next. A bare number is only listened for as an answer.
func (e *Ear) Expect(c *Call) {
	x := expectation{context: c.context(), low: math.Inf(-1), high: math.Inf(1), usual: e.usual}
	x.quantity, x.place = c.Expects()
	x.question = c.asked() != nil
	if lo, hi, ok := c.job.Expect(x.quantity, x.place); ok {
		x.low, x.high = lo, hi
	}
	e.expects.Store(&x)
}

func (e *Ear) expected() expectation {
	if x := e.expects.Load(); x != nil {
		return *x
	}
	return expectation{usual: e.usual}
}

// Hints are what the ear tells a recogniser.
func (e *Ear) Hints() audio.Hints {
	h := audio.Hints{Language: e.callouts}
	if e.calibrated.Primed {
		h.Prompt = e.prompt
	}
	if e.expected().context.Open != nil {
		h.Language = e.answers
	}
	return h
}

// Hear recognises one stretch of sound. Silence gives an utterance without
// text and no error. At is the moment that the utterance ended.
func (e *Ear) Hear(ctx context.Context, sound audio.Utterance, at time.Time) (Utterance, error) {
	t, err := e.recogniser.Recognise(ctx, sound, e.Hints())
	t.Noise = audio.Noise(sound.Samples)
	if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
		return Utterance{At: at, Source: joblog.Speech, Engine: e.recogniser.Engine(), Duration: sound.Duration(), Sound: sound.Samples}, err
	}
	u := e.Understand(t)
	u.Engine = e.recogniser.Engine()
	if e.second != nil && e.Unsure(t) {
		again, err := e.second.Recognise(ctx, sound, e.Hints())
		switch {
		case err == nil || errors.Is(err, audio.ErrNoSpeech):
			if err := e.cross(ctx, sound, &t, &again); err != nil {
				return u, err
			}
			u = e.UnderstandBoth(t, again)
			u.Engine = e.recogniser.Engine() + "; " + e.second.Engine()
		case ctx.Err() != nil:
			return u, err
		} // else what the first heard stands, unsure as it is
	}
	u.At, u.Source, u.Duration, u.Sound = at, joblog.Speech, sound.Duration(), sound.Samples
	return u, nil
}

const (
	rivalsKept = 4
	rivalRange = 8 // nats behind, at most
)

// Understand chooses what was said from a transcript, says how sure it is, and keeps the
// rivals. Only text, certainty and alternatives are set.
func (e *Ear) Understand(t audio.Transcript) Utterance {
	if t.Text == "" && len(t.Fit) == 0 {
		return Utterance{}
	}
	return e.understand(e.calibrated.One, t)
}

// UnderstandBoth does the same for two recognisers' transcripts of one sound.
func (e *Ear) UnderstandBoth(t, second audio.Transcript) Utterance {
	return e.understand(e.calibrated.Pair, t, second)
}

func (e *Ear) understand(w Weights, heard ...audio.Transcript) Utterance {
	best, evidence, rivals, ok := w.weigh(e.parser, e.expected(), heard...)
	t := heard[0]
	if e.note(t, best) {
		u := asWritten(t)
		u.Certainty = typical(t.Words) // one odd word makes no note worthless
		return u
	}
	if !ok {
		return asWritten(t)
	}
	return utter(t, best, rivals, w.Certainty(evidence))
}

func asWritten(t audio.Transcript) Utterance {
	return Utterance{Text: t.Text, LogLikelihood: finite(t.LogLikelihood), Certainty: certainty(t.Words)}
}

func utter(t audio.Transcript, best candidate, rivals []candidate, certainty float64) Utterance {
	u := Utterance{Text: best.text, LogLikelihood: finite(best.log), Certainty: certainty}
	for _, r := range rivals {
		if len(u.Alternatives) < rivalsKept && r.score > best.score-rivalRange {
			u.Alternatives = append(u.Alternatives, joblog.Alternative{Text: r.text, LogLikelihood: finite(r.log)})
		}
	}
	if t.Text != best.text && t.Text != "" {
		u.Alternatives = append(u.Alternatives, joblog.Alternative{Text: t.Text, LogLikelihood: finite(t.LogLikelihood)})
	}
	return u
}

// Evidence is what a transcript holds for its likeliest meaning, for fitting the weights.
// It reports false where nothing in it means anything, or it is a note.
func (e *Ear) Evidence(t audio.Transcript) (Evidence, bool) {
	return e.evidence(e.calibrated.One, t)
}

// EvidenceBoth is the same of two recognisers' transcripts.
func (e *Ear) EvidenceBoth(t, second audio.Transcript) (Evidence, bool) {
	return e.evidence(e.calibrated.Pair, t, second)
}

func (e *Ear) evidence(w Weights, heard ...audio.Transcript) (Evidence, bool) {
	best, evidence, _, ok := w.weigh(e.parser, e.expected(), heard...)
	return evidence, ok && !e.note(heard[0], best)
}

// Calibration is the one in use.
func (e *Ear) Calibration() Calibration { return e.calibrated }

// Calibrate puts another in its place. Not safe while the ear is in use.
func (e *Ear) Calibrate(c Calibration) { e.calibrated = c }

// note reports whether what was heard is a note, kept as it was written: the language has
// none, and a text of it must be about as likely as the note to be taken instead.
func (e *Ear) note(t audio.Transcript, best candidate) bool {
	is := func(list []intents.Item) bool { return len(list) > 0 && list[0].Note != "" }
	return is(best.items) || logOf(t) > best.log+2 && is(e.parser.Parse(t.Text, e.expected().context).Items)
}

// finite is v, or 0 for a likelihood that is not known.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// certainty is the probability of the least sure word: a callout is as good as
// its worst word, for that may be the number. Without probabilities it is 0.
func certainty(words []audio.Word) float64 {
	if len(words) == 0 {
		return 0
	}
	least := 0.0
	for _, w := range words {
		if math.IsNaN(w.LogProb) {
			return 0
		}
		least = math.Min(least, w.LogProb)
	}
	return math.Exp(least)
}

// typical is the mean probability of the words, taken over their logarithms.
func typical(words []audio.Word) float64 {
	sum, n := 0.0, 0
	for _, w := range words {
		if !math.IsNaN(w.LogProb) {
			sum, n = sum+w.LogProb, n+1
		}
	}
	if n == 0 {
		return 0
	}
	return math.Exp(sum / float64(n))
}
