package session

import (
	"strings"

	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
)

func fromReading(r joblog.Reading) catalogue.Reading {
	return catalogue.Reading{Quantity: catalogue.QuantityID(r.Quantity), Place: catalogue.PlaceID(r.Place),
		Value: r.Value, Unit: catalogue.UnitID(r.Unit), Qualifier: catalogue.Qualifier(r.Qualifier)}
}

func toReading(r catalogue.Reading, certainty float64) joblog.Reading {
	return joblog.Reading{Quantity: string(r.Quantity), Place: string(r.Place), Value: r.Value,
		Unit: string(r.Unit), Qualifier: joblog.Qualifier(r.Qualifier), Certainty: certainty}
}

func fromObservation(o joblog.Observation) catalogue.Observation {
	return catalogue.Observation{Quantity: catalogue.QuantityID(o.Quantity), Place: catalogue.PlaceID(o.Place), Value: catalogue.ValueID(o.Value)}
}

func toObservation(o catalogue.Observation, certainty float64) joblog.Observation {
	return joblog.Observation{Quantity: string(o.Quantity), Place: string(o.Place), Value: string(o.Value), Certainty: certainty}
}

// callout gathers items into the body of one entry. Notes have entries of
// their own.
func callout(heard uint64, decision joblog.Decision, items []intents.Item, certainty float64) joblog.Callout {
	b := joblog.Callout{Heard: heard, Decision: decision}
	for _, it := range items {
		switch {
		case it.Reading != nil:
			b.Readings = append(b.Readings, toReading(*it.Reading, certainty))
		case it.Observation != nil:
			b.Observations = append(b.Observations, toObservation(*it.Observation, certainty))
		case it.Declaration != "":
			b.Declarations = append(b.Declarations, joblog.Declaration{Declaration: string(it.Declaration), Certainty: certainty})
		case it.Repair != "":
			b.Repairs = append(b.Repairs, string(it.Repair))
		case it.Question != nil:
			b.Commands = append(b.Commands, logged(*it.Question))
		case it.Command != nil:
			b.Commands = append(b.Commands, joblog.Command{Command: string(it.Command.Command), Number: it.Command.Number, Text: it.Command.Text})
		}
	}
	return b
}

// items are what a considered callout could have meant.
func items(b joblog.Callout) []intents.Item {
	var list []intents.Item
	for _, r := range b.Readings {
		reading := fromReading(r)
		list = append(list, intents.Item{Reading: &reading})
	}
	for _, o := range b.Observations {
		seen := fromObservation(o)
		list = append(list, intents.Item{Observation: &seen})
	}
	for _, d := range b.Declarations {
		list = append(list, intents.Item{Declaration: catalogue.DeclarationID(d.Declaration)})
	}
	for _, r := range b.Repairs {
		list = append(list, intents.Item{Repair: catalogue.RepairID(r)})
	}
	for _, cmd := range b.Commands {
		list = append(list, intents.Item{Command: &catalogue.Asked{Command: catalogue.CommandID(cmd.Command), Number: cmd.Number, Text: cmd.Text}})
	}
	return list
}

// words says what an item is, for reading back and asking back.
func (c *Call) words(it intents.Item) string {
	cat := c.know.Catalogue
	switch {
	case it.Reading != nil:
		return c.know.Book.Reading(*it.Reading)
	case it.Observation != nil:
		return c.know.Book.Observation(*it.Observation)
	case it.Declaration != "":
		d, _ := cat.Declaration(it.Declaration)
		return d.Name
	case it.Repair != "":
		r, _ := cat.Repair(it.Repair)
		return "done: " + r.Name
	case it.Question != nil:
		return "a question: " + strings.ReplaceAll(it.Question.String(), "_", " ")
	case it.Command != nil:
		cmd, _ := cat.Command(it.Command.Command)
		return "“" + cmd.Spoken[0] + "”"
	}
	return it.Note
}
