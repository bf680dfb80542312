package intents

import (
	"slices"

	"callout/catalogue"
)

// facts drops an opinion that stands beside what was read.
func facts(list []island) []island {
	if slices.ContainsFunc(list, func(x island) bool { return commands(x, "correct") }) { // "scratch that, make it twelve"
		list = slices.DeleteFunc(slices.Clone(list), func(x island) bool { return commands(x, "retract") })
	}
	opinion := func(x island) bool {
		if x.frame != nil && x.frame.alone {
			return true
		}
		if c := x.items[0][0].Command; c != nil && c.Number == nil {
			return true // a refusal, or "that's right", beside what was read
		}
		q := x.items[0][0].Question
		return q != nil && (q.Kind == "hypothesis" || q.Kind == "belief")
	}
	if !slices.ContainsFunc(list, func(x island) bool { return !opinion(x) }) {
		return list
	}
	return slices.DeleteFunc(slices.Clone(list), opinion)
}

// commands reports whether an island is one command.
func commands(x island, id catalogue.CommandID) bool {
	c := x.items[0][0].Command
	return c != nil && c.Command == id
}

// strangers counts the words that are left over in the clauses that mean something; an
// aside between commas counts half.
func (u *utterance) strangers(cover []island) int {
	n, here, means, half := 0, 0, false, 0
	flush := func() {
		if means {
			n += here
		} else {
			half += here
		}
		here, means = 0, false
	}
	for _, x := range cover {
		if u.toks[x.start].before >= gapComma {
			flush()
		}
		if x.left == leftWord {
			here++
		}
		means = means || len(x.items) > 0
	}
	flush()
	return n + half/2
}

// weighing is what was left over, and how much was understood.
type weighing struct {
	understood                                       int
	words, trade, named, state, numbers, nots, maybe int
}

// weigh decides what of the islands counts.
func (u *utterance) weigh(cover []island, ctx Context) talkReading {
	var r talkReading
	var w weighing
	guards := u.guards(cover)
	var kept []island
	for _, x := range cover {
		switch x.left {
		case leftWord:
			w.words++
		case leftTrade:
			w.trade++
		case leftNamed:
			w.trade++
			w.named++
		case leftState:
			w.state++
		case leftNumber, leftUnit:
			w.numbers++
		case leftNot:
			w.nots++
		case leftUnsure:
			w.maybe++
		}
		w.understood += x.words
		r.framed = r.framed || x.frame != nil
		r.asked = r.asked || x.frame != nil && len(x.frame.open) > 0 && x.frame.open[0] != "last" && x.frame.open[0] != "number"
		r.over = r.over || x.frame != nil && x.frame.over
		if len(x.items) == 0 {
			continue
		}
		if g := guards[x.start]; g == "tag" || g == "asks" || g == "when" {
			if g == "tag" || x.items[0][0].Reading == nil {
				r.tagged = true
				w.maybe++ // a number with a question mark is a voice that rises
			}
		} else if g != "" && !(questions(x.items) && (g != "elsewhere" || x.items[0][0].Question.Kind != "hypothesis")) && !(g != "intent" && complains(x.items)) {
			r.guard = g
			for _, it := range x.items[0] {
				r.Meant = append(r.Meant, u.said(it, x))
			}
			continue
		}
		kept = append(kept, x)
	}
	if len(kept) == 0 {
		r.Ignored = []string{u.text[u.toks[0].start:]}
		if w.numbers > 0 && w.trade > 0 && len(guards) == 0 {
			for _, x := range cover {
				if x.left == leftTrade || x.left == leftNamed || x.left == leftNumber || x.left == leftUnit {
					r.Named = append(r.Named, u.text[u.toks[x.start].start:u.toks[x.start].end])
				}
			}
		}
		return r
	}
	w.trade -= u.mentions(cover, kept, leftTrade)
	named := u.mentions(cover, kept, leftNamed)
	w.trade, w.named = w.trade-named, w.named-named
	r.full = w.words+w.trade+w.state+w.numbers+w.nots+w.maybe == 0
	w.words = u.strangers(cover)
	u.settle(&r, kept, w)
	return r
}

// mentions counts the parts left over that what was understood is about anyway: the
// transformer beside the volts of its secondary.
func (u *utterance) mentions(cover, kept []island, left leftover) (n int) {
	for _, x := range cover {
		if x.left != left {
			continue
		}
		w := u.toks[x.start].text
		if slices.ContainsFunc(kept, func(k island) bool {
			return slices.ContainsFunc(k.items[0], func(it Item) bool { return u.p.free.about(it, w) })
		}) {
			n++
		}
	}
	return n
}

// complains reports whether it is what the customer tells, of yesterday too.
func complains(alts [][]Item) bool {
	return alts[0][0].Observation != nil && alts[0][0].Observation.Quantity == "complaint"
}

func onlyCommands(list []island) bool {
	return !slices.ContainsFunc(list, func(x island) bool { return x.items[0][0].Command == nil })
}

func questions(alts [][]Item) bool {
	return len(alts) > 0 && len(alts[0]) > 0 && alts[0][0].Question != nil
}

func (u *utterance) said(it Item, x island) Item {
	it.Start, it.End = u.toks[x.start].start, u.toks[x.end-1].end
	for _, t := range u.toks[x.start:x.end] {
		it.End = max(it.End, t.end)
	}
	it.Said = u.text[it.Start:it.End]
	return it
}

// guards marks the tokens whose meaning is not as said: about to be done, read
// elsewhere or another day, or asked.
func (u *utterance) guards(cover []island) map[int]string {
	out := map[int]string{}
	clause := func(i int) (from int) { // since the last comma
		for from = i; from > 0 && u.toks[from].before < gapComma; from-- {
		}
		return from
	}
	sentence := func(i int) (from, to int) {
		for from = i; from > 0 && u.toks[from].before < gapStop; from-- {
		}
		for to = i + 1; to < len(u.toks) && u.toks[to].before < gapStop; to++ {
		}
		return from, to
	}
	mark := func(from, to int, g string) {
		for k := from; k < to; k++ {
			if out[k] == "" || out[k] == "tag" || out[k] == "asks" || out[k] == "when" {
				out[k] = g
			}
		}
	}
	for _, h := range u.guarding {
		first, last := sentence(h.start)
		switch g := u.p.free.frames[h.frame].guard; {
		case covered(cover, h, g):
		case g == "tag":
			if h.end == last && h.start > first && u.toks[h.start].before >= gapComma {
				mark(first, last, g)
			}
		case h.end < len(u.toks) && u.toks[h.end].text == "not" && g == "question": // "won't" asks nothing
		case g == "question" && !opens(cover, clause(h.start), h.start):
		case g == "intent", g == "when":
			from, to := clause(h.start), h.end
			for ; to < last && u.toks[to].before < gapComma; to++ {
			}
			mark(from, to, g)
		default:
			mark(first, last, g)
		}
	}
	for _, x := range cover {
		if x.left == leftChatter {
			first, last := sentence(x.start)
			mark(first, last, "elsewhere")
		}
	}
	if n := len(u.toks); u.toks[n-1].asks {
		first, last := sentence(n - 1)
		mark(first, last, "asks")
	}
	return out
}

// opens reports whether nothing but fillers stands between two tokens.
func opens(cover []island, from, to int) bool {
	return !slices.ContainsFunc(cover, func(x island) bool {
		return x.start < to && x.end > from && (x.left != leftNone || len(x.items) > 0)
	})
}

// covered reports whether the words of a guard are part of something larger that was
// understood: "let me see", or a question whole.
func covered(cover []island, h hit, guard string) bool {
	for _, x := range cover {
		if x.left != leftNone || x.end-x.start == h.end-h.start && x.frame == nil {
			continue
		}
		if x.start <= h.start && h.end <= x.end && x.end-x.start > h.end-h.start && (x.frame == nil && len(x.items) == 0 || x.cost < coveredCost || questions(x.items)) {
			return true
		}
	}
	return false
}
