package intents

import (
	"fmt"
	"math"
	"slices"
)

// trust says how surely what was made of talk is what was meant: a logistic regression over
// how it was put together and what was left over, fitted by TestFitTalk of the package
// session to the work half of testdata/talk.
type trust struct {
	Bias   float64            `json:"bias"`
	Per    map[string]float64 `json:"per"`
	Enough float64            `json:"enough"` // to be recorded
	Safely float64            `json:"safely"` // the same of a declaration or a repair
	Source string             `json:"source"`
}

// Evidence is what trust is put in: the items that talk would record, and the features.
type Evidence struct {
	Items    []Item
	Features map[string]float64
}

// Evidence reads a text as talk and gives what its items are trusted by. ok is false where
// nothing is in it, or where something in it is asked about whatever the evidence.
func (p *Parser) Evidence(text string, ctx Context) (e Evidence, ok bool) {
	toks, _ := scan(text, p.lex.alphabet)
	u := &utterance{p: p, text: text, toks: toks, env: p.environment(ctx)}
	u.talk(ctx)
	return u.evidence, len(u.evidence.Items) > 0
}

// trusted reports whether the islands are trusted enough to be recorded.
func (u *utterance) trusted(kept []island, w weighing) bool {
	t := u.p.free.trust
	u.evidence = Evidence{Features: u.features(kept, w)}
	for _, x := range kept {
		if len(x.items) == 1 {
			u.evidence.Items = append(u.evidence.Items, x.items[0]...)
		}
	}
	if slices.ContainsFunc(kept, func(x island) bool { return len(x.items) > 1 }) {
		u.evidence.Items = nil // it is asked anyway
	}
	sum := t.Bias
	for name, v := range u.evidence.Features {
		sum += t.Per[name] * v
	}
	enough := t.Enough
	for _, x := range kept {
		if switches(x.items[0]) {
			enough = t.Safely
		}
	}
	return 1/(1+math.Exp(-sum)) >= enough
}

// features describes how islands cover a text.
func (u *utterance) features(kept []island, w weighing) map[string]float64 {
	n := float64(max(1, len(u.toks)))
	f := map[string]float64{
		"words":      math.Min(float64(w.words), 6),
		"word share": float64(w.words) / n,
		"parts":      math.Min(float64(w.trade), 3),
		"any part":   one(w.trade > 0),
		"states":     math.Min(float64(w.state), 3),
		"any state":  one(w.state > 0),
		"understood": math.Min(1, float64(w.understood)/n),
		"length":     math.Min(n, 30) / 10,
		"margin":     math.Min(u.margin, 2),
		"rival":      one(u.margin < .3),
		"several":    one(len(kept) > 1),
		"many":       one(len(kept) > 2),
	}
	quantities := map[string]bool{}
	for _, x := range kept {
		f["cost"] = math.Max(f["cost"], math.Min(x.cost, 3))
		switch {
		case x.frame == nil:
			f["callout"] = 1
		case len(x.frame.say) == 0:
			f["cues"] = 1
		default:
			f["order"] = 1
		}
		if x.frame != nil && len(x.frame.open) > 0 {
			f["open"] = 1
		}
		if x.frame != nil && x.frame.alone {
			f["alone"] = 1
		}
		for _, it := range x.items[0] {
			kind := kindOf(it)
			f[kind], quantities[kind+fmt.Sprint(quantityOf(it))] = 1, true
		}
	}
	f["mixed"], f["very mixed"] = one(len(quantities) > 1), one(len(quantities) > 2)
	for _, kind := range []string{"reading", "observation"} {
		f[kind+" and words"] = f[kind] * f["words"]
		f[kind+" and part"] = f[kind] * f["any part"]
		f[kind+" and state"] = f[kind] * f["any state"]
	}
	return f
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func quantityOf(it Item) (q string) {
	switch {
	case it.Reading != nil:
		q = string(it.Reading.Quantity)
	case it.Observation != nil:
		q = string(it.Observation.Quantity)
	}
	return q
}

func kindOf(it Item) string {
	switch {
	case it.Reading != nil:
		return "reading"
	case it.Observation != nil && it.Observation.Quantity == "complaint":
		return "complaint"
	case it.Observation != nil:
		return "observation"
	case it.Declaration != "":
		return "declaration"
	case it.Repair != "":
		return "repair"
	case it.Question != nil:
		return "question"
	}
	return "command"
}
