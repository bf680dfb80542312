package intents

import (
	"math"
	"math/rand"
	"slices"
	"strings"

	"callout/catalogue"
)

// Sentence is one made-up callout with what it means.
type Sentence struct {
	Spoken  string // in words, as a voice should say it
	Written string // in digits, as a recogniser would write it
	Meaning []Item // without Said and span
}

// Sample makes one sentence at random from the catalogue: a reading or two,
// something seen, a declaration, a repair or a command, in all proportions that
// a call has them. The same source of chance gives the same sentence.
func (p *Parser) Sample(r *rand.Rand) Sentence {
	switch n := r.Intn(100); {
	case n < 55:
		return p.sampleReading(r, false)
	case n < 65:
		return join(p.sampleReading(r, false), p.sampleReading(r, true))
	case n < 69:
		return p.samplePair(r)
	case n < 81:
		return p.sampleSeen(r)
	case n < 90:
		d := p.cat.Declarations[r.Intn(len(p.cat.Declarations))]
		return p.phrase(r, d.Spoken, Item{Declaration: d.ID})
	case n < 93:
		d := p.cat.Repairs[r.Intn(len(p.cat.Repairs))]
		return p.phrase(r, d.Spoken, Item{Repair: d.ID})
	}
	return p.sampleCommand(r)
}

// Phrases lists every sentence of the catalogue that holds no number: choices
// that name themselves, declarations, repairs and commands, in its order.
func (p *Parser) Phrases() (out []Sentence) {
	add := func(list []string, it Item) {
		for _, s := range list {
			if x, ok := p.fixed(s, it); ok {
				out = append(out, x)
			}
		}
	}
	for _, q := range p.cat.Quantities {
		for _, v := range q.Values {
			for _, pl := range q.Places {
				add(v.Alone[pl], Item{Observation: &catalogue.Observation{Quantity: q.ID, Place: pl, Value: v.ID}})
			}
		}
	}
	for _, d := range p.cat.Declarations {
		add(d.Spoken, Item{Declaration: d.ID})
	}
	for _, x := range p.cat.Repairs {
		add(x.Spoken, Item{Repair: x.ID})
	}
	for _, c := range p.cat.Commands {
		if c.Argument == "" {
			add(c.Spoken, Item{Command: &catalogue.Asked{Command: c.ID}})
		}
	}
	return out
}

func (p *Parser) fixed(s string, it Item) (Sentence, bool) {
	spoken, written := p.lex.render(s, Spoken), p.lex.render(s, Written)
	if len(spoken) == 0 || len(written) == 0 {
		return Sentence{}, false
	}
	return Sentence{Spoken: spoken[0], Written: sentenceCase(written[0]) + ".", Meaning: []Item{it}}, true
}

func (p *Parser) phrase(r *rand.Rand, list []string, it Item) Sentence {
	for range 20 {
		if x, ok := p.fixed(list[r.Intn(len(list))], it); ok {
			return x
		}
	}
	return Sentence{}
}

func sentenceCase(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func join(a, b Sentence) Sentence {
	rest := strings.TrimSuffix(b.Written, ".")
	if len(rest) > 1 && rest[1] >= 'a' && rest[1] <= 'z' { // not an abbreviation
		rest = strings.ToLower(rest[:1]) + rest[1:]
	}
	return Sentence{Spoken: a.Spoken + " and " + b.Spoken, Written: strings.TrimSuffix(a.Written, ".") + ", " + rest + ".",
		Meaning: append(append([]Item{}, a.Meaning...), b.Meaning...)}
}

// said is a phrase in both forms.
type said struct{ spoken, written string }

func (p *Parser) pick1(r *rand.Rand, list []string) said {
	for range 50 {
		s := list[r.Intn(len(list))]
		a, b := p.lex.render(s, Spoken), p.lex.render(s, Written)
		if len(a) > 0 && len(b) > 0 {
			return said{a[0], b[0]}
		}
	}
	a := strings.ToLower(list[0])
	return said{a, a}
}

func (p *Parser) sampleNumber(r *rand.Rand, q catalogue.Quantity, least, most float64) float64 {
	span := most - least
	v := least + span*math.Pow(r.Float64(), 1.5)
	if span > 5000 { // over many decades
		v = math.Pow(10, r.Float64()*math.Log10(most))
	}
	decimals := r.Intn(min(q.Decimals, 2) + 1)
	if math.Abs(v) >= 100 && r.Intn(4) > 0 {
		decimals = 0
	}
	scale := math.Pow10(decimals)
	v = math.Round(v*scale) / scale
	if v >= 1000 { // nobody reads out more than two or three figures
		figure := math.Pow10(int(math.Log10(v)) - 1)
		v = math.Round(v/figure) * figure
	}
	if v >= 1e6 {
		v = math.Round(v/1e6) * 1e6
	}
	return min(max(v, math.Ceil(least*scale)/scale), most) + 0 // no minus nought
}

func (p *Parser) sampleReading(r *rand.Rand, placed bool) Sentence {
	var q catalogue.Quantity
	for q = p.cat.Quantities[r.Intn(len(p.cat.Quantities))]; !q.Kind.Numeric(); {
		q = p.cat.Quantities[r.Intn(len(p.cat.Quantities))]
	}
	i := p.quantityIndex[q.ID]
	k := r.Intn(len(q.Places))
	place := p.placeIndex[q.Places[k]]
	reading := catalogue.Reading{Quantity: q.ID, Place: q.Places[k], Unit: q.Unit}
	unit, _ := p.cat.Unit(q.Unit)

	var value said
	switch n := r.Intn(12); {
	case n == 0 && p.tab.allows[catalogue.OpenLine].has(i):
		reading.Qualifier = catalogue.OpenLine
		value = said{"o l", "OL"}
	case n == 1 && p.tab.allows[catalogue.Nothing].has(i):
		reading.Qualifier = catalogue.Nothing
		value = said{"nothing", "nothing"}
	default:
		least, most := q.Range(reading.Place)
		reading.Value = p.sampleNumber(r, q, least, most)
		ways := slices.DeleteFunc(SayNumber(reading.Value), func(s string) bool { // as people say them at work
			return strings.Contains(s, " k") && len(q.Also) == 0 || digitByDigit(s) && len(strings.Fields(s)) > 4
		})
		value = said{ways[r.Intn(len(ways))], WriteNumber(reading.Value)}
		if r.Intn(2) == 0 {
			name := p.pick1(r, []string{unit.Name})
			value = said{value.spoken + " " + name.spoken, value.written + " " + name.written}
		}
	}
	name := p.pick1(r, p.plainNames(i))
	where := p.pick1(r, p.plainPlaces(place))
	is := []string{" ", " ", " is "}[r.Intn(3)]
	s := Sentence{Meaning: []Item{{Reading: &reading}}}
	put := func(f func(x func(said) string) string) {
		s.Spoken = f(func(x said) string { return x.spoken })
		s.Written = sentenceCase(f(func(x said) string { return x.written })) + "."
	}
	shape := r.Intn(4)
	if k == 0 && shape == 0 {
		if placed || p.mustPlace(i, reading) {
			shape = 1
		} else {
			put(func(x func(said) string) string { return x(name) + is + x(value) })
			return s
		}
	}
	if shape == 2 && measures(name.spoken) {
		shape = 1
	}
	if shape == 3 && p.runsOver(where.spoken, name.spoken) {
		shape = 1
	}
	switch shape {
	case 2:
		put(func(x func(said) string) string { return x(name) + " on the " + x(where) + is + x(value) })
	case 3:
		put(func(x func(said) string) string { return x(where) + " " + x(name) + is + x(value) })
	default:
		put(func(x func(said) string) string { return x(name) + " " + x(where) + is + x(value) })
	}
	return s
}

// plainPlaces are the names of a place that name no quantity as well.
func (p *Parser) plainPlaces(k int) []string {
	var out []string
	for _, s := range p.placeNames(k) {
		toks, _ := scan(s, nil)
		own := true
		for _, m := range p.lex.at(toks, 0, nil) {
			own = own && !(m.end == len(toks) && m.entry.class == isQuantity)
		}
		if own {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return []string{idWords(string(p.cat.Places[k].ID))}
	}
	return out
}

// runsOver reports whether "contactor line" before "voltage" also reads as
// "contactor" before "line voltage".
func (p *Parser) runsOver(where, name string) bool {
	head, _ := scan(where, nil)
	toks, _ := scan(where+" "+name, nil)
	for i := range head {
		for _, m := range p.lex.at(toks, i, nil) {
			if m.entry.class == isQuantity && m.end > len(head) {
				return true
			}
		}
	}
	return false
}

// measures reports whether a name is a number with its unit, as "twenty four volts"
// is of the control voltage: "on the" place, another number after it is asked about.
func measures(name string) bool {
	toks, _ := scan(name, nil)
	return len(toks) > 0 && toks[0].num != numNone
}

// mustPlace reports whether a reading without its place would be asked about.
func (p *Parser) mustPlace(q int, r catalogue.Reading) bool {
	return r.Qualifier == catalogue.Nothing && r.Unit == volts && p.tab.places[q].count() > 1 || slices.Contains(p.words.Nowhere, r.Quantity)
}

// plainNames are the names of a quantity that no other quantity shares and that
// name no place.
func (p *Parser) plainNames(q int) []string {
	var out []string
	all := append([]string{p.cat.Quantities[q].Name}, p.cat.Quantities[q].Spoken...)
	for _, s := range all {
		toks, _ := scan(s, nil)
		own := true
		for _, m := range p.lex.at(toks, 0, nil) {
			if m.end == len(toks) && m.entry.heard == asWritten && (m.entry.class == isQuantity && m.entry.index != q || m.entry.class == isPlace || m.entry.class == isRated || m.entry.class == isQuantity && m.entry.placed) {
				own = false
			}
		}
		if own && len(p.lex.render(s, Spoken)) > 0 && len(p.lex.render(s, Written)) > 0 {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return []string{idWords(string(p.cat.Quantities[q].ID))}
	}
	return out
}

func (p *Parser) samplePair(r *rand.Rand) Sentence {
	var q int
	n := r.Intn(p.tab.pair.count())
	p.tab.pair.each(func(k int) {
		if n == 0 {
			q = k
		}
		n--
	})
	big, small := float64(15+5*r.Intn(12)), 3+.5*float64(r.Intn(10))
	name := p.pick1(r, p.plainNames(q))
	if p.tab.rated.has(q) {
		name = p.pick1(r, p.words.Dual)
	}
	unit := p.cat.Quantities[q].Unit
	place := func(i int) catalogue.PlaceID { return p.cat.Places[p.tab.pairPlaces[i]].ID }
	id := p.cat.Quantities[q].ID
	return Sentence{
		Spoken:  name.spoken + " " + SayNumber(big)[0] + " plus " + SayNumber(small)[0],
		Written: sentenceCase(name.written) + " " + WriteNumber(big) + " plus " + WriteNumber(small) + ".",
		Meaning: []Item{{Reading: &catalogue.Reading{Quantity: id, Place: place(0), Value: big, Unit: unit}},
			{Reading: &catalogue.Reading{Quantity: id, Place: place(1), Value: small, Unit: unit}}},
	}
}

func (p *Parser) sampleSeen(r *rand.Rand) Sentence {
	for range 200 {
		q := p.cat.Quantities[r.Intn(len(p.cat.Quantities))]
		if q.Kind.Numeric() {
			continue
		}
		v := q.Values[r.Intn(len(q.Values))]
		pl := q.Places[r.Intn(len(q.Places))]
		it := Item{Observation: &catalogue.Observation{Quantity: q.ID, Place: pl, Value: v.ID}}
		if alone := v.Alone[pl]; len(alone) > 0 && r.Intn(2) == 0 {
			return p.phrase(r, alone, it)
		}
		name := p.pick1(r, []string{q.Name})
		if strings.Contains(q.Name, ",") {
			name = p.pick1(r, []string{idWords(string(q.ID))})
		}
		where := p.pick1(r, p.placeNames(p.placeIndex[pl]))
		value := p.pick1(r, v.Spoken)
		if len(q.Places) == 1 {
			return Sentence{Spoken: name.spoken + " " + value.spoken, Written: sentenceCase(name.written) + " " + value.written + ".", Meaning: []Item{it}}
		}
		return Sentence{Spoken: name.spoken + " " + where.spoken + " " + value.spoken,
			Written: sentenceCase(name.written) + " " + where.written + " " + value.written + ".", Meaning: []Item{it}}
	}
	return Sentence{}
}

func (p *Parser) sampleCommand(r *rand.Rand) Sentence {
	c := p.cat.Commands[r.Intn(len(p.cat.Commands))]
	lead := p.pick1(r, c.Spoken)
	it := Item{Command: &catalogue.Asked{Command: c.ID}}
	switch c.Argument {
	case "":
		return p.phrase(r, c.Spoken, it)
	case "text":
		it = Item{Note: "check the drain next visit"}
		return Sentence{Spoken: lead.spoken + " " + it.Note, Written: sentenceCase(lead.written) + " " + it.Note, Meaning: []Item{it}}
	}
	v := float64(1 + r.Intn(90))
	it.Command.Number = &v
	s := Sentence{Spoken: lead.spoken + " " + SayNumber(v)[0], Written: sentenceCase(lead.written) + " " + WriteNumber(v), Meaning: []Item{it}}
	if c.Argument == "minutes" {
		s.Spoken, s.Written = s.Spoken+" minutes", s.Written+" minutes"
	}
	s.Written += "."
	return s
}
