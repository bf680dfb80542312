package intents

import (
	"math"
	"reflect"
	"slices"

	"callout/catalogue"
)

// island is one stretch of free talk that means something, or words around it.
type island struct {
	start, end int
	cost       float64
	words      int
	frame      *frame   // nil for a callout of the catalogue, or words left over
	items      [][]Item // each meaning that the stretch can have
	doubt      DoubtKind
	left       leftover
}

// leftover says what a word is that belongs to no island.
type leftover uint8

const (
	leftNone leftover = iota // a filler, or no leftover at all
	leftWord
	leftChatter // "dollars"
	leftUnsure  // "maybe"
	leftState   // a word of what is seen or done
	leftTrade   // a part
	leftUnit
	leftNumber
	leftNot
)

var leftCost = [...]float64{leftNone: 0.03, leftWord: 0.9, leftChatter: 0.9, leftUnsure: 0.9, leftState: 1.1, leftTrade: 1.4, leftUnit: 2.5, leftNumber: 4, leftNot: 2.5}

const (
	costFrame     = 1.0
	costCallout   = 1.3 // a callout found in talk: a frame says more of the same words
	costDoubtful  = 1.0
	costOpenFrame = -1.02
	costOdd       = 0.25
	costUnlikely  = 0.8
	costCannotBe  = 2.5
	wordBonus     = 0.01
	mostOffered   = 4
	coveredCost   = 1.15 // of an island: below it its words are its own, a guard's too
	looseCost     = 1.65 // of an island: above it is asked back
)

// reading is free talk as it was understood.
type talkReading struct {
	Result
	over   bool   // by a frame that goes before the formal language
	framed bool   // by frames, not only by callouts found in it
	asked  bool   // a frame that only stands while something is asked
	tagged bool   // a question is tagged on, or it stands with "when"
	full   bool   // no word is left over
	guard  string // why what was spoken of is not told as so
}

// talk reads free speech: it finds the islands that mean something, steps over what lies
// between them, and weighs what is left over.
func (u *utterance) talk(ctx Context) talkReading {
	n := len(u.toks)
	if n == 0 {
		return talkReading{}
	}
	u.toks, u.last = u.p.free.plainly(u.toks), ctx.Last
	if ctx.Open != nil {
		u.open = string(ctx.Open.Quantity) + " " + string(ctx.Open.Place)
	}
	m := &matcher{k: u.p.free, toks: u.toks, nums: make([][]number, n), open: openSteps(ctx), plain: make([]bool, n), over: make([][]int, n), memo: map[[2]int][]hit{}}
	s := u.p.newSearch(u.toks, u.env)
	for i := range u.toks {
		m.nums[i] = shortDecimals(u.toks, i, s.nums[i])
		m.over[i] = m.k.overs(u.toks, i, nil)
		switch left := u.left(s, m, i); left {
		case leftWord, leftNone:
			m.plain[i] = !u.p.free.heavy[u.toks[i].text] && !u.p.free.state[u.toks[i].text]
		}
	}
	options := make([][]island, n)
	for i := range u.toks {
		options[i] = u.islands(m, s, i)
	}
	return u.weigh(cheapest(options), ctx)
}

// shortDecimals adds what "four eight" also means: 4.8.
func shortDecimals(toks []token, i int, list []number) []number {
	t := numbers(toks)
	if !t.named(i) || toks[i].digits != "" || !t.digit(i+1) || !t.joined(i+1) || toks[i+1].digits != "" {
		return list
	}
	for k, n := range list {
		if n.end == i+2 && !n.sound {
			out := slices.Clone(list)
			out[k].vals = append([]float64{toks[i].val + toks[i+1].val/10}, n.vals...)
			return out
		}
	}
	return list
}

// openSteps writes what is asked for as frames name it.
func openSteps(ctx Context) map[string]bool {
	open := map[string]bool{}
	if ctx.Last != nil || ctx.LastObservation != nil {
		open["last"] = true
	}
	if o := ctx.Open; o != nil {
		open["step"] = true
		if o.Quantity != "" {
			open["number"] = true
			open[string(o.Quantity)] = true
			open[string(o.Quantity)+" "+string(o.Place)] = true
		}
		for _, d := range o.Declare {
			open["declare"] = true
			open["declare "+string(d)] = true
		}
		if o.Repair != "" {
			open["repair "+string(o.Repair)] = true
		}
		if o.Confirm {
			open["confirm"] = true
		}
	}
	return open
}

// islands lists what can begin at token i.
func (u *utterance) islands(m *matcher, s *search, i int) []island {
	list := []island{{start: i, end: i + 1, left: u.left(s, m, i)}}
	list[0].cost = leftCost[list[0].left]
	for _, end := range m.over[i] {
		list = append(list, island{start: i, end: end, cost: leftCost[leftNone]})
	}
	for _, h := range m.at(i) {
		if f := &u.p.free.frames[h.frame]; f.guard != "" {
			u.guarding = append(u.guarding, h)
			continue
		}
		if x, ok := u.frameIsland(h); ok {
			list = append(list, x)
		}
	}
	for _, c := range s.from(i) {
		if x, ok := u.calloutIsland(c); ok {
			list = append(list, x)
		}
	}
	return list
}

func (u *utterance) left(s *search, m *matcher, i int) leftover {
	w := u.toks[i].text
	switch {
	case slices.Contains(u.p.words.Negations, w):
		return leftNot
	case u.p.free.empty[w]:
		return leftNone
	case len(m.nums[i]) > 0 && u.toks[i].num != numA:
		return leftNumber
	case w == "ish" || w == "maybe" || w == "almost":
		return leftUnsure
	}
	trade := false
	for _, e := range s.edges[i] {
		switch e.class {
		case isChatter:
			return leftChatter
		case isUnit:
			return leftUnit
		case isQuantity, isPlace, isObservation, isDeclaration, isRepair, isRated:
			trade = true
		}
	}
	switch {
	case trade:
		return leftTrade
	case u.p.free.state[w] && len(m.over[i]) == 0:
		return leftState
	}
	return leftWord
}

func (u *utterance) frameIsland(h hit) (island, bool) {
	f := &u.p.free.frames[h.frame]
	x := island{start: h.start, end: h.end, frame: f, words: h.words + h.nums, cost: costFrame + h.cost + f.cost - wordBonus*float64(h.words)}
	if len(f.open) > 0 {
		x.cost += costOpenFrame
	}
	if slices.Contains(f.open, "number") {
		h.slots = &bind{name: "open", value: u.open, prev: h.slots}
	}
	meanings := f.or
	if len(f.mean) > 0 {
		meanings = append([][]string{f.mean}, f.or...)
	}
	for _, list := range meanings {
		alts := [][]Item{nil}
		for _, text := range list {
			items, err := readItem(u.p.cat, fill(text, h.slots), h.slots)
			if err != nil || !u.mends(items) {
				return x, false
			}
			items = u.p.free.likeliest(items)
			var next [][]Item
			for _, a := range alts {
				for _, it := range items {
					next = append(next, append(slices.Clone(a), it))
				}
			}
			alts = next
		}
		x.items = append(x.items, alts...)
	}
	if len(x.items) > 1 || f.ask {
		x.doubt = Ambiguous
	}
	x.cost += u.p.unlikely(x.items)
	return x, true
}

// mends reports whether a correction of place is one that the last reading allows.
func (u *utterance) mends(items []Item) bool {
	for _, it := range items {
		if it.Command != nil && it.Command.Command == "correct" && it.Command.Text != "" {
			if u.last == nil {
				return false
			}
			if _, ok := u.p.PlaceFor(u.last.Quantity, catalogue.PlaceID(it.Command.Text)); !ok {
				return false
			}
		}
	}
	return true
}

// likeliest keeps the readings that such a unit shows, if any is.
func (k *talk) likeliest(list []Item) []Item {
	var out []Item
	for _, it := range list {
		if it.Reading == nil || k.isLikely(*it.Reading) {
			out = append(out, it)
		}
	}
	if len(out) == 0 {
		return list
	}
	return out
}

// unlikely is what a meaning costs whose numbers no meter is likely to show.
func (p *Parser) unlikely(alts [][]Item) float64 {
	best := math.Inf(1)
	for _, list := range alts {
		c := 0.0
		for _, it := range list {
			switch {
			case it.Reading == nil || p.cat.Plausible(*it.Reading) && p.free.isLikely(*it.Reading):
			case p.cat.Plausible(*it.Reading):
				c += costOdd
			case p.cat.Possible(*it.Reading):
				c += costUnlikely
			default:
				c += costCannotBe
			}
		}
		best = math.Min(best, c)
	}
	return best
}

// calloutIsland is a callout as the catalogue has it, found inside of talk.
func (u *utterance) calloutIsland(c clause) (island, bool) {
	if c.slots.heard == heardLike || c.slots.force || c.needs && u.env.openQ < 0 && len(u.env.candidates) == 0 {
		return island{}, false
	}
	switch c.shape {
	case shapeNumber, shapePair, shapeChoice, shapeWhole:
	default:
		return island{}, false
	}
	m := u.p.resolve(c, u.env)
	if len(m.alternatives) > mostOffered {
		return island{}, false // a riddle
	}
	if m.bare || len(m.alternatives) == 0 || m.doubt != "" && m.doubt != Ambiguous && m.doubt != Implausible && m.doubt != WhichPlace {
		return island{}, false
	}
	x := island{start: c.start, end: c.end, cost: costCallout - costClause + c.cost, items: m.alternatives, doubt: m.doubt, words: c.end - c.start}
	if m.doubt != "" {
		x.cost += costDoubtful
	}
	x.cost += u.p.unlikely(x.items)
	return x, true
}

// cheapest is the best way to cover the text, with what else means something over the
// same stretches at the same cost.
func cheapest(options [][]island) []island {
	n := len(options)
	best := make([]float64, n+1)
	pick := make([]int, n)
	for i := n - 1; i >= 0; i-- {
		best[i] = math.Inf(1)
		for k, x := range options[i] {
			if c := x.cost + best[x.end]; c < best[i]-sameEnough {
				best[i], pick[i] = c, k
			}
		}
	}
	var out []island
	for i := 0; i < n; {
		x := options[i][pick[i]]
		for k, y := range options[i] {
			if k != pick[i] && y.end == x.end && len(x.items) > 0 && len(y.items) > 0 && y.cost <= x.cost+sameEnough && !sameItems(x.items, y.items) {
				x.items = append(slices.Clone(x.items), y.items...)
				x.doubt = Ambiguous
			}
		}
		out = append(out, x)
		i = x.end
	}
	return out
}

func sameItems(a, b [][]Item) bool {
	return slices.EqualFunc(a, b, func(x, y []Item) bool {
		return slices.EqualFunc(x, y, func(p, q Item) bool { return reflect.DeepEqual(bareItem(p), bareItem(q)) })
	})
}

// facts drops an opinion that stands beside what was read.
func facts(list []island) []island {
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
	understood                                int
	words, trade, state, numbers, nots, maybe int
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
				if x.left == leftTrade || x.left == leftNumber || x.left == leftUnit {
					r.Named = append(r.Named, u.text[u.toks[x.start].start:u.toks[x.start].end])
				}
			}
		}
		return r
	}
	r.full = w.words+w.trade+w.state+w.numbers+w.nots+w.maybe == 0
	w.words = u.strangers(cover)
	u.settle(&r, kept, w)
	return r
}

// complains reports whether it is what the customer tells, of yesterday too.
func complains(alts [][]Item) bool {
	return alts[0][0].Observation != nil && alts[0][0].Observation.Quantity == "complaint"
}

func onlyCommands(list []island) bool {
	return !slices.ContainsFunc(list, func(x island) bool { return x.items[0][0].Command == nil })
}

// loosely reports whether an island was put together over words that are not understood.
func loosely(x island) bool { return x.frame != nil && x.cost > looseCost && !questions(x.items) }

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

// settle records, asks about or leaves alone what the islands mean.
func (u *utterance) settle(r *talkReading, kept []island, w weighing) {
	said := u.text[u.toks[0].start:]
	kept = facts(kept)
	strange := float64(w.words) + 1.5*float64(w.trade) + float64(w.state)
	limit := math.Max(1.2, .3*float64(w.understood))
	sure, facts := true, false // that every word which matters is understood; that it is no number
	for _, x := range kept {
		for _, it := range x.items[0] {
			if it.Declaration != "" || it.Repair != "" || it.Observation != nil {
				limit = math.Max(1, .25*float64(w.understood))
				facts = facts || it.Observation == nil || it.Observation.Quantity != "complaint"
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
	} else if w.numbers+w.nots+w.maybe+w.trade > 0 || facts && w.state > 0 || slices.ContainsFunc(kept, loosely) {
		sure = false
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
	case clean && talked && free.full && free.framed && len(free.Items) < len(formal.Items) && numbersOnly(formal.Items):
		return free.Result // "two hundred to ground" is one number
	case clean && free.tagged && len(free.Doubts) > 0 && switches(formal.Items):
		return free.Result
	case clean && free.guard != "" && free.guard != "elsewhere" && silent && switches(formal.Items):
		return free.Result
	case clean:
		return formal
	case whole(formal) && !(talked && free.framed && better(formal, free.Result, ctx)):
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
