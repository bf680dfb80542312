package session

import (
	"slices"
	"strings"

	"callout/catalogue"
	"callout/intents"
	"callout/intents/hearing"
	"callout/joblog"
)

// decision is what should become of an utterance.
type decision struct {
	record  []intents.Item
	ask     []asking
	answers uint64 // the question that record answers
	answer  *bool  // yes or no to the question that waits
	why     string // why nothing was made of it
	meant   []intents.Item
	denied  bool     // a no was said beside it
	named   []string // what of the trade was in words that were not understood
	own     bool     // it would answer the question, and may be the program's own voice
}

func (d decision) commands(id catalogue.CommandID) bool {
	for _, it := range d.record {
		if it.Command != nil && it.Command.Command == id {
			return true
		}
	}
	return false
}

// context tells the parser what is open.
func (c *Call) context() intents.Context {
	var ctx intents.Context
	ctx.Last, ctx.LastObservation = c.lastNumber()
	q, p := c.Expects()
	open := &intents.Asked{Quantity: q, Place: p}
	if asked := c.recent(); asked != nil && asked.choose() {
		open.Candidates, open.Where = items(asked.about), asked.Asks == joblog.Where
	}
	for _, d := range c.next.Declare {
		open.Declare = append(open.Declare, catalogue.DeclarationID(d))
	}
	open.Repair = catalogue.RepairID(c.next.Repair)
	if asked := c.recent(); asked != nil {
		open.Repair = ""
		open.Confirm, open.Declare = asked.Asks == joblog.Confirm, nil
	}
	if open.Quantity != "" || len(open.Candidates) > 0 || len(open.Declare) > 0 || open.Confirm || open.Repair != "" {
		ctx.Open = open
	}
	return ctx
}

// decide sorts one utterance into what is recorded, asked back and ignored.
// It changes nothing.
func (c *Call) decide(u Utterance) decision {
	if strings.TrimSpace(u.Text) == "" {
		return decision{why: "no words"}
	}
	if u.Certainty < c.policy.Ignore {
		return decision{why: tooUnsure}
	}
	r := c.know.Parser.Parse(u.Text, c.context())
	d := decision{why: "no callout in it", meant: r.Meant, named: r.Named}
	q := c.asked()
	mends(&r, q)
	ask := c.policy.Ask
	if ask == 0 {
		ask = hearing.AskBelow(u.Engine)
	}
	safely := max(ask, c.policy.AskSafety)
	d.denied = slices.ContainsFunc(r.Items, func(it intents.Item) bool { return it.Command != nil && it.Command.Command == "no" })
	for _, it := range r.Items {
		if it.Repair == "reset_breaker" && told(r.Items, "breaker_reset") {
			continue // what the breaker did after its reset is the finding that was asked for, and no second reset
		}
		if it.Command != nil && len(r.Items) == 1 && q != nil && u.Mixed && slices.Contains([]catalogue.CommandID{"yes", "no", "retract"}, it.Command.Command) {
			return decision{own: true}
		}
		if it.Command != nil && len(r.Items) == 1 && q != nil && it.Command.Command == "retract" {
			no := false
			d.answer = &no // what was said last is still in question: that is struck, not what stands
			return d
		}
		if it.Command != nil && len(r.Items) == 1 && q != nil && !q.choose() {
			if yes := it.Command.Command == "yes"; yes || it.Command.Command == "no" {
				d.answer = &yes
				return d
			}
		}
		if it.Command != nil && (it.Command.Command == "yes" || it.Command.Command == "no") {
			continue // they answer a question; none is open that they would fit
		}
		switch {
		case c.implausible(it):
			d.ask = append(d.ask, c.askImplausible(it))
		case u.Mixed && c.keeps(it):
			d.ask = append(d.ask, c.askOwn(it))
		case q != nil && q.seq > c.nextSeq && !d.denied && c.another(it, *q, u.Text):
			d.ask = append(d.ask, c.askConfirm(it))
		case c.takenBack(it, u.Text):
			d.ask = append(d.ask, c.askConfirm(it))
		case c.elsewhere(it) != nil:
			d.ask = append(d.ask, c.askDoubt(*c.elsewhere(it)))
		case c.contrary(it, u):
			d.ask = append(d.ask, c.askContrary(it))
		case u.Certainty < c.needed(it, ask, safely), u.Certainty < safely && !c.named(it, u.Text), c.halved(it, r, u), u.Cut && (it.Command == nil || it.Command.Number != nil):
			d.ask = append(d.ask, c.askUnsure(it, u))
		default:
			d.record = append(d.record, it)
		}
	}
	if q != nil && answers(*q, d.record) {
		d.answers = q.seq
	}
	for _, doubt := range r.Doubts {
		d.ask = append(d.ask, c.askDoubt(doubt))
	}
	return d
}

// mends makes a correction of a value that answers a question about one reading that
// reading: "no, twelve" is about what was asked, not about what was recorded before.
func mends(r *intents.Result, q *question) {
	if q == nil || len(q.about.Readings) == 0 || slices.ContainsFunc(q.about.Readings, func(x joblog.Reading) bool {
		return x.Quantity != q.about.Readings[0].Quantity || x.Place != q.about.Readings[0].Place
	}) {
		return
	}
	mended := false
	mend := func(list []intents.Item) {
		for i, it := range list {
			if it.Command == nil || it.Command.Command != "correct" || it.Command.Number == nil {
				continue
			}
			about := fromReading(q.about.Readings[0])
			about.Value, about.Qualifier = *it.Command.Number, ""
			list[i].Command, list[i].Reading, mended = nil, &about, true
		}
	}
	if mend(r.Items); mended { // what was asked is denied
		r.Items = append(r.Items, intents.Item{Command: &catalogue.Asked{Command: "no"}})
	}
	for i := range r.Doubts {
		mend(r.Doubts[i].Candidates)
	}
}

// keeps reports whether an item would change what is recorded or decided. A command that
// only makes the program speak does not.
func (c *Call) keeps(it intents.Item) bool {
	if it.Question != nil {
		return false
	}
	if it.Command == nil {
		return true
	}
	cmd, _ := c.know.Catalogue.Command(it.Command.Command)
	return cmd.Changes
}

// told reports whether something was observed of a quantity.
func told(items []intents.Item, q catalogue.QuantityID) bool {
	for _, it := range items {
		if it.Observation != nil && it.Observation.Quantity == q {
			return true
		}
	}
	return false
}

// another reports whether it is another number alone than the one that a yes or a no was
// asked about: that is neither yes nor no, and could be anything that sounds like it.
// Where the number asked about can hardly be, one that can is that number said again.
func (c *Call) another(it intents.Item, q question, text string) bool {
	if it.Reading == nil || q.Asks != joblog.Confirm || len(q.about.Readings) != 1 || c.named(it, text) {
		return false
	}
	asked := fromReading(q.about.Readings[0])
	return asked != *it.Reading && (c.know.Catalogue.Plausible(asked) || !c.know.Catalogue.Plausible(*it.Reading))
}

// named reports whether the words themselves say what an item is about. A bare number
// that only a question gives its meaning could be anything that sounds like one.
func (c *Call) named(it intents.Item, text string) bool {
	if it.Reading == nil {
		return true
	}
	for _, other := range c.know.Parser.Parse(text, intents.Context{}).Items {
		if other.Reading != nil && *other.Reading == *it.Reading {
			return true
		}
	}
	return false
}

// takenBack reports whether the words may say the contrary of what they declare, or that
// somebody else did it: "I pulled the wrong disconnect".
func (c *Call) takenBack(it intents.Item, text string) bool {
	d, ok := c.know.Catalogue.Declaration(it.Declaration)
	return ok && (d.Safety || d.Opposite != "") && c.know.unsettles(text, func(u unsettling) bool { return u.Asks })
}

// elsewhere is the doubt about a switch that has a namesake in the other unit, while that
// one is what the open step asks for.
func (c *Call) elsewhere(it intents.Item) *intents.Doubt {
	d, ok := c.know.Catalogue.Declaration(it.Declaration)
	if !ok || c.holds[d.ID] || slices.Contains(c.next.Declare, string(d.ID)) {
		return nil
	}
	for _, id := range d.Or {
		if slices.Contains(c.next.Declare, string(id)) {
			return &intents.Doubt{Kind: intents.Ambiguous, Said: capital(d.Name), Candidates: []intents.Item{{Declaration: id}, it}}
		}
	}
	return nil
}

// close is how near, in nats (of both ears together), an alternative must be to make a safety
// declaration unsure.
const close = 5

// halved reports whether a safety declaration may be half of what was said, or its
// opposite: a text nearly as likely says more beside it, or the contrary. A declaration is
// whole or it is asked, and a negation is never guessed.
func (c *Call) halved(it intents.Item, r intents.Result, u Utterance) bool {
	d, ok := c.know.Catalogue.Declaration(it.Declaration)
	if !ok || !d.Safety {
		return false
	}
	for _, alt := range u.Alternatives {
		if u.LogLikelihood-alt.LogLikelihood > close {
			continue
		}
		other := c.know.Parser.Parse(alt.Text, c.context())
		for _, o := range other.Items {
			if o.Declaration != "" && o.Declaration == d.Opposite || o.Declaration == it.Declaration && len(other.Items)+len(other.Doubts) > len(r.Items) {
				return true
			}
		}
	}
	return false
}

// needed is how sure the ear must be of an item to record it or act on it. A note is
// kept as it was heard. safely is the limit for switching, proving and repairs, ask that for
// all else.
func (c *Call) needed(it intents.Item, ask, safely float64) float64 {
	switch {
	case it.Declaration != "":
		d, _ := c.know.Catalogue.Declaration(it.Declaration)
		if d.Safety {
			return safely
		}
		return ask
	case it.Repair != "":
		return safely
	case it.Note != "":
		return 0
	}
	return ask
}

// clearly is how far, in nats, the contrary of a declaration must lie behind it to be
// out of the question: odds of twenty to one.
const clearly = 3.0

// contrary reports whether a declaration might be its opposite: "lock is on" for "lock
// is off". One that repeats what already holds is no news, so any trace of its
// opposite counts.
func (c *Call) contrary(it intents.Item, u Utterance) bool {
	said, ok := c.know.Catalogue.Declaration(it.Declaration)
	if !ok || !said.Safety || said.Opposite == "" || u.Source != joblog.Speech {
		return false
	}
	for _, a := range u.Alternatives {
		if u.LogLikelihood-a.LogLikelihood > clearly && !c.holds[said.ID] {
			continue
		}
		for _, other := range c.know.Parser.Parse(a.Text, c.context()).Items {
			if other.Declaration == said.Opposite {
				return true
			}
		}
	}
	return false
}

// answers reports whether what was recorded settles the question: one of its
// candidates, or a value for what it asks.
func answers(q question, record []intents.Item) bool {
	for _, it := range record {
		switch {
		case it.Reading != nil && string(it.Reading.Quantity) == q.Quantity && (string(it.Reading.Place) == q.Place || q.Asks == joblog.Where):
			return true
		case it.Observation != nil && string(it.Observation.Quantity) == q.Quantity && string(it.Observation.Place) == q.Place:
			return true
		}
		for _, cand := range items(q.about) {
			switch {
			case it.Reading != nil && cand.Reading != nil && it.Reading.Quantity == cand.Reading.Quantity && it.Reading.Place == cand.Reading.Place,
				it.Observation != nil && cand.Observation != nil && it.Observation.Quantity == cand.Observation.Quantity && it.Observation.Place == cand.Observation.Place,
				it.Declaration != "" && cand.Declaration != "",
				it.Repair != "" && it.Repair == cand.Repair:
				return true
			}
		}
	}
	return false
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// sentence gives a clause its capital and full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return capital(s)
	}
	return capital(s) + "."
}
