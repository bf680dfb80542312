package intents

import (
	"math"
	"slices"
)

// settle records, asks about or leaves alone what the islands mean.
func (u *utterance) settle(r *talkReading, kept []island, w weighing) {
	said := u.text[u.toks[0].start:]
	kept = facts(kept)
	strange := float64(w.words) + 1.5*float64(w.trade) + float64(w.state)
	limit := math.Max(1.2, .3*float64(w.understood))
	sure := true // that every word which matters is understood
	for _, x := range kept {
		for _, it := range x.items[0] {
			if it.Declaration != "" || it.Repair != "" || it.Observation != nil {
				limit = math.Max(1, .25*float64(w.understood))
			} else if it.Command != nil {
				limit = .5
				if x.frame != nil && len(x.frame.open) > 0 { // a refusal comes with its reason
					limit = 5
				}
			}
		}
	}
	if questions(kept[0].items) {
		limit++
	} else if onlyCommands(kept) {
		sure = w.numbers == 0
	} else if sure = w.numbers+w.nots+w.maybe+w.named == 0 && u.trusted(kept, w); sure {
		limit = math.Max(trustedWords, trustedShare*float64(w.understood))
	}
	switch {
	case strange > 2.5*math.Max(2, .8*float64(w.understood)):
		r.Ignored = []string{said}
		return
	case strange > limit:
		sure = false
	}
	if !sure && onlyCommands(kept) {
		r.Ignored = []string{said}
		return
	}
	if !sure {
		d := Doubt{Kind: Incomplete, Said: said, Start: u.toks[0].start, End: len(u.text)}
		if w.nots > 0 {
			d.Kind = Negation
		}
		for _, x := range kept {
			for _, alt := range x.items {
				for _, it := range alt {
					it = u.said(it, x)
					if decl, ok := u.p.cat.Declaration(it.Declaration); ok && decl.Opposite != "" && w.nots > 0 {
						d.Candidates = append(d.Candidates, Item{Declaration: decl.Opposite, Said: it.Said, Start: it.Start, End: it.End})
					}
					d.Candidates = append(d.Candidates, it)
				}
			}
		}
		r.Doubts = append(r.Doubts, d)
		return
	}
	for _, x := range kept {
		if x.doubt == "" {
			for _, it := range x.items[0] {
				if !hasItem(r.Items, it) {
					r.Items = append(r.Items, u.said(it, x))
				}
			}
			continue
		}
		d := Doubt{Kind: x.doubt, Start: u.toks[x.start].start, End: u.toks[x.end-1].end}
		d.Said = u.text[d.Start:d.End]
		for _, alt := range x.items {
			for _, it := range alt {
				if !hasItem(d.Candidates, it) {
					d.Candidates = append(d.Candidates, u.said(it, x))
				}
			}
		}
		if rd := d.Candidates[0].Reading; rd != nil {
			d.Quantity, d.Place = rd.Quantity, rd.Place
			for _, it := range d.Candidates {
				if it.Reading == nil || it.Reading.Quantity != d.Quantity {
					d.Quantity, d.Place = "", ""
					break
				}
				if it.Reading.Place != d.Place {
					d.Place = ""
				}
			}
		}
		r.Doubts = append(r.Doubts, d)
	}
	u.twice(r)
	known := func(it Item) bool { return it.Reading != nil && it.Reading.Place == "known_live" }
	if slices.ContainsFunc(r.Items, known) { // the volts of a live source are the proof itself
		r.Items = slices.DeleteFunc(r.Items, func(it Item) bool { return it.Declaration == "tester_proved" })
	}
}

// twice takes back what was read or seen of one thing in two ways: one breath does not read
// one place twice.
func (u *utterance) twice(r *talkReading) {
	for i, a := range r.Items {
		for j, b := range r.Items[:i] {
			d := Doubt{Kind: Ambiguous, Said: a.Said, Candidates: []Item{b, a}, Start: a.Start, End: a.End}
			switch {
			case a.Reading != nil && b.Reading != nil && a.Reading.Quantity == b.Reading.Quantity && a.Reading.Place == b.Reading.Place:
				d.Quantity, d.Place = a.Reading.Quantity, a.Reading.Place
			case a.Observation != nil && b.Observation != nil && a.Observation.Quantity == b.Observation.Quantity &&
				a.Observation.Place == b.Observation.Place && a.Observation.Quantity != "complaint":
				d.Quantity, d.Place = a.Observation.Quantity, a.Observation.Place
			default:
				continue
			}
			r.Items = slices.Delete(slices.Delete(r.Items, i, i+1), j, j+1)
			r.Doubts = append(r.Doubts, d)
			return
		}
	}
}

// choose settles between a line read as callouts and the same read as talk. The formal
// reading stands where it understands every word; talk takes over where it does not.
func (u *utterance) choose(formal Result, free talkReading, ctx Context) Result {
	clean := len(formal.Items) > 0 && len(formal.Doubts) == 0 && len(formal.Ignored) == 0
	talked := len(free.Items) > 0 && len(free.Doubts) == 0
	silent := len(free.Items)+len(free.Doubts) == 0
	switch {
	case free.asked && !silent && (!clean || talked && numbersOnly(formal.Items) && numbersOnly(free.Items)):
		return free.Result
	case free.over && talked && ctx.Open == nil, clean && talked && ctx.Open != nil && u.p.oddly(formal, free.Result):
		return free.Result
	case clean && free.framed && len(free.Doubts) > 0 && len(free.Items) == 0 && numbersOnly(formal.Items) && u.doubtful(formal, free.Result):
		return free.Result
	case clean && talked && free.full && free.framed && len(free.Items) > len(formal.Items) && holdsAll(free.Items, formal.Items) && numbersOnly(free.Items):
		return free.Result // "one twenty one and one twenty one to ground" are two
	case clean && talked && free.full && free.framed && len(free.Items) < len(formal.Items) && numbersOnly(formal.Items):
		return free.Result // "two hundred to ground" is one number
	case clean && free.tagged && len(free.Doubts) > 0 && switches(formal.Items):
		return free.Result
	case clean && free.guard != "" && free.guard != "elsewhere" && silent && switches(formal.Items):
		return free.Result
	case clean:
		return formal
	case whole(formal) && talked && free.framed && riddle(formal) && !hasQuantity(formal.Doubts, free.Items):
		return free.Result
	case whole(formal) && !(talked && free.framed && (free.full && u.settles(formal, free.Result) || better(formal, free.Result, ctx))):
		return formal
	case talked:
		return free.Result
	case free.guard != "" && silent && len(formal.Items) == 0 && (free.guard != "question" || len(formal.Doubts) == 0):
		return free.Result
	case free.framed && len(free.Doubts) > 0:
		return free.Result
	case len(formal.Items)+len(formal.Doubts) == 0 && len(free.Doubts) > 0:
		return free.Result
	}
	formal.Meant = free.Meant
	return formal
}

// doubtful reports whether talk has a rival of the same thing for a number that the formal
// reading takes as sure: 4.8 for 48. Tenths are said without their point of amps and
// microfarads; of degrees, percent or minutes they are not.
func (u *utterance) doubtful(formal, free Result) bool {
	return len(formal.Items) == 1 && u.inTenths(formal.Items[0]) && slices.ContainsFunc(free.Doubts, func(d Doubt) bool {
		return hasItem(d.Candidates, formal.Items[0]) && len(d.Candidates) == 2 && !sameNumber(d.Candidates[0], d.Candidates[1]) && (oneThing(d.Candidates) || corrections(d.Candidates))
	})
}

// inTenths reports whether an item may be told in tenths without a point; a correction may
// be of any number.
func (u *utterance) inTenths(it Item) bool {
	if it.Reading == nil {
		return true
	}
	q, _ := u.p.cat.Quantity(it.Reading.Quantity)
	return q.Unit == "A" || q.Unit == "uF"
}

// oneThing reports whether all are readings of one quantity at one place.
func oneThing(list []Item) bool {
	return !slices.ContainsFunc(list, func(it Item) bool {
		return it.Reading == nil || it.Reading.Quantity != list[0].Reading.Quantity || it.Reading.Place != list[0].Reading.Place
	})
}

func sameNumber(a, b Item) bool {
	return a.Reading != nil && b.Reading != nil && a.Reading.Value == b.Reading.Value
}

// oneQuantity reports whether all are likely readings of one quantity.
func oneQuantity(list []Item) bool {
	return !slices.ContainsFunc(list, func(it Item) bool { return it.Reading == nil || it.Reading.Quantity != list[0].Reading.Quantity })
}

func corrections(list []Item) bool {
	return !slices.ContainsFunc(list, func(it Item) bool { return it.Command == nil || it.Command.Number == nil })
}

// switches reports whether something is declared or told as repaired.
func switches(list []Item) bool {
	return slices.ContainsFunc(list, func(it Item) bool { return it.Declaration != "" || it.Repair != "" })
}

func numbersOnly(list []Item) bool {
	return !slices.ContainsFunc(list, func(it Item) bool { return it.Reading == nil })
}

// oddly reports whether the formal reading is one number that such a unit does not show
// where talk has another for the same thing that it does: 48 and 4.8 microfarads.
func (p *Parser) oddly(formal, free Result) bool {
	if len(formal.Items) != 1 || len(free.Items) != 1 || formal.Items[0].Reading == nil || free.Items[0].Reading == nil {
		return false
	}
	a, b := *formal.Items[0].Reading, *free.Items[0].Reading
	return a.Quantity == b.Quantity && a.Place == b.Place && !p.free.isLikely(a) && p.free.isLikely(b)
}

// whole reports whether the formal reading used every word and is in doubt all the same.
func whole(r Result) bool {
	return len(r.Doubts) > 0 && len(r.Ignored) == 0 && !slices.ContainsFunc(r.Doubts, func(d Doubt) bool {
		return d.Kind == Incomplete || d.Kind == Negation
	})
}

// settles reports whether talk, without a word left over, says which of what the formal
// reading is in doubt about is meant, by likelihood or by what stands beside it.
func (u *utterance) settles(formal, free Result) bool {
	if u.sounds || !numbersOnly(free.Items) || len(free.Items) < len(formal.Items)+len(formal.Doubts) {
		return false
	}
	for _, d := range formal.Doubts {
		alike := len(free.Items) > 1 && len(free.Items) == len(formal.Items)+len(formal.Doubts) && oneQuantity(free.Items) // "common twelve, fan one point one" are both amps
		if d.Kind != Ambiguous && d.Kind != WhichPlace || len(free.Items) == 1 && d.Kind == WhichPlace || d.Kind == Ambiguous && !alike && !oneThing(d.Candidates) {
			return false
		}
		likely := 0
		for _, it := range d.Candidates {
			if it.Reading != nil && u.p.cat.Plausible(*it.Reading) && u.p.free.isLikely(*it.Reading) {
				likely++
			}
		}
		if likely > 1 && len(free.Items) == 1 {
			return false
		}
	}
	return holdsAll(free.Items, formal.Items)
}

// holdsAll reports whether every item of the second list is in the first.
func holdsAll(list, part []Item) bool {
	return !slices.ContainsFunc(part, func(it Item) bool { return !hasItem(list, it) })
}

// riddle reports whether more is offered than can be asked about in a breath.
func riddle(r Result) bool {
	return slices.ContainsFunc(r.Doubts, func(d Doubt) bool { return d.Kind == WhichPlace && len(d.Candidates) > mostOffered })
}

// hasQuantity reports whether any reading of the list is of a quantity that is in doubt.
func hasQuantity(doubts []Doubt, list []Item) bool {
	for _, d := range doubts {
		for _, c := range d.Candidates {
			if c.Reading != nil && slices.ContainsFunc(list, func(it Item) bool { return it.Reading != nil && it.Reading.Quantity == c.Reading.Quantity }) {
				return true
			}
		}
	}
	return false
}

// better reports whether talk says more than what a whole formal reading is in doubt
// about: another thing than its candidates, or which of them where they share one number.
func better(formal, free Result, ctx Context) bool {
	if !slices.ContainsFunc(free.Items, func(it Item) bool { return it.Question == nil }) {
		return false
	}
	var cands []Item
	for _, d := range formal.Doubts {
		if d.Kind == WhichPlace || d.Kind == WrongUnit {
			return false
		}
		cands = append(cands, d.Candidates...)
	}
	for _, it := range free.Items {
		if !hasItem(cands, it) && !hasItem(formal.Items, it) {
			return true
		}
	}
	one := len(free.Items) == 1 && ctx.Open == nil
	for _, it := range cands {
		one = one && it.Reading != nil && free.Items[0].Reading != nil && it.Reading.Value == free.Items[0].Reading.Value && it.Reading.Unit != ""
	}
	return one && len(cands) > 1
}
