package intents

// Conflict is the doubt between two items that are of the same kind and differ, such as two
// values for one reading, or a declaration and another. It reports false where they do not.
func Conflict(a, b Item) (Doubt, bool) {
	d := Doubt{Kind: Ambiguous, Said: a.Said, Candidates: []Item{a, b}}
	switch {
	case a.Reading != nil && b.Reading != nil:
		d.Quantity, d.Place = a.Reading.Quantity, a.Reading.Place
		return d, d.Quantity == b.Reading.Quantity && d.Place == b.Reading.Place && *a.Reading != *b.Reading
	case a.Observation != nil && b.Observation != nil:
		d.Quantity, d.Place = a.Observation.Quantity, a.Observation.Place
		return d, d.Quantity == b.Observation.Quantity && d.Place == b.Observation.Place && *a.Observation != *b.Observation
	case a.Declaration != "" && b.Declaration != "":
		d.Kind = Negation
		return d, a.Declaration != b.Declaration
	}
	return d, false
}
