package intents

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"callout/catalogue"
)

// Question is something asked of callout, or an opinion to be weighed.
type Question struct {
	// Kind: belief, hypothesis, recall, expected, safe, saturation_temperature,
	// saturation_pressure, target_superheat, within_tolerance.
	Kind string `json:"kind"`
	// About is the part or fault of a hypothesis, the refrigerant of a saturation, or
	// "nameplate".
	About    string               `json:"about,omitempty"`
	Quantity catalogue.QuantityID `json:"quantity,omitempty"`
	Place    catalogue.PlaceID    `json:"place,omitempty"`
	Numbers  []float64            `json:"numbers,omitempty"`
}

// String writes a question on one line, as the log keeps it.
func (q Question) String() string {
	parts := []string{q.Kind}
	for _, s := range []string{q.About, string(q.Quantity), string(q.Place)} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	for _, v := range q.Numbers {
		parts = append(parts, WriteNumber(v))
	}
	return strings.Join(parts, " ")
}

// fill puts captured values into a template; numbers stay as "$name" for amount.
func fill(template string, slots *bind) []string {
	var out []string
	for _, w := range strings.Fields(template) {
		if name, ok := strings.CutPrefix(w, "$"); ok && !strings.ContainsAny(name, "*+-/") {
			if b := slots.get(name); b != nil && b.nums == nil {
				out = append(out, strings.Fields(b.value)...)
				continue
			}
		}
		out = append(out, w)
	}
	return out
}

// amounts works out "$n", "$n*16" and "$a*16+$b": all values that it can have.
func amounts(expr string, slots *bind) ([]float64, error) {
	if v, err := strconv.ParseFloat(expr, 64); err == nil {
		return []float64{v}, nil
	}
	sum := []float64{0}
	for _, term := range strings.Split(expr, "+") {
		vals, factor := []float64(nil), 1.0
		for _, f := range strings.Split(term, "*") {
			name, ok := strings.CutPrefix(f, "$")
			if !ok {
				v, err := strconv.ParseFloat(f, 64)
				if err != nil {
					return nil, fmt.Errorf("%q is no number", f)
				}
				factor *= v
				continue
			}
			b := slots.get(name)
			if b == nil {
				return nil, fmt.Errorf("nothing is called %q", name)
			}
			if vals = b.nums; b.nums == nil {
				v, err := strconv.ParseFloat(b.value, 64)
				if err != nil {
					return nil, fmt.Errorf("%q is no number", b.value)
				}
				vals = []float64{v}
			}
		}
		if vals == nil {
			vals = []float64{1}
		}
		var next []float64
		for _, a := range sum {
			for _, v := range vals {
				next = append(next, tidy(a+v*factor))
			}
		}
		sum = next
	}
	return sum, nil
}

// readItem reads one meaning: the items that it can be, one unless a number is open.
func readItem(c *catalogue.Catalogue, w []string, slots *bind) ([]Item, error) {
	bad := func(what string) ([]Item, error) { return nil, fmt.Errorf("%s: %s", strings.Join(w, " "), what) }
	if len(w) < 2 {
		return bad("too short")
	}
	switch w[0] {
	case "declare":
		if _, ok := c.Declaration(catalogue.DeclarationID(w[1])); !ok {
			return bad("no such declaration")
		}
		return []Item{{Declaration: catalogue.DeclarationID(w[1])}}, nil
	case "repair":
		if _, ok := c.Repair(catalogue.RepairID(w[1])); !ok {
			return bad("no such repair")
		}
		return []Item{{Repair: catalogue.RepairID(w[1])}}, nil
	case "command":
		if _, ok := c.Command(catalogue.CommandID(w[1])); !ok {
			return bad("no such command")
		}
		return []Item{{Command: &catalogue.Asked{Command: catalogue.CommandID(w[1])}}}, nil
	case "correct":
		return readCorrection(w, slots)
	case "ask":
		return readQuestion(c, w, slots)
	}
	q, ok := c.Quantity(catalogue.QuantityID(w[0]))
	if !ok || !slices.Contains(q.Places, catalogue.PlaceID(w[1])) || len(w) < 3 {
		return bad("no such quantity there")
	}
	if !q.Kind.Numeric() {
		if _, ok := q.Value(catalogue.ValueID(w[2])); !ok {
			return bad("no such value")
		}
		return []Item{{Observation: &catalogue.Observation{Quantity: q.ID, Place: catalogue.PlaceID(w[1]), Value: catalogue.ValueID(w[2])}}}, nil
	}
	r := catalogue.Reading{Quantity: q.ID, Place: catalogue.PlaceID(w[1]), Unit: q.Unit}
	if catalogue.Qualifier(w[2]) == catalogue.Unsteady && slices.Contains(q.Qualifiers, catalogue.Unsteady) {
		r.Qualifier = catalogue.Unsteady
		return []Item{{Reading: &r}}, nil
	}
	if k := catalogue.Qualifier(w[2]); k == catalogue.Nothing || k == catalogue.OpenLine {
		if !slices.Contains(q.Qualifiers, k) {
			if k == catalogue.OpenLine {
				return bad("no such state")
			}
			return []Item{{Reading: &r}}, nil // no zero of its own: the number
		}
		r.Qualifier = k
		return []Item{{Reading: &r}}, nil
	}
	vals, err := amounts(w[2], slots)
	if err != nil {
		return bad(err.Error())
	}
	var out []Item
	for _, v := range vals {
		one := r
		one.Value = v
		if len(w) > 3 && w[3] == string(catalogue.Unsteady) {
			one.Qualifier = catalogue.Unsteady
		}
		out = append(out, Item{Reading: &one})
	}
	return plausible(c, out), nil
}

// plausible keeps the readings that can be, if any can.
func plausible(c *catalogue.Catalogue, list []Item) []Item {
	var out []Item
	for _, it := range list {
		if c.Plausible(*it.Reading) {
			out = append(out, it)
		}
	}
	if len(out) == 0 {
		return list
	}
	return out
}

func readCorrection(w []string, slots *bind) ([]Item, error) {
	switch w[1] {
	case "value":
		vals, err := amounts(w[2], slots)
		if err != nil {
			return nil, err
		}
		var out []Item
		for _, v := range vals {
			n := v
			out = append(out, Item{Command: &catalogue.Asked{Command: "correct", Number: &n}})
		}
		return out, nil
	case "place":
		return []Item{{Command: &catalogue.Asked{Command: "correct", Text: strings.Join(w[2:], " ")}}}, nil
	}
	return nil, fmt.Errorf("nothing to correct by %q", w[1])
}

func readQuestion(c *catalogue.Catalogue, w []string, slots *bind) ([]Item, error) {
	q := Question{Kind: w[1]}
	rest := w[2:]
	if len(rest) > 0 {
		if quantity, ok := c.Quantity(catalogue.QuantityID(rest[0])); ok {
			q.Quantity, rest = quantity.ID, rest[1:]
			if len(rest) > 0 && slices.Contains(quantity.Places, catalogue.PlaceID(rest[0])) {
				q.Place, rest = catalogue.PlaceID(rest[0]), rest[1:]
			}
		} else if !strings.HasPrefix(rest[0], "$") {
			q.About, rest = rest[0], rest[1:]
		}
	}
	sets := [][]float64{nil}
	for _, expr := range rest {
		vals, err := amounts(expr, slots)
		if err != nil {
			return nil, err
		}
		var next [][]float64
		for _, s := range sets {
			for _, v := range vals {
				next = append(next, append(slices.Clone(s), v))
			}
		}
		sets = next
	}
	var out []Item
	for _, s := range sets {
		one := q
		one.Numbers = s
		out = append(out, Item{Question: &one})
	}
	return out, nil
}
