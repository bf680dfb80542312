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
func (e *Ear) Unsure(t audio.Transcript) bool { return e.unsure(e.expected(), t) }

// Talk is heard by both: the language does not vouch for it.
func (e *Ear) unsure(x prior, t audio.Transcript) bool {
	best, evidence, _, ok := e.calibrated.One.weigh(x, t)
	if note(x, t, best) {
		return false
	}
	if !ok {
		return written.MatchString(t.Text) || len(x.parse(t.Text).Doubts) > 0
	}
	if free, found := witnesses(x, []audio.Transcript{t}, best); best.free || commits(best.items) && (free == 0 || found == 0) {
		return true
	}
	c := e.calibrated.One.Certainty(evidence)
	r := x.parse(t.Text)
	means := len(r.Doubts) > 0 || len(r.Items) > 0 && !x.pointless(r.Items)
	return c < e.calibrated.Sure && (c >= vain || means)
}

const (
	textsKept = 6 // meanings of a transcript that another recogniser is asked about, at most
	textRange = 8 // nats behind the best, at most
)

// texts are those of a transcript that another recogniser should score: the best for each
// of its likeliest meanings, best first.
func (e *Ear) texts(x prior, t audio.Transcript) (list []string) {
	m := e.calibrated.One.meanings(x, t)
	for i, k := range m.order {
		if i == textsKept || m.sums[m.order[0]]-m.sums[k] > textRange {
			break
		}
		list = append(list, m.first[k].text)
	}
	return list
}

// missing are the texts of another's transcript that this one has no meaning for.
func (e *Ear) missing(x prior, t, other audio.Transcript) (texts []string) {
	has := e.calibrated.One.meanings(x, t).sums
	for _, text := range e.texts(x, other) {
		if _, ok := has[meaning(x.parse(text).Items)]; !ok {
			texts = append(texts, text)
		}
	}
	return texts
}

// cross lets each recogniser score what only the other found, if they can.
func (e *Ear) cross(ctx context.Context, sound audio.Utterance, x prior, t *Trace) error {
	forSecond, forFirst := e.missing(x, *t.Second, t.First), e.missing(x, t.First, *t.Second)
	if err := e.score(ctx, sound, e.second, t.Second, forSecond); err != nil { // it has just heard it
		return err
	}
	return e.score(ctx, sound, e.recogniser, &t.First, forFirst)
}

// score adds to a transcript how likely its recogniser holds texts. One that can't score is
// no worse than one that wasn't asked.
func (e *Ear) score(ctx context.Context, sound audio.Utterance, r audio.Recogniser, t *audio.Transcript, texts []string) error {
	scorer, ok := r.(audio.Scorer)
	if !ok || len(texts) == 0 {
		return nil
	}
	logs, err := scorer.Score(ctx, sound, e.Hints(), t.Window, texts)
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
