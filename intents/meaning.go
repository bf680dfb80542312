package intents

import (
	"slices"

	"callout/catalogue"
)

// meaning is what a clause comes to: one alternative that is certain, or
// several, or one that must be asked about for the reason in doubt.
type meaning struct {
	alternatives [][]Item // each is the whole clause, read one way
	doubt        DoubtKind
	quantity     catalogue.QuantityID
	place        catalogue.PlaceID
	bare         bool // a number or choice that answers nothing
}

// resolve settles a clause.
func (p *Parser) resolve(c clause, env environment) meaning {
	sl := c.slots
	var m meaning
	switch c.shape {
	case shapeWhole:
		m.alternatives = [][]Item{{p.wholeItem(sl.whole)}}
	case shapeCommand:
		m = p.commandMeaning(sl, env)
	case shapePartial:
		return p.partial(sl, env)
	case shapeChoice:
		items, f := p.choices(sl, env)
		if f == fitBare {
			return meaning{bare: true}
		}
		for _, it := range items {
			m.alternatives = append(m.alternatives, []Item{it})
		}
		if numeric := sl.quantities.and(p.tab.numeric); len(items) == 0 && sl.hasQ && sl.nPlaces > 0 && numeric == sl.quantities {
			return p.partial(sl, env) // "amps on the filter": no choice, but a place
		}
		if len(items) == 0 {
			m.doubt = Incomplete
		} else if len(items) > 1 || p.unnamed(items, sl, env) {
			m.doubt = Ambiguous
		}
	default:
		m = p.numberMeaning(sl, env)
	}
	if m.doubt == "" && (sl.heard == heardLike || sl.force) {
		m.doubt = Ambiguous
	}
	return m
}

func (p *Parser) wholeItem(e entry) Item {
	switch e.class {
	case isObservation:
		return Item{Observation: &catalogue.Observation{Quantity: p.cat.Quantities[e.index].ID, Place: p.cat.Places[e.place].ID, Value: e.value}}
	case isDeclaration:
		return Item{Declaration: p.cat.Declarations[e.index].ID}
	}
	return Item{Repair: p.cat.Repairs[e.index].ID}
}

// commandMeaning gives a command its argument; "no, OL" mends the last reading.
func (p *Parser) commandMeaning(sl slots, env environment) meaning {
	cmd := Item{Command: &catalogue.Asked{Command: p.cat.Commands[sl.command].ID, Number: sl.minutes}}
	one := func(items ...Item) meaning { return meaning{alternatives: [][]Item{items}} }
	last := -1
	if env.last != nil {
		if i, ok := p.quantityIndex[env.last.Quantity]; ok {
			last = i
		}
	}
	switch {
	case sl.qual != "":
		if last < 0 || !p.tab.allows[sl.qual].has(last) {
			return meaning{bare: true}
		}
		r := *env.last
		r.Value, r.Qualifier = 0, sl.qual
		return one(cmd, Item{Reading: &r})
	case !sl.hasNum:
		return one(cmd)
	}
	vals := sl.vals
	if last >= 0 {
		vals = p.inUnit(last, sl.vals, sl)
	} else if sl.hasUnit {
		return meaning{doubt: Incomplete}
	}
	if len(vals) == 0 {
		return meaning{doubt: WrongUnit, quantity: env.last.Quantity, place: env.last.Place}
	}
	var m meaning
	for _, v := range vals {
		n := v
		m.alternatives = append(m.alternatives, []Item{{Command: &catalogue.Asked{Command: cmd.Command.Command, Number: &n}}})
	}
	if len(vals) > 1 {
		m.doubt = Ambiguous
		if last >= 0 {
			m.quantity, m.place = env.last.Quantity, env.last.Place
			var rs []catalogue.Reading
			for _, v := range vals {
				rs = append(rs, catalogue.Reading{Quantity: env.last.Quantity, Place: env.last.Place, Value: v, Unit: env.last.Unit})
			}
			if k := p.onlyPlausible(rs); k >= 0 {
				m.doubt, m.alternatives = "", m.alternatives[k:k+1]
			}
		}
	}
	return m
}

// partial is a callout whose number or choice is missing, unless it picks one
// of the candidates that were asked about.
func (p *Parser) partial(sl slots, env environment) meaning {
	var picked []Item
	for _, it := range env.candidates {
		var q, k int
		switch {
		case it.Reading != nil:
			q, k = p.quantityIndex[it.Reading.Quantity], p.placeIndex[it.Reading.Place]
		case it.Observation != nil:
			q, k = p.quantityIndex[it.Observation.Quantity], p.placeIndex[it.Observation.Place]
		default:
			continue
		}
		ok := (!sl.hasQ || sl.quantities.has(q)) && (!sl.rated || p.tab.rated.has(q)) && !sl.dual && !sl.hasUnit
		if places, said, fits := p.placesOf(q, sl); said && (!fits || !places.has(k)) || sl.nPlaces > 0 && !said {
			ok = false
		}
		if ok {
			picked = append(picked, it)
		}
	}
	if len(picked) == 1 {
		return meaning{alternatives: [][]Item{picked}}
	}
	m := meaning{doubt: Incomplete}
	if qs := sl.quantities; sl.hasQ {
		fit := set{}
		qs.each(func(q int) {
			if _, _, ok := p.placesOf(q, sl); ok && (!sl.rated || p.tab.rated.has(q)) {
				fit.add(q)
			}
		})
		if named := qs.and(p.tab.numeric); fit.empty() && named.count() == 1 && !sl.rated {
			return p.elsewhere(named.first(), sl) // "amps on the filter"
		}
		if fit.count() == 1 {
			q := fit.first()
			m.quantity = p.cat.Quantities[q].ID
			if places, said, _ := p.placesOf(q, sl); said && places.count() == 1 {
				m.place = p.cat.Places[places.first()].ID
			} else if sl.placed {
				m.place = p.cat.Quantities[q].Places[0]
			}
		}
	} else if q := p.plainly(sl); q >= 0 && sl.hasUnit && sl.nPlaces > 0 {
		if _, _, ok := p.placesOf(q, sl); !ok {
			return p.elsewhere(q, sl)
		}
	} else if env.where && !sl.hasUnit && !sl.rated && !sl.dual {
		if places, said, ok := p.placesOf(env.openQ, sl); said && ok && places.count() == 1 {
			m.quantity, m.place = p.cat.Quantities[env.openQ].ID, p.cat.Places[places.first()].ID
		}
	} else if sl.nPlaces == 1 && sl.place[0].count() == 1 {
		m.place = p.cat.Places[sl.place[0].first()].ID
	}
	return m
}

// numberMeaning settles a numeric clause or a pair.
func (p *Parser) numberMeaning(sl slots, env environment) meaning {
	qs, f := p.numericFor(sl, env)
	if sl.hasNum && !sl.hasQ && sl.nPlaces == 0 && len(env.candidates) > 0 {
		if m, ok := p.pick(sl, env); ok {
			return m
		}
	}
	switch {
	case f == fitBare || qs.empty() && f == fitNeeds:
		return p.unplaced(sl, env)
	case f == fitNot:
		return p.contradiction(sl, env)
	}
	var alts [][]Item
	var rs []catalogue.Reading
	kind := DoubtKind("")
	qs.each(func(q int) {
		if sl.second != nil {
			if pair := p.pairItems(q, sl); pair != nil {
				alts = append(alts, pair)
			}
			return
		}
		places, unsure := p.placeFor(q, sl, env)
		if unsure {
			kind = WhichPlace
		}
		vals := []float64{0}
		if sl.hasNum {
			vals = p.inUnit(q, sl.vals, sl)
		}
		places.each(func(k int) {
			for _, v := range vals {
				r := catalogue.Reading{Quantity: p.cat.Quantities[q].ID, Place: p.cat.Places[k].ID, Value: v, Unit: p.cat.Quantities[q].Unit, Qualifier: sl.qual}
				if !slices.Contains(rs, r) {
					rs = append(rs, r)
				}
			}
		})
	})
	if sl.second != nil {
		return p.pairMeaning(alts, qs)
	}
	if sl.dual {
		return p.halfPair(rs, qs)
	}
	m := p.choose(rs, kind)
	if sl.leading && !sl.hasQ && !sl.hasUnit && f == fitWell && m.doubt == "" && slices.Contains(p.words.EverydayPlaces, m.place) {
		m.doubt = Incomplete // "ninety five outside" may be talk
	}
	if qs.count() == 1 {
		m.quantity = p.cat.Quantities[qs.first()].ID
	}
	return m
}

// unplaced is a number with at most a unit: what it measures was not said.
func (p *Parser) unplaced(sl slots, env environment) meaning {
	m := meaning{bare: true}
	if !sl.hasUnit && !sl.rated {
		return m
	}
	m.doubt = Incomplete
	if sl.hasUnit && env.openQ >= 0 && p.tab.numeric.has(env.openQ) {
		m.doubt = WrongUnit
	}
	sl.units.each(func(u int) {
		if sl.rated || !sl.hasNum || len(sl.vals) != 1 {
			return
		}
		p.tab.unitQuantity[u].and(p.tab.measured).each(func(q int) {
			if m.quantity = p.cat.Quantities[q].ID; slices.Contains(p.words.Nowhere, m.quantity) {
				m.doubt = WhichPlace
				return
			}
			r := catalogue.Reading{Quantity: p.cat.Quantities[q].ID, Place: p.cat.Quantities[q].Places[0], Value: sl.vals[0], Unit: p.cat.Quantities[q].Unit}
			m.alternatives = append(m.alternatives, []Item{{Reading: &r}})
			m.quantity = r.Quantity
		})
	})
	return m
}

// pick takes the candidate whose number was said.
func (p *Parser) pick(sl slots, env environment) (meaning, bool) {
	var got []Item
	for _, it := range env.candidates {
		if it.Reading == nil {
			continue
		}
		q, ok := p.quantityIndex[it.Reading.Quantity]
		if ok && slices.Contains(p.inUnit(q, sl.vals, sl), it.Reading.Value) {
			got = append(got, it)
		}
	}
	if len(got) == 0 {
		return meaning{}, false
	}
	m := meaning{}
	for _, it := range got {
		m.alternatives = append(m.alternatives, []Item{it})
	}
	if q := got[0].Reading.Quantity; !slices.ContainsFunc(got, func(it Item) bool { return it.Reading.Quantity != q }) {
		m.quantity = q
	}
	if len(got) > 1 {
		m.doubt = Ambiguous
	}
	return m, true
}

// placeFor gives the places that quantity q can be meant at; unsure where the
// words leave it open.
func (p *Parser) placeFor(q int, sl slots, env environment) (places set, unsure bool) {
	places, said, _ := p.placesOf(q, sl)
	if said {
		return places, places.count() > 1
	}
	first := p.indexOfFirstPlace(q)
	switch {
	case env.openQ == q && env.openP >= 0 && !sl.placed:
		return single(env.openP), false
	case env.openQ == q && env.where && !sl.placed:
		return places, places.count() > 1 // what was asked is where: it is asked again
	case sl.bare() && sl.qual != "" && env.inheritQ == q && env.openQ != q:
		return single(env.inheritP), false
	case sl.placed || sl.nPlaces > 0:
		return single(first), false
	case sl.qual == catalogue.Nothing && p.cat.Quantities[q].Unit == volts && places.count() > 1:
		return places, true // "no volts" proves nothing unless it says where
	case slices.Contains(p.words.Nowhere, p.cat.Quantities[q].ID):
		return places, true
	case env.carryP >= 0 && env.carryP != first && places.has(env.carryP):
		two := single(first)
		two.add(env.carryP)
		return two, true
	}
	return single(first), false
}

const volts = catalogue.UnitID("V")

// choose settles between readings. A range decides only where one is plausible
// and every other impossible.
func (p *Parser) choose(rs []catalogue.Reading, kind DoubtKind) meaning {
	m := meaning{doubt: kind}
	if k := p.onlyPlausible(rs); k >= 0 && kind == "" {
		rs = rs[k : k+1]
	}
	for i := range rs {
		m.alternatives = append(m.alternatives, []Item{{Reading: &rs[i]}})
	}
	switch {
	case len(rs) == 0:
		m.doubt = Incomplete
	case len(rs) > 1 && kind == "":
		m.doubt = Ambiguous
	case len(rs) == 1 && kind == "" && !p.cat.Plausible(rs[0]):
		m.doubt = Implausible
	}
	if len(rs) > 0 && allAt(rs, rs[0].Place) {
		m.place = rs[0].Place
	}
	return m
}

func allAt(rs []catalogue.Reading, place catalogue.PlaceID) bool {
	return !slices.ContainsFunc(rs, func(r catalogue.Reading) bool { return r.Place != place })
}

func (p *Parser) onlyPlausible(rs []catalogue.Reading) int {
	only := -1
	for i, r := range rs {
		switch {
		case p.cat.Plausible(r):
			if only >= 0 {
				return -1
			}
			only = i
		case p.cat.Possible(r):
			return -1
		}
	}
	return only
}

// contradiction finds which part of a clause does not fit the rest.
func (p *Parser) contradiction(sl slots, env environment) meaning {
	if !sl.hasQ {
		if q := p.plainly(sl); q >= 0 && sl.nPlaces > 0 {
			return p.elsewhere(q, sl) // "12 amps on the filter"
		}
		return meaning{doubt: Incomplete}
	}
	named := sl.quantities.and(p.tab.numeric)
	m := meaning{}
	if named.count() == 1 {
		m.quantity = p.cat.Quantities[named.first()].ID
	}
	without := sl
	without.hasUnit, without.extra = false, 0
	if qs, f := p.numericFor(without, env); sl.hasUnit && f != fitNot && f != fitBare {
		m.doubt = WrongUnit
		if sl.second == nil && qs.count() == 1 {
			if n := p.numberMeaning(without, env); n.doubt == "" {
				m.alternatives, m.quantity, m.place = n.alternatives, n.quantity, n.place
			}
		}
		return m
	}
	without = sl
	without.nPlaces = 0
	if _, f := p.numericFor(without, env); sl.nPlaces > 0 && f != fitNot && f != fitBare {
		if named.count() == 1 {
			return p.elsewhere(named.first(), sl)
		}
		m.doubt = WhichPlace
		return m
	}
	without = sl
	without.qual, without.qualFor = "", -1
	if _, f := p.numericFor(without, env); sl.qual != "" && f != fitNot && f != fitBare {
		m.doubt = Implausible
		return m
	}
	m.doubt = Incomplete
	return m
}

// elsewhere is a reading of q at a place where it isn't taken: where it was is asked, with
// the reading at each place to choose from.
func (p *Parser) elsewhere(q int, sl slots) meaning {
	quantity := p.cat.Quantities[q]
	m := meaning{doubt: WhichPlace, quantity: quantity.ID}
	vals := []float64{0}
	if sl.hasNum {
		vals = p.inUnit(q, sl.vals, sl)
	} else if sl.qual == "" {
		return m
	}
	if len(vals) != 1 || sl.second != nil || sl.qual != "" && !slices.Contains(quantity.Qualifiers, sl.qual) {
		return m
	}
	for _, k := range quantity.Places {
		r := catalogue.Reading{Quantity: quantity.ID, Place: k, Value: vals[0], Unit: quantity.Unit, Qualifier: sl.qual}
		m.alternatives = append(m.alternatives, []Item{{Reading: &r}})
	}
	return m
}

// plainly is the quantity that a unit means where no other word says, or -1.
func (p *Parser) plainly(sl slots) int {
	if sl.rated {
		return -1
	}
	var out set
	sl.units.each(func(u int) { out = out.or(p.tab.unitQuantity[u].and(p.tab.measured)) })
	if out.count() != 1 {
		return -1
	}
	return out.first()
}
