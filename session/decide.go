package session

import (
	"strings"

	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
	"callout/prompts"
)

// decision is what should become of an utterance.
type decision struct {
	record  []intents.Item
	ask     []asking
	answers uint64 // the question that record answers
	answer  *bool  // yes or no to the question that waits
	why     string // why nothing was made of it
}

// asking is one question to be put.
type asking struct {
	asks     joblog.Asks
	phrase   string
	args     prompts.Args
	about    []intents.Item
	because  string
	quantity catalogue.QuantityID
	place    catalogue.PlaceID
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
	if asked := c.recent(); asked != nil && asked.Asks == joblog.Which {
		open.Candidates = items(asked.about)
	}
	if open.Quantity != "" || len(open.Candidates) > 0 {
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
		return decision{why: "too unsure to be a callout"}
	}
	r := c.know.Parser.Parse(u.Text, c.context())
	d := decision{why: "no callout in it"}
	q := c.asked()
	ask := c.policy.Ask
	if ask == 0 {
		ask = AskBelow(u.Engine)
	}
	for _, it := range r.Items {
		if it.Command != nil && len(r.Items) == 1 && q != nil && it.Command.Command == "retract" {
			no := false
			d.answer = &no // what was said last is still in question: that is struck, not what stands
			return d
		}
		if it.Command != nil && len(r.Items) == 1 && q != nil && q.Asks != joblog.Which {
			if yes := it.Command.Command == "yes"; yes || it.Command.Command == "no" {
				d.answer = &yes
				return d
			}
		}
		if it.Command != nil && (it.Command.Command == "yes" || it.Command.Command == "no") {
			continue // they answer a question; none is open that they would fit
		}
		switch {
		case it.Reading != nil && !c.know.Catalogue.Plausible(*it.Reading):
			d.ask = append(d.ask, c.askImplausible(it))
		case c.contrary(it, u):
			d.ask = append(d.ask, c.askContrary(it))
		case u.Certainty < c.needed(it, ask), u.Certainty < c.policy.AskSafety && !c.named(it, u.Text), c.halved(it, r, u), u.Cut && (it.Command == nil || it.Command.Number != nil):
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

// close is how near, in nats, an alternative must be to make a safety declaration unsure.
const close = 4

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
// kept as it was heard. ask is the limit for what is neither switching nor a repair.
func (c *Call) needed(it intents.Item, ask float64) float64 {
	switch {
	case it.Declaration != "":
		d, _ := c.know.Catalogue.Declaration(it.Declaration)
		if d.Safety {
			return c.policy.AskSafety
		}
		return ask
	case it.Repair != "":
		return c.policy.AskSafety
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
		case it.Reading != nil && string(it.Reading.Quantity) == q.Quantity && string(it.Reading.Place) == q.Place:
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

func (c *Call) askContrary(it intents.Item) asking {
	d, _ := c.know.Catalogue.Declaration(it.Declaration)
	about := []intents.Item{it, {Declaration: d.Opposite}}
	return asking{asks: joblog.Which, phrase: "ask_declaration", args: prompts.Args{"Candidates": []string{c.words(about[0]), c.words(about[1])}},
		about: about, because: "the opposite sounds alike"}
}

func (c *Call) askImplausible(it intents.Item) asking {
	return asking{asks: joblog.Confirm, phrase: "ask_implausible", args: prompts.Args{"What": c.words(it)}, about: []intents.Item{it},
		because: "outside the usual range", quantity: it.Reading.Quantity, place: it.Reading.Place}
}

func (c *Call) askConfirm(it intents.Item) asking {
	a := asking{asks: joblog.Confirm, phrase: "ask_confirm", args: prompts.Args{"What": c.words(it)}, about: []intents.Item{it}, because: "not heard surely enough"}
	switch {
	case it.Reading != nil:
		a.quantity, a.place = it.Reading.Quantity, it.Reading.Place
	case it.Observation != nil:
		a.quantity, a.place = it.Observation.Quantity, it.Observation.Place
	}
	return a
}

// askUnsure asks about an item that was not heard surely enough. Where another text was
// nearly as likely, the question names what each of them says.
func (c *Call) askUnsure(it intents.Item, u Utterance) asking {
	for _, alt := range u.Alternatives {
		r := c.know.Parser.Parse(alt.Text, c.context())
		if len(r.Doubts) > 0 {
			continue
		}
		for _, other := range r.Items {
			if d, ok := rivals(it, other); ok {
				return c.askDoubt(d)
			}
		}
	}
	return c.askConfirm(it)
}

// rivals is the doubt between two items that are of the same kind and differ, such as two
// values for one reading, or a declaration and another.
func rivals(a, b intents.Item) (intents.Doubt, bool) {
	d := intents.Doubt{Kind: intents.Ambiguous, Said: a.Said, Candidates: []intents.Item{a, b}}
	switch {
	case a.Reading != nil && b.Reading != nil:
		d.Quantity, d.Place = a.Reading.Quantity, a.Reading.Place
		return d, d.Quantity == b.Reading.Quantity && d.Place == b.Reading.Place && *a.Reading != *b.Reading
	case a.Observation != nil && b.Observation != nil:
		d.Quantity, d.Place = a.Observation.Quantity, a.Observation.Place
		return d, d.Quantity == b.Observation.Quantity && d.Place == b.Observation.Place && *a.Observation != *b.Observation
	case a.Declaration != "" && b.Declaration != "":
		d.Kind = intents.Negation
		return d, a.Declaration != b.Declaration
	}
	return d, false
}

// askDoubt turns a doubt of the parser into a question.
func (c *Call) askDoubt(d intents.Doubt) asking {
	a := asking{asks: joblog.Say, about: d.Candidates, because: d.Kind + ": " + d.Said, quantity: d.Quantity, place: d.Place}
	names := make([]string, 0, len(d.Candidates))
	for _, it := range d.Candidates {
		names = append(names, c.words(it))
	}
	what := d.Said
	if q, ok := c.know.Catalogue.Quantity(d.Quantity); ok {
		what = capital(q.Name)
		if d.Place != "" {
			what = capital(c.know.Book.Named(d.Quantity, d.Place))
		}
	}
	switch {
	case d.Kind == intents.Implausible && len(d.Candidates) == 1:
		a.asks, a.phrase, a.args = joblog.Confirm, "ask_implausible", prompts.Args{"What": names[0]}
	case d.Kind == intents.Negation && len(names) > 0:
		a.asks, a.phrase, a.args = joblog.Which, "ask_declaration", prompts.Args{"Candidates": names}
	case len(names) > 1:
		a.asks, a.phrase, a.args = joblog.Which, "ask_which", prompts.Args{"What": what, "Candidates": c.shortNames(d.Candidates, names)}
	case len(names) == 1:
		a.asks, a.phrase, a.args = joblog.Confirm, "ask_confirm", prompts.Args{"What": names[0]}
	case d.Kind == intents.WrongUnit:
		a.phrase, a.args = "ask_unit", prompts.Args{"Said": d.Said}
	case d.Quantity != "":
		a.phrase, a.args = c.askOpen(d, what)
	default:
		a.phrase = "ask_again"
	}
	return a
}

func (c *Call) askOpen(d intents.Doubt, what string) (string, prompts.Args) {
	q, _ := c.know.Catalogue.Quantity(d.Quantity)
	if d.Kind == intents.WhichPlace {
		var places []string
		for _, p := range q.Places {
			place, _ := c.know.Catalogue.Place(p)
			places = append(places, place.Name)
		}
		return "ask_place", prompts.Args{"What": what, "Candidates": places}
	}
	if q.Kind.Numeric() {
		return "ask_value", prompts.Args{"What": what}
	}
	var choices []string
	for _, v := range q.Values {
		choices = append(choices, v.Name)
	}
	return "ask_choice", prompts.Args{"What": what, "Candidates": choices}
}

// shortNames names candidates by their values alone where they differ in
// nothing else: "15 A or 50 A".
func (c *Call) shortNames(list []intents.Item, full []string) []string {
	var short []string
	for _, it := range list {
		if it.Reading == nil || it.Reading.Quantity != list[0].Reading.Quantity || it.Reading.Place != list[0].Reading.Place {
			return full
		}
		short = append(short, c.know.Book.Value(*it.Reading))
	}
	return short
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
