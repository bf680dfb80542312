package session

import (
	"math"
	"regexp"
	"strings"

	"callout/catalogue"
	"callout/intents"
	"callout/prompts"
)

// Outlook is what would become of an utterance at this moment, for the ear to
// know how long to wait for more of it.
type Outlook struct {
	// Whole: something in it would be recorded or done, and nothing is missing.
	Whole bool
	// Unfinished: a callout began and its end is missing.
	Unfinished bool
	// Doubtful: what is in it is not clear, and will be asked back.
	Doubtful bool
	// Grows: it ends in a number that one more word would make quite another, as
	// "forty" becomes "forty seven".
	Grows bool
	// Commands are those in it.
	Commands []catalogue.CommandID
	// ReadBack is how the answer would begin, "" if that is not known.
	ReadBack string
}

// Foresee looks at an utterance without taking it. The call does not change.
func (c *Call) Foresee(u Utterance) Outlook {
	var o Outlook
	if c.closed || strings.TrimSpace(u.Text) == "" {
		return o
	}
	ctx := c.context()
	r := c.know.Parser.Parse(u.Text, ctx)
	for _, it := range r.Items {
		if it.Command != nil {
			o.Commands = append(o.Commands, it.Command.Command)
		}
	}
	for _, d := range r.Doubts {
		o.Unfinished = o.Unfinished || d.Kind == intents.Incomplete
	}
	o.Doubtful = len(r.Doubts) > 0 && !o.Unfinished
	o.Whole = len(r.Items) > 0 && len(r.Doubts) == 0
	if o.Whole && numeric(r.Items[len(r.Items)-1]) {
		o.Grows = openNumber.MatchString(u.Text)
		more := c.know.Parser.Parse(strings.TrimRight(u.Text, " .,!?")+" seven", ctx)
		if len(more.Doubts) == 0 && len(more.Items) == len(r.Items) {
			o.Grows = o.Grows || math.Abs(value(more.Items[len(more.Items)-1])-value(r.Items[len(r.Items)-1])) >= 1
		}
	}
	o.ReadBack = c.firstWords(c.decide(u))
	return o
}

// openNumber is a number in digits whose last word is a ten or "hundred", which "seven"
// written behind it would not join.
var openNumber = regexp.MustCompile(`(^|[^0-9.])[0-9]+([2-9]0|00)[ .,!?]*$`)

func numeric(it intents.Item) bool {
	return it.Reading != nil && it.Reading.Qualifier == "" || it.Command != nil && it.Command.Number != nil
}

// value is the item's number; 0 if it has none.
func value(it intents.Item) float64 {
	switch {
	case it.Reading != nil:
		return it.Reading.Value
	case it.Command != nil && it.Command.Number != nil:
		return *it.Command.Number
	}
	return 0
}

// firstWords is how the answer to d begins, where that is plain.
func (c *Call) firstWords(d decision) string {
	id, args := "", prompts.Args(nil)
	switch {
	case d.answer != nil:
		return ""
	case len(d.record) > 0:
		var said []string
		for _, it := range d.record {
			if it.Command != nil || it.Repair != "" || it.Note != "" {
				return ""
			}
			said = append(said, c.words(it))
		}
		id, args = "read_back", prompts.Args{"What": capital(join(said))}
	case len(d.ask) > 0:
		id, args = d.ask[0].phrase, d.ask[0].args
	default:
		return ""
	}
	line, err := c.know.Book.Line(id, args)
	if err != nil {
		return ""
	}
	return line.Text
}
