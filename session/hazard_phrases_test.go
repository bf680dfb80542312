package session_test

import (
	"slices"
	"strconv"
	"strings"

	"callout/catalogue"
	"callout/intents"
	"callout/session"
	"callout/session/internal/hazard"
)

// phrases turns what a technician tells into typed words, of all that the catalogue
// has. What the words mean is known from what they were made of, not from the parser:
// the parser only picks forms that stand by themselves.
type phrases struct {
	know   *session.Knowledge
	frames map[string][]string // by quantity and place: forms with a % for the value
}

func newPhrases(k *session.Knowledge) *phrases { return &phrases{k, map[string][]string{}} }

// declared lists every way to say a declaration, and no other.
func (f *phrases) declared(d catalogue.DeclarationID) []string {
	x, _ := f.know.Catalogue.Declaration(d)
	return slices.DeleteFunc(slices.Clone(x.Spoken), func(text string) bool {
		got := f.know.Parser.Parse(text, intents.Context{})
		return len(got.Items) != 1 || got.Items[0].Declaration != d
	})
}

// reading is a whole phrase for a number, "" if there is none that stands by itself.
func (f *phrases) reading(r catalogue.Reading) string {
	value := strconv.FormatFloat(r.Value, 'f', -1, 64)
	switch r.Qualifier {
	case "nothing":
		value = "nothing"
	case "unsteady":
		value += " unsteady"
	case "open_line":
		value = "open line"
	}
	for _, form := range f.forms(r.Quantity, r.Place) {
		text := strings.Replace(form, "%", value, 1)
		got := f.know.Parser.Parse(text, intents.Context{})
		if len(got.Items) == 1 && len(got.Doubts) == 0 && got.Items[0].Reading != nil && *got.Items[0].Reading == r {
			return text
		}
	}
	return ""
}

func (f *phrases) forms(q catalogue.QuantityID, p catalogue.PlaceID) []string {
	key := string(q) + " " + string(p)
	if forms, ok := f.frames[key]; ok {
		return forms
	}
	quantity, _ := f.know.Catalogue.Quantity(q)
	place, _ := f.know.Catalogue.Place(p)
	places := append([]string{place.Name, strings.ReplaceAll(string(p), "_", " ")}, place.Spoken...)
	names := append([]string{quantity.Name}, quantity.Spoken...)
	var forms []string
	for _, at := range places {
		for _, name := range names {
			forms = append(forms, name+" "+at+" %", at+" "+name+" %")
		}
		if q == "voltage" {
			forms = append(forms, at+" % volts")
		}
	}
	f.frames[key] = forms
	return forms
}

// seen is a whole phrase for an observation, "" if there is none.
func (f *phrases) seen(o catalogue.Observation) string {
	q, _ := f.know.Catalogue.Quantity(o.Quantity)
	v, _ := q.Value(o.Value)
	place, _ := f.know.Catalogue.Place(o.Place)
	forms := append([]string(nil), v.Alone[o.Place]...)
	for _, say := range append([]string{v.Name}, v.Spoken...) {
		for _, name := range append([]string{q.Name}, q.Spoken...) {
			forms = append(forms, name+" "+say)
			for _, at := range append([]string{place.Name}, place.Spoken...) {
				forms = append(forms, name+" "+at+" "+say, at+" "+name+" "+say)
			}
		}
		for _, at := range append([]string{place.Name}, place.Spoken...) {
			forms = append(forms, at+" is "+say, at+" "+say)
		}
	}
	for _, text := range forms {
		got := f.know.Parser.Parse(text, intents.Context{})
		if len(got.Items) == 1 && len(got.Doubts) == 0 && got.Items[0].Observation != nil && *got.Items[0].Observation == o {
			return text
		}
	}
	return ""
}

// words is one way to tell something.
func (f *phrases) words(t hazard.Told) string {
	switch {
	case t.Reading != nil:
		if text := f.reading(*t.Reading); text != "" {
			return text
		}
		return intString(t.Reading.Value)
	case t.Observation != nil:
		return f.seen(*t.Observation)
	case t.Declaration != "":
		return f.declared(t.Declaration)[0]
	}
	x, _ := f.know.Catalogue.Repair(t.Repair)
	return x.Spoken[0]
}

// volts is a voltage at a place as told.
func volts(p catalogue.PlaceID, v float64) hazard.Told {
	return number("voltage", p, v, "V")
}

func number(q catalogue.QuantityID, p catalogue.PlaceID, v float64, unit catalogue.UnitID) hazard.Told {
	return hazard.Told{Reading: &catalogue.Reading{Quantity: q, Place: p, Value: v, Unit: unit}}
}

func declare(d catalogue.DeclarationID) hazard.Told { return hazard.Told{Declaration: d} }

func see(q catalogue.QuantityID, p catalogue.PlaceID, v catalogue.ValueID) hazard.Told {
	return hazard.Told{Observation: &catalogue.Observation{Quantity: q, Place: p, Value: v}}
}
