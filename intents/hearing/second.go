package hearing

import (
	"context"
	"slices"

	"callout/audio"
)

// vain is the certainty of the first recogniser below which two hear no callout either, on
// the tuning voices.
const vain = 0.02

// Unsure reports whether a transcript may hold a callout and is not sure to, so that a
// second recogniser should hear the sound: what means nothing may still have a number in it.
func (e *Ear) Unsure(t audio.Transcript) bool {
	best, evidence, _, ok := e.calibrated.One.weigh(e.parser, e.expected(), t)
	if e.note(t, best) {
		return false
	}
	if !ok {
		return written.MatchString(t.Text)
	}
	c := e.calibrated.One.Certainty(evidence)
	return c < e.calibrated.Sure && c >= vain
}

const (
	textsKept = 6 // meanings of a transcript that another recogniser is asked about, at most
	textRange = 8 // nats behind the best, at most
)

// texts are those of a transcript that another recogniser should score: the best for each
// of its likeliest meanings, best first.
func (e *Ear) texts(t audio.Transcript) (list []string) {
	m := e.calibrated.One.meanings(e.parser, e.expected(), t)
	for i, k := range m.order {
		if i == textsKept || m.sums[m.order[0]]-m.sums[k] > textRange {
			break
		}
		list = append(list, m.first[k].text)
	}
	return list
}

// missing are the texts of another's transcript that this one has no meaning for.
func (e *Ear) missing(t, other audio.Transcript) (texts []string) {
	has := e.calibrated.One.meanings(e.parser, e.expected(), t).sums
	for _, text := range e.texts(other) {
		if _, ok := has[meaning(e.parser.Parse(text, e.expected().Context).Items)]; !ok {
			texts = append(texts, text)
		}
	}
	return texts
}

// cross lets the last recogniser that heard score what only those before it found, and
// each of those what only the last one found, if they can.
func (e *Ear) cross(ctx context.Context, sound audio.Utterance, heard *Trace) error {
	list, by := heard.all(), e.recognisers(heard)
	last := len(list) - 1
	var forLast []string
	forOthers := make([][]string, last)
	for i, t := range list[:last] {
		for _, text := range e.missing(*list[last], *t) {
			if !slices.Contains(forLast, text) {
				forLast = append(forLast, text)
			}
		}
		forOthers[i] = e.missing(*t, *list[last])
	}
	if err := e.score(ctx, sound, by[last], list[last], forLast); err != nil { // it has just heard it
		return err
	}
	for i, t := range list[:last] {
		if err := e.score(ctx, sound, by[i], t, forOthers[i]); err != nil {
			return err
		}
	}
	return nil
}

// recognisers are those of a trace's transcripts, in their order.
func (e *Ear) recognisers(t *Trace) []audio.Recogniser {
	list := []audio.Recogniser{e.recogniser}
	if t.Second != nil {
		list = append(list, e.second)
	}
	if t.Plain != nil {
		list = append(list, e.plain)
	}
	return list
}

// score adds to a transcript how likely its recogniser holds texts. One that can't score is
// no worse than one that wasn't asked.
func (e *Ear) score(ctx context.Context, sound audio.Utterance, r audio.Recogniser, t *audio.Transcript, texts []string) error {
	scorer, ok := r.(audio.Scorer)
	if !ok || len(texts) == 0 {
		return nil
	}
	h := e.Hints()
	if r == e.plain {
		h = audio.Hints{}
	}
	logs, err := scorer.Score(ctx, sound, h, t.Window, texts)
	if ctx.Err() != nil {
		return err
	}
	if err != nil {
		return nil
	}
	for i, log := range logs {
		t.Scored = append(t.Scored, audio.Hypothesis{Text: texts[i], LogLikelihood: log})
	}
	return nil
}

// wantsPlain reports whether English as it is spoken should be heard beside what was chosen.
func (e *Ear) wantsPlain(h Heard, t Trace) bool {
	if h.Text == "" {
		return false
	}
	w, heard := e.weights(t)
	best, _, _, ok := w.weigh(e.parser, e.expected(), heard...)
	if e.note(t.First, best) {
		return false
	}
	return !ok || h.Certainty < e.calibrated.Sure || commits(best.items)
}
