package hearing

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
	"callout/intents"
)

//go:embed data/prime.txt
var prime string

// Ear turns sound into texts of callouts. Safe for concurrent use if its
// recogniser is.
type Ear struct {
	recogniser audio.Recogniser
	parser     *intents.Parser
	second     audio.Recogniser // asked where the first is unsure; nil: none
	calibrated Calibration
	prompt     string
	usual      usual
	alike      alike
	callouts   audio.Language
	answers    audio.Language // callouts, and what only answers a question
	expects    atomic.Pointer[Expectation]
}

// NewEar listens with r, primed with typical callouts, for what p understands.
func NewEar(r audio.Recogniser, p *intents.Parser) (*Ear, error) {
	e := &Ear{recogniser: r, parser: p, prompt: strings.TrimSpace(prime)}
	var err error
	if e.calibrated, err = CalibrationOf(r.Engine()); err != nil {
		return nil, err
	}
	if e.usual, err = loadUsual(usualData, p.Catalogue()); err != nil {
		return nil, err
	}
	if e.alike, err = loadAlike(alikeData); err != nil {
		return nil, err
	}
	if e.callouts, err = Language(p, false); err != nil {
		return nil, fmt.Errorf("hearing: language: %w", err)
	}
	if e.answers, err = Language(p, true); err != nil {
		return nil, fmt.Errorf("hearing: language: %w", err)
	}
	return e, nil
}

// Second gives the ear another recogniser, for the same sound, where the first is unsure.
// It is slower, and errs otherwise than the first does.
func (e *Ear) Second(r audio.Recogniser) { e.second = r }

// Expect tells the ear what is open and expected, from now on. A bare number is only
// listened for as an answer.
func (e *Ear) Expect(x Expectation) { e.expects.Store(&x) }

// prior is what is known before an utterance is heard: of this call, and of readings at
// large. It remembers what it has parsed, and is for one utterance and one goroutine.
type prior struct {
	Expectation
	usual  usual
	parser *intents.Parser
	parsed map[string]intents.Result
}

// parse reads a text as the session will.
func (p prior) parse(text string) intents.Result {
	r, ok := p.parsed[text]
	if !ok {
		r = p.parser.Parse(text, p.Context)
		p.parsed[text] = r
	}
	return r
}

// against is what speaks against items before they are heard, in nats: what is not usual
// and not expected counts once.
func (p prior) against(list []intents.Item) float64 {
	return max(p.Expectation.against(list), p.usual.against(list))
}

func (e *Ear) expected() prior {
	p := prior{usual: e.usual, parser: e.parser, parsed: map[string]intents.Result{}}
	if x := e.expects.Load(); x != nil {
		p.Expectation = *x
	}
	return p
}

// Hints are what the ear tells a recogniser.
func (e *Ear) Hints() audio.Hints {
	h := audio.Hints{Language: e.callouts}
	if e.calibrated.Primed {
		h.Prompt = e.prompt
	}
	if e.expected().Context.Open != nil {
		h.Language = e.answers
	}
	return h
}

// Hear recognises one stretch of sound that ended at a moment. Silence gives no text and no
// error.
func (e *Ear) Hear(ctx context.Context, sound audio.Utterance, at time.Time) (Heard, error) {
	blank := Heard{At: at, Engine: e.recogniser.Engine(), Duration: sound.Duration(), Sound: sound.Samples}
	t, err := e.first(ctx, sound)
	if err != nil {
		return blank, err
	}
	x := e.expected()
	if err := e.confuse(ctx, sound, x, &t); err != nil {
		return blank, err
	}
	if e.second != nil && e.unsure(x, t.First) {
		if err := e.again(ctx, sound, x, &t); err != nil {
			return blank, err
		}
	}
	h := e.understand(x, t)
	h.Trace = t
	h.At, h.Engine, h.Duration, h.Sound = blank.At, blank.Engine, blank.Duration, blank.Sound
	if t.Second != nil {
		h.Engine += "; " + e.second.Engine()
	}
	return h, nil
}

// All hears with all recognisers, however sure they are: for fitting what tells when each
// is asked.
func (e *Ear) All(ctx context.Context, sound audio.Utterance) (Trace, error) {
	t, err := e.first(ctx, sound)
	x := e.expected()
	if err == nil {
		err = e.confuse(ctx, sound, x, &t)
	}
	if err == nil && e.second != nil {
		err = e.again(ctx, sound, x, &t)
	}
	return t, err
}

// first hears with the first recogniser.
func (e *Ear) first(ctx context.Context, sound audio.Utterance) (Trace, error) {
	t, err := e.recogniser.Recognise(ctx, sound, e.Hints())
	t.Noise = audio.Noise(sound.Samples)
	if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
		return Trace{}, err
	}
	return Trace{First: t}, nil
}

// again hears with the second, and lets each score what only the other found. Where it
// fails, what the first heard stands, unsure as it is.
func (e *Ear) again(ctx context.Context, sound audio.Utterance, x prior, t *Trace) error {
	second, err := e.second.Recognise(ctx, sound, e.Hints())
	switch {
	case err == nil || errors.Is(err, audio.ErrNoSpeech):
		t.Second = &second
		return e.cross(ctx, sound, x, t)
	case ctx.Err() != nil:
		return err
	}
	return nil
}

const (
	rivalsKept = 4
	rivalRange = 8 // nats behind, at most
)

// Understand chooses what was said, says how sure that is, and keeps the rivals. Only text,
// certainty, likelihood, alternatives and trace are set.
func (e *Ear) Understand(t Trace) Heard {
	h := e.understand(e.expected(), t)
	h.Trace = t
	return h
}

func (e *Ear) understand(x prior, t Trace) Heard {
	first := t.First
	if t.Second == nil && first.Text == "" && len(first.Fit) == 0 {
		return Heard{}
	}
	w, list := e.weights(t)
	best, evidence, rivals, ok := w.weigh(x, list...)
	if note(x, first, best) {
		h := asWritten(first)
		h.Certainty = typical(first.Words) // one odd word makes no note worthless
		return h
	}
	if !ok {
		return freely(x, list)
	}
	sure := w.Certainty(evidence)
	if !shared(x, list, best) {
		sure = min(sure, halfSure)
	}
	if free, found := witnesses(x, list, best); commits(best.items) && (free == 0 || free+found < 2) {
		sure = min(sure, halfSure)
		if told, not := notYet(x, list); not {
			return freely(x, []audio.Transcript{told})
		}
		if free == 0 && farBehind(first, best) {
			return freely(x, list)
		}
	}
	if sure < e.calibrated.Ask && bent(x, first, best) {
		return freely(x, list)
	}
	return chosen(first, best, rivals, sure)
}

// weights are those for what a trace holds, with its transcripts.
func (e *Ear) weights(t Trace) (Weights, []audio.Transcript) {
	if t.Second != nil {
		return e.calibrated.Pair, []audio.Transcript{t.First, *t.Second}
	}
	return e.calibrated.One, []audio.Transcript{t.First}
}

func asWritten(t audio.Transcript) Heard {
	return Heard{Text: t.Text, LogLikelihood: finite(t.LogLikelihood), Certainty: certainty(t.Words)}
}

func chosen(t audio.Transcript, best candidate, rivals []candidate, certainty float64) Heard {
	h := Heard{Text: best.text, LogLikelihood: finite(best.log), Certainty: certainty}
	for _, r := range rivals {
		if len(h.Alternatives) < rivalsKept && r.score > best.score-rivalRange {
			h.Alternatives = append(h.Alternatives, Alternative{Text: r.text, LogLikelihood: finite(r.log)})
		}
	}
	if t.Text != best.text && t.Text != "" {
		h.Alternatives = append(h.Alternatives, Alternative{Text: t.Text, LogLikelihood: finite(t.LogLikelihood)})
	}
	return h
}

// Evidence is what a trace holds for its likeliest meaning, for fitting the weights. It
// reports false where nothing in it means anything, or it is a note.
func (e *Ear) Evidence(t Trace) (Evidence, bool) {
	w, heard := e.weights(t)
	x := e.expected()
	best, evidence, _, ok := w.weigh(x, heard...)
	return evidence, ok && !note(x, t.First, best)
}

// Calibration is the one in use.
func (e *Ear) Calibration() Calibration { return e.calibrated }

// Calibrate puts another in its place. Not safe while the ear is in use.
func (e *Ear) Calibrate(c Calibration) { e.calibrated = c }

// note reports whether what was heard is a note, kept as it was written: the language has
// none, and a text of it must be about as likely as the note to be taken instead.
func note(x prior, t audio.Transcript, best candidate) bool {
	is := func(list []intents.Item) bool { return len(list) > 0 && list[0].Note != "" }
	return is(best.items) || logOf(t) > best.log+2 && is(x.parse(t.Text).Items)
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
