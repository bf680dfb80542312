package intents

import "callout/catalogue"

// across is the cost of going on from token i-1 to token i in one clause, and
// whether that is possible.
func (s *search) across(start, i int) (float64, bool) {
	if i == start || i >= len(s.toks) {
		return 0, true
	}
	switch s.toks[i].before {
	case gapComma, gapPause:
		return costComma, true
	case gapStop:
		return costStop, true
	}
	return 0, true
}

// prefix reads what stands before the number or choice.
func (s *search) prefix(start, i int, cost float64, sl slots, solid bool) {
	if s.steps++; s.steps > maxSteps {
		return
	}
	if solid && i > start && (sl.hasQ || sl.nPlaces > 0 || sl.rated || sl.hasUnit || sl.dual) {
		s.emit(shapePartial, start, i, cost, sl)
	}
	if i >= len(s.toks) {
		return
	}
	gap, _ := s.across(start, i)
	cost += gap
	s.number(start, i, cost, sl)
	for _, e := range s.edges[i] {
		next := sl
		next.heard = max(next.heard, e.heard)
		c := cost + costEdge
		switch e.class {
		case isQuantity:
			if s.addQuantity(&next, i, e) {
				next.asPlace = s.places(i, e.end)
				s.prefix(start, e.end, c, next, true)
			}
		case isPlace:
			if s.addPlace(&next, e) {
				next.shadowed = next.shadowed || s.also(isQuantity, i, e.end)
				s.prefix(start, e.end, c, next, true)
			}
		case isUnit:
			if !next.hasUnit && !next.hasQ {
				next.units, next.hasUnit = e.members, true
				s.prefix(start, e.end, c, next, true)
			}
		case isPreposition:
			s.eachPlaceAfter(e.end, next, func(end int, with slots) { s.prefix(start, end, c+costEdge, with, true) })
		case isRated:
			if !next.rated {
				next.rated = true
				s.prefix(start, e.end, c, next, true)
			}
		case isMeasured:
			if i > start && !next.measured {
				next.measured = true
				s.prefix(start, e.end, c, next, false)
			}
		case isDual:
			if !next.dual {
				next.dual = true
				s.prefix(start, e.end, c, next, true)
			}
		case isFiller, isHesitation:
			if i > start {
				s.prefix(start, e.end, cost+costFiller, next, false)
			}
		case isNegation:
			s.denial(start, i, e, c, next)
		case isQualifier:
			q := e.entries[0]
			next.qual, next.qualFor = q.qualifier, q.index
			if q.qualifier == catalogue.Unsteady {
				s.unsteady(start, e.end, c, next)
				continue
			}
			s.suffix(start, e.end, c, next, true)
		case isObservation:
			s.placedWhole(start, i, e, c, next)
		case isValue:
			next.choices = e.entries
			s.choice(start, e.end, c, next)
		}
	}
}

// placedWhole reads "compressor" before a phrase that means it already.
func (s *search) placedWhole(start, i int, e edge, cost float64, sl slots) {
	if i == start || sl.nPlaces != 1 || sl.hasQ || sl.hasUnit || sl.rated || sl.dual {
		return
	}
	for _, en := range e.entries {
		if sl.place[0].has(en.place) {
			s.emit(shapeWhole, start, e.end, cost, slots{whole: en, heard: sl.heard, qualFor: -1})
		}
	}
}

// denial reads "no volts": only the bare word "no", at once before what is measured.
func (s *search) denial(start, i int, e edge, cost float64, sl slots) {
	if s.toks[i].text != "no" || e.end != i+1 || !numbers(s.toks).joined(i+1) || sl.qual != "" {
		return
	}
	sl.qual, sl.qualFor, sl.denied = catalogue.Nothing, -1, true
	for _, q := range s.edges[i+1] {
		next := sl
		next.heard = max(sl.heard, q.heard)
		switch q.class {
		case isQuantity:
			if s.addQuantity(&next, i+1, q) {
				s.suffix(start, q.end, cost+costEdge, next, true)
			}
		case isUnit:
			if !next.hasUnit && !next.hasQ {
				next.units, next.hasUnit = q.members, true
				s.suffix(start, q.end, cost+costEdge, next, true)
			}
		}
	}
}

// unsteady reads "jumping around forty".
func (s *search) unsteady(start, i int, cost float64, sl slots) {
	for _, e := range s.edges[min(i, len(s.toks))] {
		if e.class == isFiller || e.class == isPreposition {
			s.number(start, e.end, cost+costFiller, sl)
		}
	}
	s.number(start, i, cost, sl)
}

func (s *search) addQuantity(sl *slots, i int, e edge) bool {
	if sl.hasUnit && !sl.hasQ && !sl.hasNum {
		return false
	}
	if sl.hasQ {
		sl.quantities = sl.quantities.and(e.members)
		return !sl.quantities.empty()
	}
	sl.quantities, sl.hasQ = e.members, true
	for _, en := range e.entries {
		sl.placed = sl.placed || en.placed
	}
	for _, u := range s.edges[i] {
		if u.class == isUnit && u.end == e.end {
			sl.unitLike = sl.unitLike.or(u.members)
		}
	}
	return true
}

func (s *search) addPlace(sl *slots, e edge) bool {
	if sl.nPlaces >= len(sl.place) {
		return false
	}
	sl.place[sl.nPlaces] = e.members
	sl.nPlaces++
	return true
}

func (s *search) eachPlaceAfter(i int, sl slots, f func(int, slots)) {
	if i >= len(s.toks) || s.toks[i].before > gapJoin {
		return
	}
	for _, e := range s.edges[i] {
		if e.class != isPlace {
			continue
		}
		next := sl
		next.heard = max(next.heard, e.heard)
		if s.addPlace(&next, e) {
			f(e.end, next)
		}
	}
}

// number reads the number itself, or the two of a pair.
func (s *search) number(start, i int, cost float64, sl slots) {
	for _, n := range s.numsAt(i) {
		next := sl
		next.vals, next.hasNum = n.vals, true
		next.force = sl.force || n.sound
		next.leading, next.numFrom, next.numTo = sl.bare(), i, n.end
		c := cost + costEdge
		if sl.dual && len(n.vals) > 1 {
			c += .5 // "forty five five" said of a dual capacitor is its two sections
		}
		s.suffix(start, n.end, c, next, true)
		s.pairFrom(start, n.end, cost+costEdge, next)
	}
}

func (s *search) pairFrom(start, i int, cost float64, sl slots) {
	if sl.second != nil || sl.hasQ && sl.quantities.and(s.p.tab.pair).empty() || sl.nPlaces > 0 && !s.wildPlaces(sl) {
		return
	}
	second := func(j int, joined bool) {
		for _, n := range s.numsAt(j) {
			if len(n.vals) != 1 || len(sl.vals) != 1 || !joined && n.vals[0] >= sl.vals[0] {
				continue
			}
			next := sl
			next.second = n.vals
			next.force = sl.force || n.sound
			s.suffix(start, n.end, cost+costEdge, next, true)
		}
	}
	if i >= len(s.toks) {
		return
	}
	for _, e := range s.edges[i] {
		if e.class == isPairJoin && s.toks[i].before <= gapComma {
			second(e.end, true)
		}
	}
	if sl.dual && s.toks[i].before <= gapComma {
		second(i, false)
	}
}

func (s *search) wildPlaces(sl slots) bool {
	ok := true
	for _, ps := range sl.place[:sl.nPlaces] {
		wild := false
		s.p.tab.pair.each(func(q int) {
			ps.each(func(p int) { wild = wild || s.p.tab.meant[q][p].wild })
		})
		ok = ok && wild
	}
	return ok
}
