package intents

import "callout/catalogue"

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
	asPlace    set  // the places that the quantity's word names too
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
