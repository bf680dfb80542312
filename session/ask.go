package session

import (
	"slices"

	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
	"callout/prompts"
)

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

func (c *Call) askContrary(it intents.Item) asking {
	d, _ := c.know.Catalogue.Declaration(it.Declaration)
	about := []intents.Item{it, {Declaration: d.Opposite}}
	return asking{asks: joblog.Which, phrase: "ask_declaration", args: prompts.Args{"Candidates": []string{c.words(about[0]), c.words(about[1])}},
		about: about, because: "the opposite sounds alike"}
}

// means is the reading that an item is or, as a correction, makes of the last one.
func (c *Call) means(it intents.Item) *catalogue.Reading {
	if it.Command == nil || it.Command.Command != "correct" || it.Command.Number == nil {
		return it.Reading
	}
	last, _ := c.lastNumber()
	if last == nil {
		return nil
	}
	r := *last
	r.Value, r.Qualifier = *it.Command.Number, ""
	return &r
}

func (c *Call) implausible(it intents.Item) bool {
	r := c.means(it)
	return r != nil && !c.know.Catalogue.Plausible(*r)
}

// impossible reports whether nothing that items could mean can be read off any meter.
func (c *Call) impossible(list []intents.Item) bool {
	return len(list) > 0 && !slices.ContainsFunc(list, func(it intents.Item) bool {
		r := c.means(it)
		return r == nil || c.know.Catalogue.Possible(*r)
	})
}

// askImplausible asks about a number outside its range: what is unlikely is kept by yes,
// what can't be is only read again.
func (c *Call) askImplausible(it intents.Item) asking {
	r := *c.means(it)
	if c.impossible([]intents.Item{it}) {
		q, _ := c.know.Catalogue.Quantity(r.Quantity)
		least, most := r, r
		least.Value, most.Value = q.Range(r.Place)
		least.Qualifier, most.Qualifier = "", ""
		return asking{asks: joblog.Say, phrase: "ask_impossible", about: []intents.Item{it}, because: "outside of all that can be", quantity: r.Quantity, place: r.Place,
			args: prompts.Args{"What": c.know.Book.Reading(r), "Least": c.know.Book.Value(least), "Most": c.know.Book.Value(most)}}
	}
	return asking{asks: joblog.Confirm, phrase: "ask_implausible", args: prompts.Args{"What": c.know.Book.Reading(r)}, about: []intents.Item{it},
		because: "outside the usual range", quantity: r.Quantity, place: r.Place}
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

// askOwn asks about what was heard while the program spoke. A note and a correction have
// no short name: they are to be said again.
func (c *Call) askOwn(it intents.Item) asking {
	if it.Note != "" || it.Command != nil && it.Command.Number != nil {
		return asking{asks: joblog.Say, phrase: "ask_again", because: spokeMeanwhile}
	}
	a := c.askConfirm(it)
	a.because = spokeMeanwhile
	return a
}

const spokeMeanwhile = "the program spoke meanwhile"

// askUnsure asks about an item that was not heard surely enough. Where another text was
// nearly as likely, the question names what each of them says.
func (c *Call) askUnsure(it intents.Item, u Utterance) asking {
	for _, alt := range u.Alternatives {
		r := c.know.Parser.Parse(alt.Text, c.context())
		if len(r.Doubts) > 0 {
			continue
		}
		for _, other := range r.Items {
			if d, ok := intents.Conflict(it, other); ok {
				return c.askDoubt(d)
			}
		}
	}
	return c.askConfirm(it)
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
	bad := slices.IndexFunc(d.Candidates, func(it intents.Item) bool { return c.impossible([]intents.Item{it}) })
	switch {
	case c.impossible(d.Candidates), d.Kind == intents.Implausible && bad >= 0:
		return c.askImplausible(d.Candidates[bad])
	case d.Kind == intents.Implausible && len(d.Candidates) == 1:
		return c.askImplausible(d.Candidates[0])
	case d.Kind == intents.Negation && len(names) > 0:
		a.asks, a.phrase, a.args = joblog.Which, "ask_declaration", prompts.Args{"Candidates": names}
	case anywhere(d.Candidates):
		a.asks, a.phrase, a.args = joblog.Where, "ask_place", prompts.Args{"What": what + ", " + c.know.Book.Value(*d.Candidates[0].Reading), "Candidates": c.places(d.Candidates)}
	case len(names) > 1:
		a.asks, a.phrase, a.args = joblog.Which, "ask_which", prompts.Args{"What": what, "Candidates": c.shortNames(d.Candidates, names)}
	case len(names) == 1:
		a.asks, a.phrase, a.args = joblog.Confirm, "ask_confirm", prompts.Args{"What": names[0]}
	case d.Kind == intents.WrongUnit:
		a.phrase, a.args = "ask_unit", prompts.Args{"Said": d.Said}
	case d.Kind == intents.WhichPlace && d.Quantity != "":
		q, _ := c.know.Catalogue.Quantity(d.Quantity)
		var names []string
		for _, p := range q.Places {
			place, _ := c.know.Catalogue.Place(p)
			names = append(names, place.Name)
		}
		a.asks, a.phrase, a.args = joblog.Where, "ask_place", prompts.Args{"What": what, "Candidates": names}
	case d.Quantity != "":
		a.phrase, a.args = c.askOpen(d, what)
	default:
		a.phrase = "ask_again"
	}
	return a
}

func (c *Call) askOpen(d intents.Doubt, what string) (string, prompts.Args) {
	q, _ := c.know.Catalogue.Quantity(d.Quantity)
	if q.Kind.Numeric() {
		return "ask_value", prompts.Args{"What": what}
	}
	var choices []string
	for _, v := range q.Values {
		choices = append(choices, v.Name)
	}
	return "ask_choice", prompts.Args{"What": what, "Candidates": choices}
}

// anywhere reports whether candidates are one reading that differs only in its place.
func anywhere(list []intents.Item) bool {
	if len(list) < 2 {
		return false
	}
	for _, it := range list {
		if it.Reading == nil || list[0].Reading == nil {
			return false
		}
		r := *it.Reading
		if r.Place = list[0].Reading.Place; r != *list[0].Reading {
			return false
		}
	}
	return true
}

func (c *Call) places(list []intents.Item) []string {
	var names []string
	for _, it := range list {
		place, _ := c.know.Catalogue.Place(it.Reading.Place)
		names = append(names, place.Name)
	}
	return names
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
