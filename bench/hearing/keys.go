package main

import (
	"strconv"

	"callout/intents"
)

// keysOf writes what was understood in the bench's words, one key an item: notes are
// "note" alone.
func keysOf(list []intents.Item) []string {
	var out []string
	for _, it := range list {
		switch {
		case it.Reading != nil:
			r := it.Reading
			s := string(r.Quantity) + " " + string(r.Place) + " " + strconv.FormatFloat(r.Value, 'f', -1, 64)
			if r.Qualifier != "" {
				s += " " + string(r.Qualifier)
			}
			out = append(out, s)
		case it.Observation != nil:
			out = append(out, string(it.Observation.Quantity)+" "+string(it.Observation.Place)+" "+string(it.Observation.Value))
		case it.Declaration != "":
			out = append(out, "declare "+string(it.Declaration))
		case it.Repair != "":
			out = append(out, "repair "+string(it.Repair))
		case it.Command != nil:
			out = append(out, "command "+string(it.Command.Command))
		case it.Note != "":
			out = append(out, "note")
		}
	}
	return out
}
