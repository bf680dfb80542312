package intents

import (
	"strings"

	"callout/catalogue"
)

// suffix reads what stands after the number. solid marks that the last token
// read was no filler, so that a clause may end here.
func (s *search) suffix(start, i int, cost float64, sl slots, solid bool) {
	if s.steps++; s.steps > maxSteps {
		return
	}
	if solid {
		sh := shapeNumber
		if sl.second != nil {
			sh = shapePair
		}
		s.emit(sh, start, i, cost, sl)
	}
	if i >= len(s.toks) {
		return
	}
	if sl.hasNum && sl.second == nil {
		s.restart(start, i, cost, sl)
	}
	if s.toks[i].before == gapStop {
		return
	}
	gap, _ := s.across(start, i)
	cost += 2 * gap
	if sl.hasUnit && sl.hasNum && sl.extra == 0 && len(sl.vals) == 1 {
		s.andOunces(start, i, cost, sl)
	}
	for _, e := range s.edges[i] {
		next := sl
		next.heard = max(next.heard, e.heard)
		c := cost + costEdge
		switch e.class {
		case isUnit:
			if !next.hasUnit && (next.hasNum || next.qual != "") {
				next.units, next.hasUnit = e.members, true
				s.suffix(start, e.end, c, next, true)
			}
		case isQuantity:
			// "forty seven amps" names a unit; what it measures must be said too.
			if solid && !next.hasQ && !s.also(isUnit, i, e.end) && s.addQuantity(&next, i, e) {
				s.suffix(start, e.end, c, next, true)
			}
		case isPlace:
			if s.addPlace(&next, e) {
				next.shadowed = next.shadowed || s.also(isQuantity, i, e.end)
				if !s.boundary(e.end) {
					c += costLoose
				}
				s.suffix(start, e.end, c, next, true)
			}
		case isPreposition:
			s.eachPlaceAfter(e.end, next, func(end int, with slots) { s.suffix(start, end, c, with, true) })
		case isRated:
			if !next.rated {
				next.rated = true
				s.suffix(start, e.end, c+costLoose, next, true)
			}
		case isDual:
			if !next.dual {
				next.dual = true
				s.suffix(start, e.end, c, next, true)
			}
		case isQualifier:
			if e.entries[0].qualifier == catalogue.Unsteady && next.hasNum && next.qual == "" {
				next.qual, next.qualFor = catalogue.Unsteady, -1
				s.suffix(start, e.end, c, next, true)
			}
		case isFiller, isHesitation:
			if len(s.numsAt(i)) == 0 || s.toks[i].text == "a" {
				s.suffix(start, e.end, cost+costFiller, next, false)
			}
		}
	}
}

// also reports whether the same tokens are a phrase of another class.
func (s *search) also(c class, i, end int) bool {
	for _, u := range s.edges[i] {
		if u.class == c && u.end == end {
			return true
		}
	}
	return false
}

// places lists the places that the words from i to end name.
func (s *search) places(i, end int) set {
	for _, e := range s.edges[i] {
		if e.class == isPlace && e.end == end {
			return e.members
		}
	}
	return set{}
}

func (s *search) boundary(i int) bool { return i >= len(s.toks) || s.toks[i].before >= gapComma }

// andOunces reads the smaller unit after the larger: "six pounds ten ounces".
func (s *search) andOunces(start, i int, cost float64, sl slots) {
	for _, n := range s.numsAt(i) {
		if len(n.vals) != 1 || n.sound {
			continue
		}
		for _, u := range s.edges[min(n.end, len(s.toks))] {
			if u.class != isUnit || s.toks[n.end].before > gapJoin {
				continue
			}
			u.members.each(func(k int) {
				next := sl
				next.extra, next.extraU = n.vals[0], k
				if s.p.smallerUnit(sl.units, k, n.vals[0]) {
					s.suffix(start, u.end, cost+2*costEdge, next, true)
				}
			})
		}
	}
}

// restart reads a number said anew: "forty… forty seven", "forty no fifty".
func (s *search) restart(start, i int, cost float64, sl slots) {
	again := func(j int, explicit, heardPause bool) {
		more := costRestart
		if !heardPause {
			more = 0 // as likely as one number; the range may tell
		}
		for _, n := range s.numsAt(j) {
			next := sl
			next.force = sl.force || n.sound
			next.vals, next.numFrom, next.numTo = n.vals, j, n.end
			switch {
			case explicit:
			case len(n.vals) == 1 && len(sl.vals) == 1 && s.restarts(sl, j, n, heardPause):
			case heardPause:
				next.vals = append(append([]float64{}, sl.vals...), n.vals...)
				next.force = true
			default:
				continue
			}
			s.suffix(start, n.end, cost+more, next, true)
		}
	}
	for _, e := range s.edges[i] {
		switch e.class {
		case isRestart:
			j := s.skipFillers(e.end)
			again(j, true, true)
			for _, more := range s.edges[j] { // "no, make that"
				if more.class == isRestart {
					again(s.skipFillers(more.end), true, true)
				}
			}
		case isHesitation:
			again(e.end, false, true)
		}
	}
	switch s.toks[i].before {
	case gapPause, gapComma:
		again(i, false, true)
	case gapNone:
		again(i, false, false)
	}
}

// restarts reports whether the number at token j is the one before said anew
// from its beginning.
func (s *search) restarts(sl slots, j int, n number, paused bool) bool {
	a, b := sl.vals[0], n.vals[0]
	if a < 10 && !paused {
		return false // "four four" is 44, and "four forty seven" 447
	}
	if a == b {
		return true
	}
	inWords := true
	for _, k := range [][2]int{{sl.numFrom, sl.numTo}, {j, n.end}} {
		for _, t := range s.toks[k[0]:k[1]] {
			inWords = inWords && t.digits == ""
		}
	}
	if inWords {
		was, is := texts(s.toks[sl.numFrom:sl.numTo]), texts(s.toks[j:n.end])
		return len(is) > len(was) && equal(was, is[:len(was)])
	}
	for _, whole := range SayNumber(b) { // written in digits: as it can have been said
		for _, part := range SayNumber(a) {
			if a >= 10 && digitByDigit(part) {
				continue // "three oh" begins "three hundred" in no one's mouth
			}
			if strings.HasPrefix(whole, part+" ") {
				return true
			}
		}
	}
	return false
}

func digitByDigit(s string) bool {
	for _, w := range strings.Fields(s) {
		if n, ok := numberWords[w]; !ok || n.class != numDigit {
			return false
		}
	}
	return true
}
