package hearing

import (
	"context"

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

// cross lets each recogniser score what only the other found, if it can.
func (e *Ear) cross(ctx context.Context, sound audio.Utterance, heard *Trace) error {
	t, again := &heard.First, heard.Second
	forFirst, forSecond := e.missing(*t, *again), e.missing(*again, *t)
	for _, side := range []struct {
		r     audio.Recogniser
		t     *audio.Transcript
		texts []string
	}{{e.second, again, forSecond}, {e.recogniser, t, forFirst}} { // the second has just heard it
		scorer, ok := side.r.(audio.Scorer)
		if !ok || len(side.texts) == 0 {
			continue
		}
		logs, err := scorer.Score(ctx, sound, e.Hints(), side.t.Window, side.texts)
		if ctx.Err() != nil {
			return err
		}
		if err != nil {
			continue // a recogniser that can't score is no worse than one that wasn't asked
		}
		for i, log := range logs {
			side.t.Scored = append(side.t.Scored, audio.Hypothesis{Text: side.texts[i], LogLikelihood: log})
		}
	}
	return nil
}
