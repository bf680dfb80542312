package intents

import (
	"slices"

	"callout/catalogue"
)

// environment is what is known beside the clause itself. Indices are the
// catalogue's, -1 for none.
type environment struct {
	openQ, openP int
	where        bool // the open question asks for the place of openQ
	candidates   []Item
	inheritQ     int // quantity of the clause before, in the same breath
	inheritP     int // and its place
	carryP       int // the same, where it was said
	last         *catalogue.Reading
}

func (p *Parser) environment(ctx Context) environment {
	env := environment{openQ: -1, openP: -1, inheritQ: -1, inheritP: -1, carryP: -1, last: ctx.Last}
	if ctx.Open == nil {
		return env
	}
	env.candidates = ctx.Open.Candidates
	if i, ok := p.quantityIndex[ctx.Open.Quantity]; ok {
		env.openQ = i
		env.where = ctx.Open.Where
		if k, ok := p.placeIndex[ctx.Open.Place]; ok && p.tab.places[i].has(k) {
			env.openP = k
		}
	}
	return env
}

// fit says how well a clause's parts go together.
type fit uint8

const (
	fitWell  fit = iota
	fitNeeds     // only with what was asked or said before
	fitBare      // a number or choice of nothing
	fitNot       // the parts contradict each other
)

func (p *Parser) fits(c *clause, env environment) fit {
	if c.shape == shapeChoice {
		items, f := p.choices(c.slots, env)
		if len(items) == 0 && f == fitWell {
			return fitNot
		}
		return f
	}
	_, f := p.numericFor(c.slots, env)
	if f == fitWell && c.slots.shadowed && !c.slots.hasQ && !c.slots.hasUnit {
		return fitNeeds // the quantity of that name comes first
	}
	return f
}

// placesOf says where quantity q is taken if the clause's place words hold:
// said is false where they add nothing.
func (p *Parser) placesOf(q int, sl slots) (places set, said, ok bool) {
	places = p.tab.places[q]
	for _, ps := range sl.place[:sl.nPlaces] {
		var union set
		wild := false
		ps.each(func(k int) {
			m := p.tab.meant[q][k]
			union = union.or(m.places)
			wild = wild || m.wild
		})
		if union.empty() {
			if !wild {
				return set{}, false, false
			}
			continue
		}
		said = true
		if places = places.and(union); places.empty() {
			return set{}, false, false
		}
	}
	return places, said, true
}

// filter keeps the quantities that the clause's places, unit and qualifier allow.
func (p *Parser) filter(base set, sl slots) (out set) {
	if sl.hasUnit {
		var units set
		sl.units.each(func(u int) { units = units.or(p.tab.native[u]).or(p.tab.also[u]) })
		base = base.and(units)
	}
	if sl.qual != "" {
		base = base.and(p.tab.allows[sl.qual])
		if sl.qualFor >= 0 {
			var only set
			only.add(sl.qualFor)
			base = base.and(only)
		}
	}
	base.each(func(q int) {
		if _, said, ok := p.placesOf(q, sl); ok && !(sl.second != nil && (said || !p.tab.pair.has(q))) {
			out.add(q)
		}
	})
	return out
}

func single(i int) (s set) {
	if i >= 0 {
		s.add(i)
	}
	return s
}

// numericFor finds the quantities that a numeric clause can be about.
func (p *Parser) numericFor(sl slots, env environment) (set, fit) {
	t := p.tab
	kind := t.measured
	if sl.rated || sl.dual && !sl.measured {
		kind = t.rated
	}
	fromOpen := p.filter(single(env.openQ).and(t.numeric), sl)
	switch {
	case sl.hasQ:
		return p.namedQuantity(sl, env, kind, fromOpen)
	case sl.dual:
		if out := p.filter(t.pair.and(kind), sl); !out.empty() {
			return out, fitWell
		}
		return set{}, fitNot
	case sl.hasUnit:
		return p.byUnit(sl, kind, fromOpen)
	case sl.nPlaces > 0:
		if out := p.filter(single(env.inheritQ).and(t.numeric), sl); !out.empty() {
			if usual, f := p.byPlace(sl, kind); f == fitWell && !out.has(usual.first()) && p.canBe(usual.first(), sl) {
				return usual, fitWell // "suction 118, suction line 50": a line alone is its temperature
			}
			return out, fitNeeds
		}
		if !fromOpen.empty() && !sl.rated {
			return p.asked(sl, env, fromOpen)
		}
		return p.byPlace(sl, kind)
	case sl.qualFor >= 0 && !sl.hasNum:
		if out := p.filter(single(sl.qualFor), sl); !out.empty() {
			return out, fitWell // "no continuity"
		}
	case !fromOpen.empty():
		return fromOpen, fitNeeds
	case sl.qual != "" && !sl.hasNum && env.inheritQ >= 0: // "amps forty seven, then nothing"
		if out := p.filter(single(env.inheritQ), sl); !out.empty() {
			return out, fitNeeds
		}
	case len(env.candidates) > 0:
		return set{}, fitNeeds
	}
	return set{}, fitBare
}

// canBe reports whether a number of the clause is one that q reads at its place.
func (p *Parser) canBe(q int, sl slots) bool {
	places, _, _ := p.placesOf(q, sl)
	for _, v := range sl.vals {
		r := catalogue.Reading{Quantity: p.cat.Quantities[q].ID, Place: p.cat.Places[max(0, places.first())].ID, Value: v, Unit: p.cat.Quantities[q].Unit}
		if p.cat.Plausible(r) {
			return true
		}
	}
	return false
}

// asked weighs a number at a place against the open question. Where the place
// alone means another quantity, "return is sixty five" while wet bulb is open,
// both are possible: it is asked; at another place than the open one only the
// usual meaning is.
func (p *Parser) asked(sl slots, env environment, fromOpen set) (set, fit) {
	usual := p.filter(p.hint(sl), sl)
	if usual.count() != 1 || fromOpen.has(usual.first()) {
		return fromOpen, fitNeeds
	}
	if places, _, _ := p.placesOf(env.openQ, sl); env.openP >= 0 && !places.has(env.openP) {
		return usual, fitWell
	}
	return fromOpen.or(usual), fitNeeds
}

// hint is what the places of a clause mean by themselves.
func (p *Parser) hint(sl slots) (out set) {
	for _, ps := range sl.place[:sl.nPlaces] {
		ps.each(func(k int) {
			if q, ok := p.tab.implied[k]; ok {
				out.add(q)
			}
		})
	}
	return out
}

func (p *Parser) namedQuantity(sl slots, env environment, kind, fromOpen set) (set, fit) {
	t := p.tab
	base := sl.quantities.and(t.numeric)
	if sl.rated {
		base = base.and(t.rated)
	} else if sl.measured && !base.and(t.measured).empty() {
		base = base.and(t.measured)
	}
	var likeUnit set
	sl.unitLike.each(func(u int) { likeUnit = likeUnit.or(t.native[u]) })
	if sl.nPlaces == 0 && !sl.rated && !sl.placed {
		if out := fromOpen.and(base.or(likeUnit)); !out.empty() {
			return out, fitWell
		}
	}
	if out := p.filter(base, sl); !out.empty() {
		if env.openP >= 0 && sl.asPlace.has(env.openP) && !sl.hasUnit && !sl.rated {
			return out.or(fromOpen), fitWell // "liquid ninety eight" while the liquid line's temperature is open
		}
		return out, fitWell
	}
	if out := p.filter(likeUnit.and(kind), sl); !out.empty() {
		return out, fitWell
	}
	return set{}, fitNot
}

func (p *Parser) byUnit(sl slots, kind, fromOpen set) (set, fit) {
	t := p.tab
	if sl.nPlaces == 0 {
		if !fromOpen.empty() && !sl.rated {
			return fromOpen, fitNeeds
		}
		if sl.second != nil {
			if out := p.filter(t.pair.and(kind), sl); !out.empty() {
				return out, fitWell
			}
		}
		return set{}, fitBare
	}
	var named, native, also set
	sl.units.each(func(u int) {
		named, native, also = named.or(t.unitQuantity[u]), native.or(t.native[u]), also.or(t.also[u])
	})
	for _, base := range []set{named.and(kind), native.and(kind), also.and(kind), native.and(t.rated)} {
		if out := p.filter(base, sl); !out.empty() {
			if asked := out.and(fromOpen); !asked.empty() {
				return asked, fitWell // "liquid line 419 psi": of two pressures there the one that is asked
			}
			return out, fitWell
		}
	}
	return set{}, fitNot
}

func (p *Parser) byPlace(sl slots, kind set) (set, fit) {
	t := p.tab
	var all set
	for _, ps := range sl.place[:sl.nPlaces] {
		ps.each(func(k int) { all = all.or(t.byPlace[k].and(t.numeric)) })
	}
	if sl.rated {
		all = all.and(kind)
	} else if out := p.filter(p.hint(sl), sl); out.count() == 1 {
		return out, fitWell
	}
	out := p.filter(all, sl)
	switch out.count() {
	case 0:
		return set{}, fitNot
	case 1:
		return out, fitWell
	}
	if out.minus(t.measured).empty() { // "L1 to L2" is the plain voltage, not one of its kinds
		var plain set
		for _, u := range t.unitQuantity {
			plain = plain.or(u)
		}
		if only := out.and(plain); only.count() == 1 && p.sameUnit(out) {
			return only, fitWell
		}
	}
	return out, fitNeeds
}

func (p *Parser) sameUnit(qs set) bool {
	same := true
	unit := p.cat.Quantities[qs.first()].Unit
	qs.each(func(q int) { same = same && p.cat.Quantities[q].Unit == unit })
	return same
}

// choices finds the observations that a clause can be.
func (p *Parser) choices(sl slots, env environment) ([]Item, fit) {
	var out []Item
	bare := false
	for _, c := range sl.choices {
		q := c.index
		if sl.hasQ && !sl.quantities.has(q) {
			continue
		}
		places, said, ok := p.placesOf(q, sl)
		if !ok || sl.hasUnit || sl.qual != "" {
			continue
		}
		switch {
		case said:
		case sl.hasQ:
			places = single(p.indexOfFirstPlace(q))
			if env.openQ == q && env.openP >= 0 {
				places = single(env.openP)
			} else if slices.Contains(p.words.Nowhere, p.cat.Quantities[q].ID) {
				places = p.tab.places[q] // "terminal is burnt": whose is asked
			}
		case env.openQ == q:
			places = single(p.indexOfFirstPlace(q))
			if env.openP >= 0 {
				places = single(env.openP)
			}
		case p.matchesCandidate(q, c.value, env):
			continue
		default:
			bare = true
			continue
		}
		places.each(func(k int) {
			o := catalogue.Observation{Quantity: p.cat.Quantities[q].ID, Place: p.cat.Places[k].ID, Value: c.value}
			if !slices.ContainsFunc(out, func(x Item) bool { return *x.Observation == o }) {
				out = append(out, Item{Observation: &o})
			}
		})
	}
	if len(out) == 0 && (bare || len(sl.choices) > 0 && !sl.hasQ && sl.nPlaces == 0) {
		if len(env.candidates) > 0 {
			for _, it := range env.candidates {
				if it.Observation == nil {
					continue
				}
				for _, c := range sl.choices {
					if it.Observation.Value == c.value && p.quantityIndex[it.Observation.Quantity] == c.index {
						out = append(out, it)
					}
				}
			}
			if len(out) > 0 {
				return out, fitNeeds
			}
		}
		return nil, fitBare
	}
	for _, it := range out {
		if o := it.Observation; p.quantityIndex[o.Quantity] == env.openQ && p.placeIndex[o.Place] == env.openP {
			return []Item{it}, fitWell // "disconnect burnt": its lugs while they are asked, not its fuse
		}
	}
	return out, fitWell
}

// unnamed reports whether one of the items is of a quantity that counts only by its own
// name, and that name was not said: "contactor burnt" is its lugs or its contacts.
func (p *Parser) unnamed(items []Item, sl slots, env environment) bool {
	return !sl.hasQ && slices.ContainsFunc(items, func(it Item) bool {
		q := p.quantityIndex[it.Observation.Quantity]
		return slices.Contains(p.words.ByName, it.Observation.Quantity) && env.openQ != q && !p.matchesCandidate(q, it.Observation.Value, env)
	})
}

func (p *Parser) matchesCandidate(q int, v catalogue.ValueID, env environment) bool {
	for _, it := range env.candidates {
		if it.Observation != nil && it.Observation.Value == v && p.quantityIndex[it.Observation.Quantity] == q {
			return true
		}
	}
	return false
}

func (p *Parser) indexOfFirstPlace(q int) int { return p.placeIndex[p.cat.Quantities[q].Places[0]] }

// factor converts a number in unit u to quantity q's own unit.
func (p *Parser) factor(q, u int) (factor, offset float64, ok bool) {
	unit := p.cat.Units[u].ID
	if p.cat.Quantities[q].Unit == unit {
		return 1, 0, true
	}
	for _, a := range p.cat.Quantities[q].Also {
		if a.From == unit {
			return a.Factor, a.Offset, true
		}
	}
	return 0, 0, false
}

// smallerUnit reports whether v of unit k can follow a number in one of the
// units as its smaller part: ounces after pounds.
func (p *Parser) smallerUnit(units set, k int, v float64) bool {
	found := false
	units.each(func(u int) {
		for q := range p.cat.Quantities {
			big, o1, ok1 := p.factor(q, u)
			small, o2, ok2 := p.factor(q, k)
			if ok1 && ok2 && o1 == 0 && o2 == 0 && v >= 0 && v*small < big {
				found = true
			}
		}
	})
	return found
}

// inUnit gives the values of quantity q that a said number can mean.
func (p *Parser) inUnit(q int, said []float64, sl slots) (out []float64) {
	for _, v := range said {
		if !sl.hasUnit {
			out = addValue(out, v)
			continue
		}
		sl.units.each(func(u int) {
			f, off, ok := p.factor(q, u)
			if !ok {
				return
			}
			x := v*f + off
			if sl.extra > 0 {
				if g, _, ok := p.factor(q, sl.extraU); ok {
					x += sl.extra * g
				}
			}
			out = addValue(out, x)
		})
	}
	return out
}
