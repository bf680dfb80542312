package intents

import (
	"strings"

	"callout/catalogue"
)

// shape says what kind of callout a clause is.
type shape uint8

const (
	shapeNumber  shape = iota // a number with what it measures
	shapePair                 // the two sections of a dual capacitor
	shapeChoice               // an observed value with what it is of
	shapeWhole                // one phrase that means one thing
	shapeCommand              // a command, with its argument
	shapePartial              // a quantity or place whose number or choice is missing
)

// slots is what a clause has said so far.
type slots struct {
	quantities set
	hasQ       bool
	unitLike   set // the units whose word named the quantity ("amps")
	place      [2]set
	nPlaces    int
	placed     bool // the quantity's own words name its place
	shadowed   bool // a place word that also names a quantity ("suction")
	rated      bool
	measured   bool
	dual       bool

	units   set
	hasUnit bool

	vals    []float64 // all that the number can mean
	second  []float64 // the pair's second number
	extra   float64   // ounces after pounds
	extraU  int
	hasNum  bool
	numFrom int // tokens of the number
	numTo   int
	leading bool // the number came before anything that says what it is
	force   bool // never recorded without asking
	qual    catalogue.Qualifier
	qualFor int // the only quantity that the qualifier fits, or -1
	denied  bool

	choices []entry
	whole   entry
	command int
	minutes *float64
	heard   hearing
}

// clause is one way to read the tokens start..end as a callout.
type clause struct {
	shape      shape
	start, end int
	cost       float64
	slots      slots
	needs      bool // makes sense only with what was asked or said before
}

// The search prefers few clauses, long phrases and no words left over. The
// scale is free; only the order of sums counts.
const (
	costClause    = 1.0
	costEdge      = 0.05
	costFiller    = 0.02
	costComma     = 0.3
	costStop      = 1.5
	costLoose     = 0.2 // a place behind the number without "on the"
	costRestart   = 0.3
	costSafe      = 0.3
	costLike      = 1.0
	costNeeds     = 0.8
	costMismatch  = 3.0
	costPartial   = 4.0
	costUnknown   = 10.0
	costNoContext = 7.0
	maxSteps      = 4000
)

// edge is all phrases of one class over the same tokens.
type edge struct {
	class   class
	end     int
	members set
	entries []entry
	heard   hearing
}

// search holds one utterance while it is read.
type search struct {
	p     *Parser
	toks  []token
	env   environment
	edges [][]edge
	nums  [][]number
	found []clause
	steps int
}

func (p *Parser) newSearch(toks []token, env environment) *search {
	s := &search{p: p, toks: toks, env: env, edges: make([][]edge, len(toks)+1), nums: make([][]number, len(toks)+1)}
	var buf []match
	for i := range toks {
		buf = p.lex.at(toks, i, buf[:0])
		s.edges[i] = group(buf)
		s.nums[i] = numbers(toks).at(i)
		for _, n := range s.nums[i] { // a choice that is a number may be said in any way
			if list := p.tab.numberChoices[n.vals[0]]; len(n.vals) == 1 && len(list) > 0 && !n.sound {
				s.edges[i] = append(s.edges[i], edge{class: isValue, end: n.end, entries: list})
			}
		}
	}
	return s
}

func group(ms []match) (out []edge) {
next:
	for _, m := range ms {
		for k := range out {
			if out[k].class == m.entry.class && out[k].end == m.end && out[k].heard == m.entry.heard && m.entry.class != isQualifier {
				if m.entry.index >= 0 && m.entry.class <= isPlace || m.entry.class == isUnit {
					out[k].members.add(m.entry.index)
				}
				out[k].entries = append(out[k].entries, m.entry)
				continue next
			}
		}
		e := edge{class: m.entry.class, end: m.end, entries: []entry{m.entry}, heard: m.entry.heard}
		switch m.entry.class {
		case isQuantity, isPlace, isUnit:
			e.members.add(m.entry.index)
		}
		out = append(out, e)
	}
	return out
}

// from lists every clause that begins at token i.
func (s *search) from(i int) []clause {
	s.found, s.steps = s.found[:0], 0
	s.wholes(i)
	s.prefix(i, i, 0, slots{qualFor: -1}, false)
	return s.found
}

func (s *search) emit(sh shape, start, end int, cost float64, sl slots) {
	if sh == shapePartial && sl.heard == heardLike {
		return
	}
	if sh == shapeNumber && sl.hasNum && sl.bare() && end < len(s.toks) && s.toks[end].before <= gapJoin && s.hasClass(isUnit, end) {
		return // "forty seven volts" is never the answer "forty seven"
	}
	c := clause{shape: sh, start: start, end: end, cost: costClause + cost, slots: sl}
	switch sl.heard {
	case heardSafe:
		c.cost += costSafe
	case heardLike:
		c.cost += costLike
	}
	switch sh {
	case shapeNumber, shapePair, shapeChoice:
		switch s.p.fits(&c, s.env) {
		case fitBare:
			c.cost += costNoContext
			if sh == shapeChoice {
				c.cost += costClause // "then nothing" goes on with the reading before
			}
			c.needs = true
		case fitNeeds:
			c.cost += costNeeds
			c.needs = true
		case fitNot:
			c.cost += costMismatch
		}
	case shapePartial:
		c.cost += costPartial
	}
	s.found = append(s.found, c)
}

// bare reports whether nothing says what the number is of.
func (sl slots) bare() bool {
	return !sl.hasQ && !sl.hasUnit && sl.nPlaces == 0 && !sl.rated && !sl.dual
}

func (s *search) hasClass(c class, i int) bool {
	for _, e := range s.edges[i] {
		if e.class == c {
			return true
		}
	}
	return false
}

// wholes reads the phrases that mean one thing by themselves, and commands.
func (s *search) wholes(i int) {
	for _, e := range s.edges[i] {
		switch e.class {
		case isObservation, isDeclaration, isRepair:
			for _, en := range e.entries {
				sl := slots{whole: en, heard: e.heard, qualFor: -1}
				s.emit(shapeWhole, i, e.end, costEdge, sl)
			}
		case isCommand:
			for _, en := range e.entries {
				s.command(i, e.end, en)
			}
		}
	}
}

func (s *search) command(i, j int, en entry) {
	sl := slots{command: en.index, qualFor: -1}
	switch s.p.cat.Commands[en.index].Argument {
	case "number":
		s.emit(shapeCommand, i, j, costEdge+.1, sl)
		j = s.skipFillers(j)
		for _, n := range s.numsAt(j) {
			sl.vals, sl.hasNum, sl.force = n.vals, true, n.sound
			s.emit(shapeCommand, i, n.end, costEdge, sl)
			for _, u := range s.edges[n.end] {
				if u.class == isUnit {
					with := sl
					with.units, with.hasUnit, with.heard = u.members, true, u.heard
					s.emit(shapeCommand, i, u.end, costEdge, with)
				}
			}
		}
		for _, q := range s.edges[j] {
			if q.class == isQualifier {
				with := sl
				with.qual, with.qualFor, with.heard = q.entries[0].qualifier, q.entries[0].index, q.heard
				s.emit(shapeCommand, i, q.end, costEdge, with)
			}
		}
	case "minutes":
		for _, d := range durations(s.toks, j) {
			m := d.vals[0]
			sl.minutes = &m
			s.emit(shapeCommand, i, d.end, costEdge, sl)
		}
	case "text": // taken before the search
	default:
		s.emit(shapeCommand, i, j, costEdge, sl)
	}
}

func (s *search) skipFillers(i int) int {
	for again := true; again; {
		again = false
		for _, e := range s.edges[min(i, len(s.toks))] {
			if e.class == isFiller && e.end > i && len(s.numsAt(i)) == 0 {
				i, again = e.end, true
				break
			}
		}
	}
	return i
}

func (s *search) numsAt(i int) []number {
	if i >= len(s.nums) {
		return nil
	}
	return s.nums[i]
}

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

// choice reads what stands after an observed value.
func (s *search) choice(start, i int, cost float64, sl slots) {
	if s.steps++; s.steps > maxSteps {
		return
	}
	s.emit(shapeChoice, start, i, cost, sl)
	if i >= len(s.toks) || s.toks[i].before > gapJoin {
		return
	}
	for _, e := range s.edges[i] {
		switch e.class {
		case isUnit: // "nameplate voltage 230 volts"
			if sl.nPlaces < 2 && numbers(s.toks).class(i-1) != numNone {
				s.choice(start, e.end, cost+costEdge, sl)
			}
		case isPlace:
			next := sl
			if s.addPlace(&next, e) {
				c := cost + costEdge
				if !s.boundary(e.end) {
					c += costLoose
				}
				s.choice(start, e.end, c, next)
			}
		case isPreposition:
			s.eachPlaceAfter(e.end, sl, func(end int, with slots) { s.choice(start, end, cost+costEdge, with) })
		}
	}
}

// durations reads a time in minutes: "ten", "ten minutes", "an hour and a half".
func durations(toks []token, i int) (out []number) {
	t := numbers(toks)
	per := map[string]float64{"minute": 1, "minutes": 1, "min": 1, "mins": 1, "hour": 60, "hours": 60, "second": 1. / 60, "seconds": 1. / 60}
	heads := t.at(i)
	if t.class(i) == numA {
		heads = append(heads, number{end: i + 1, vals: []float64{1}})
	}
	for _, n := range heads {
		if len(n.vals) != 1 || n.vals[0] <= 0 || n.sound {
			continue
		}
		if t.class(i) != numA {
			out = append(out, number{end: n.end, vals: n.vals})
		}
		j := n.end
		if t.class(j) == numA { // "half an hour"
			j++
		}
		if j < len(toks) {
			if f, ok := per[toks[j].text]; ok {
				v := n.vals[0] * f
				out = append(out, number{end: j + 1, vals: []float64{tidy(v)}})
				if t.class(j+1) == numAnd && t.class(j+2) == numA && t.class(j+3) == numHalf {
					out = append(out, number{end: j + 4, vals: []float64{tidy(v + f/2)}})
				}
			}
		}
	}
	return out
}
