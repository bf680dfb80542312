package intents

import (
	"fmt"
	"hash/fnv"
	"io"
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
	leftNamed   // what is measured, or rated
	leftUnit
	leftNumber
	leftNot
)

var leftCost = [...]float64{leftNone: 0.03, leftWord: 0.9, leftChatter: 0.9, leftUnsure: 0.9, leftState: 1.1, leftTrade: 1.4, leftNamed: 1.4, leftUnit: 2.5, leftNumber: 4, leftNot: 2.5}

const (
	costFrame     = 1.0
	costCallout   = 1.3 // a callout found in talk: a frame says more of the same words
	costDoubtful  = 1.0
	costOpenFrame = -1.02
	costNoise     = 0.4 // words with a number that mean nothing
	costOdd       = 0.25
	costUnlikely  = 0.8
	costCannotBe  = 2.5
	wordBonus     = 0.01
	trustedWords  = 2.0 // words that may be left over beside what is trusted, and their share
	trustedShare  = 0.5
	mostOffered   = 4
	coveredCost   = 1.15 // of an island: below it its words are its own, a guard's too
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
		u.sounds = u.sounds || slices.ContainsFunc(s.nums[i], func(n number) bool { return n.sound })
		m.nums[i] = shortDecimals(u.toks, i, s.nums[i])
		m.over[i] = m.k.overs(u.toks, i, nil)
		switch left := u.left(s, m, i); left {
		case leftWord, leftNone:
			m.plain[i] = !u.p.free.heavy[u.toks[i].text] && !u.p.free.state[u.toks[i].text]
		}
	}
	m.between = u.betweens(s, m)
	if o := ctx.Open; o != nil && o.Quantity != "" {
		m.openAt = []string{string(o.Quantity), string(o.Place)}
	}
	cued := m.cued()
	options := make([][]island, n)
	for i := range u.toks {
		options[i] = u.islands(m, s, i)
		for _, h := range cued[i] {
			if x, ok := u.frameIsland(h); ok {
				options[i] = append(options[i], x)
			}
		}
	}
	cover, margin := cheapest(options)
	u.margin = margin
	return u.weigh(cover, ctx)
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
		if f := &u.p.free.frames[h.frame]; f.guard == "nothing" {
			list = append(list, island{start: h.start, end: h.end, cost: costNoise + h.cost})
			continue
		} else if f.guard != "" {
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
	trade, named := false, false
	for _, e := range s.edges[i] {
		switch e.class {
		case isChatter:
			return leftChatter
		case isUnit:
			return leftUnit
		case isQuantity, isRated:
			named = true
		case isPlace, isObservation, isDeclaration, isRepair:
			trade = true
		}
	}
	switch {
	case named:
		return leftNamed
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
			items = u.p.free.likeliest(u.corrected(items))
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

// corrected keeps the corrections that leave the last reading one that such a unit shows,
// if any does.
func (u *utterance) corrected(list []Item) []Item {
	if u.last == nil {
		return list
	}
	var out []Item
	for _, it := range list {
		if c := it.Command; c != nil && c.Number != nil {
			r := *u.last
			if r.Value, r.Qualifier = *c.Number, ""; !u.p.free.isLikely(r) {
				continue
			}
		}
		out = append(out, it)
	}
	if len(out) == 0 {
		return list
	}
	return out
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

// path is one way to cover the text from a token on.
type path struct {
	cost        float64
	means       uint64 // of all its items
	pick, child int
}

// mostPaths bounds the ways that are kept at a token.
const mostPaths = 4

// cheapest is the best way to cover the text, with what else means something over the
// same stretches at the same cost, and how much more the best way costs that means
// something else.
func cheapest(options [][]island) (cover []island, margin float64) {
	n := len(options)
	best := make([][]path, n+1)
	best[n] = []path{{}}
	for i := n - 1; i >= 0; i-- {
		for k, x := range options[i] {
			means := hashItems(x.items)
			for c, rest := range best[x.end] {
				p := path{cost: x.cost + rest.cost, means: rest.means, pick: k, child: c}
				if means != 0 {
					p.means = (rest.means ^ means) * 1099511628211
				}
				best[i] = keep(best[i], p)
			}
		}
	}
	margin = math.Inf(1)
	if len(best[0]) > 1 {
		margin = best[0][1].cost - best[0][0].cost
	}
	at := 0
	for i := 0; i < n; {
		b := best[i][at]
		x := options[i][b.pick]
		for k, y := range options[i] {
			if k != b.pick && y.end == x.end && len(x.items) > 0 && len(y.items) > 0 && y.cost <= x.cost+sameEnough && !sameItems(x.items, y.items) {
				x.items = append(slices.Clone(x.items), y.items...)
				x.doubt = Ambiguous
			}
		}
		cover = append(cover, x)
		i, at = x.end, b.child
	}
	return cover, margin
}

// keep puts a path among the best ones, one for each meaning.
func keep(list []path, p path) []path {
	for i := range list {
		if list[i].means == p.means {
			if p.cost >= list[i].cost-sameEnough {
				return list
			}
			list = slices.Delete(list, i, i+1)
			break
		}
	}
	at := len(list)
	for at > 0 && p.cost < list[at-1].cost-sameEnough {
		at--
	}
	if at >= mostPaths {
		return list
	}
	if list = slices.Insert(list, at, p); len(list) > mostPaths {
		list = list[:mostPaths]
	}
	return list
}

// hashItems is one number for the meanings of an island, zero if it has none.
func hashItems(alts [][]Item) uint64 {
	if len(alts) == 0 {
		return 0
	}
	h := fnv.New64a()
	for _, list := range alts {
		for _, it := range list {
			writeItem(h, it)
		}
	}
	return h.Sum64() | 1
}

func writeItem(w io.Writer, it Item) {
	switch {
	case it.Reading != nil:
		fmt.Fprint(w, it.Reading.Quantity, it.Reading.Place, it.Reading.Value, it.Reading.Qualifier)
	case it.Observation != nil:
		fmt.Fprint(w, it.Observation.Quantity, it.Observation.Place, it.Observation.Value)
	case it.Question != nil:
		fmt.Fprint(w, it.Question.String())
	case it.Command != nil:
		fmt.Fprint(w, it.Command.Command, it.Command.Text)
		if it.Command.Number != nil {
			fmt.Fprint(w, *it.Command.Number)
		}
	default:
		fmt.Fprint(w, it.Declaration, it.Repair)
	}
	fmt.Fprint(w, ";")
}

func sameItems(a, b [][]Item) bool {
	return slices.EqualFunc(a, b, func(x, y []Item) bool {
		return slices.EqualFunc(x, y, func(p, q Item) bool { return reflect.DeepEqual(bareItem(p), bareItem(q)) })
	})
}
