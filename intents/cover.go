package intents

import (
	"math"
	"reflect"
	"slices"
	"strings"

	"callout/catalogue"
)

// utterance is one text being read.
type utterance struct {
	p    *Parser
	text string
	toks []token
	env  environment

	sounds   bool // a word only sounds like a number
	margin   float64
	evidence Evidence // why what talk made of it is trusted
	guarding []hit    // found in free talk
	open     string
	last     *catalogue.Reading
}

// step is one stretch of the cover: a clause, words that carry nothing, or a
// word that is not understood.
type step struct {
	end     int
	cost    float64
	clause  *clause
	filler  bool
	negates bool
	chatter bool
}

const (
	maxCovers  = 12
	sameEnough = 1e-9
)

// read finds the best covers of the text and settles what they mean.
func (u *utterance) read() Result {
	covers := u.covers(u.toks)
	var results []Result
	for _, c := range covers {
		r := u.assemble(c)
		if !slices.ContainsFunc(results, func(x Result) bool { return sameMeaning(x, r) }) {
			results = append(results, r)
		}
	}
	if len(results) == 0 {
		return Result{}
	}
	return u.merge(results)
}

// note takes "note …": the rest of the line, whatever it holds.
func (u *utterance) note() (Result, bool) {
	for i := range u.toks {
		if i > 0 && u.toks[i].before != gapStop {
			continue
		}
		for _, m := range u.p.lex.at(u.toks, i, nil) {
			if m.entry.class != isCommand || u.p.cat.Commands[m.entry.index].Argument != "text" {
				continue
			}
			longest := m.end
			for _, o := range u.p.lex.at(u.toks, i, nil) {
				if o.entry == m.entry && o.end > longest {
					longest = o.end
				}
			}
			before := &utterance{p: u.p, text: u.text, toks: u.toks[:i], env: u.env}
			var r Result
			if i > 0 {
				r = before.read()
			}
			start := u.toks[i].start
			said := strings.TrimSpace(u.text[start:])
			end := start + len(said)
			if longest >= len(u.toks) {
				r.Doubts = append(r.Doubts, Doubt{Kind: Incomplete, Said: said, Start: start, End: end})
				return r, true
			}
			body := strings.TrimSpace(u.text[u.toks[longest].start:])
			r.Items = append(r.Items, Item{Note: body, Said: said, Start: start, End: end})
			return r, true
		}
	}
	return Result{}, false
}

// covers lists the cheapest ways to cover the tokens.
func (u *utterance) covers(toks []token) [][]step {
	n := len(toks)
	s := u.p.newSearch(toks, u.env)
	best := make([]float64, n+1)
	options := make([][]step, n)
	for i := n - 1; i >= 0; i-- {
		list := u.loose(s, i)
		found := s.from(i)
		for k := range found {
			c := found[k]
			list = append(list, step{end: c.end, cost: c.cost, clause: &c})
		}
		best[i] = math.Inf(1)
		for _, st := range list {
			best[i] = math.Min(best[i], st.cost+best[st.end])
		}
		for _, st := range list {
			if st.cost+best[st.end] <= best[i]+sameEnough {
				options[i] = append(options[i], st)
			}
		}
	}
	var out [][]step
	var path []step
	var walk func(i int)
	walk = func(i int) {
		if len(out) >= maxCovers {
			return
		}
		if i == n {
			out = append(out, slices.Clone(path))
			return
		}
		for _, st := range options[i] {
			path = append(path, st)
			walk(st.end)
			path = path[:len(path)-1]
		}
	}
	walk(0)
	return out
}

// loose gives the ways to pass over token i outside a clause.
func (u *utterance) loose(s *search, i int) []step {
	unknown := step{end: i + 1, cost: costUnknown}
	list := []step{}
	for _, e := range s.edges[i] {
		switch e.class {
		case isFiller, isHesitation, isMeasured:
			list = append(list, step{end: e.end, cost: costFiller, filler: true})
		case isNegation:
			if e.end == i+1 {
				unknown.negates = true
			}
		case isChatter:
			if e.end == i+1 {
				unknown.chatter = true
			}
		}
	}
	return append(list, unknown)
}

// assemble turns one cover into a result, sentence by sentence.
func (u *utterance) assemble(cover []step) Result {
	return u.assembleTokens(cover, u.toks, true)
}

func (u *utterance) assembleTokens(cover []step, toks []token, deny bool) Result {
	var res Result
	env := u.env
	sen := sentence{u: u, toks: toks}
	flush := func(to int) {
		sen.to = to
		if sen.to > sen.from {
			sen.finish(&res, deny)
		}
		sen = sentence{u: u, toks: toks, from: to}
	}
	i := 0
	for _, st := range cover {
		if i > sen.from && toks[i].before == gapStop {
			flush(i)
		}
		switch {
		case st.clause != nil:
			m := u.p.resolve(*st.clause, env)
			if m.bare && m.doubt == "" {
				sen.unknown++
			} else {
				sen.meanings = append(sen.meanings, placed{*st.clause, m})
				sen.understood += st.end - i
				env = u.p.after(env, *st.clause, m)
			}
		case !st.filler:
			sen.unknown++
			sen.negated = sen.negated || st.negates
			sen.chatter = sen.chatter || st.chatter
		}
		i = st.end
	}
	flush(len(toks))
	return res
}

// after is what the next clause in the same breath may lean on.
func (p *Parser) after(env environment, c clause, m meaning) environment {
	if c.shape != shapeNumber && c.shape != shapePair || len(m.alternatives) != 1 || m.alternatives[0][0].Reading == nil {
		return env
	}
	r := m.alternatives[0][0].Reading
	env.inheritQ, env.inheritP, env.carryP = p.quantityIndex[r.Quantity], p.placeIndex[r.Place], -1
	if c.slots.nPlaces > 0 && c.shape == shapeNumber && !c.slots.placed {
		env.carryP = p.placeIndex[r.Place]
	}
	return env
}

// sameMeaning compares results by what they say, not by their spans.
func sameMeaning(a, b Result) bool {
	strip := func(r Result) Result {
		out := Result{Ignored: r.Ignored}
		for _, it := range r.Items {
			out.Items = append(out.Items, bareItem(it))
		}
		for _, d := range r.Doubts {
			d.Said, d.Start, d.End = "", 0, 0
			cands := d.Candidates
			d.Candidates = nil
			for _, it := range cands {
				d.Candidates = append(d.Candidates, bareItem(it))
			}
			out.Doubts = append(out.Doubts, d)
		}
		return out
	}
	return reflect.DeepEqual(strip(a), strip(b))
}

func bareItem(it Item) Item {
	it.Said, it.Start, it.End = "", 0, 0
	return it
}

func hasItem(list []Item, it Item) bool {
	return slices.ContainsFunc(list, func(x Item) bool { return reflect.DeepEqual(bareItem(x), bareItem(it)) })
}

// merge keeps what every reading of the text agrees on and turns the rest into
// one doubt that names all candidates.
func (u *utterance) merge(results []Result) Result {
	if k := u.p.onlyPossible(results); k >= 0 {
		return results[k]
	}
	out := Result{Ignored: results[0].Ignored}
	d := Doubt{Kind: Ambiguous, Start: len(u.text)}
	for _, r := range results {
		for _, it := range r.Items {
			everywhere := !slices.ContainsFunc(results, func(o Result) bool { return !hasItem(o.Items, it) })
			switch {
			case everywhere && !hasItem(out.Items, it):
				out.Items = append(out.Items, it)
			case !everywhere && !hasItem(d.Candidates, it):
				d.Candidates = append(d.Candidates, it)
				d.Start, d.End = min(d.Start, it.Start), max(d.End, it.End)
			}
		}
		for _, x := range r.Doubts {
			for _, it := range x.Candidates {
				if !hasItem(d.Candidates, it) {
					d.Candidates = append(d.Candidates, it)
				}
			}
			d.Start, d.End = min(d.Start, x.Start), max(d.End, x.End)
			if d.Quantity == "" {
				d.Quantity, d.Place = x.Quantity, x.Place
			}
		}
	}
	if q, ok := u.where(results); ok {
		d.Kind, d.Quantity, d.Place = WhichPlace, q, ""
	}
	if d.End > d.Start {
		d.Said = u.text[d.Start:d.End]
		out.Doubts = append(out.Doubts, d)
	}
	return out
}

// where reports whether all that is open is where a quantity was taken: one way to read the
// text names it, and the others make less of it.
func (u *utterance) where(results []Result) (q catalogue.QuantityID, ok bool) {
	for _, r := range results {
		for _, d := range r.Doubts {
			if d.Kind == WhichPlace && q == "" {
				q = d.Quantity
			}
			if d.Kind != WhichPlace && d.Kind != Incomplete || d.Quantity != "" && d.Quantity != q {
				return "", false
			}
		}
		if len(r.Items) > 0 {
			return "", false
		}
	}
	return q, q != ""
}

// onlyPossible finds the one result without a doubt where every other holds a
// number that cannot be: 47 beside 4047 amps.
func (p *Parser) onlyPossible(results []Result) int {
	only := -1
	for i, r := range results {
		if len(r.Doubts) == 0 {
			if only >= 0 {
				return -1
			}
			only = i
			continue
		}
		absurd := len(results) > 1 && slices.ContainsFunc(r.Doubts, func(d Doubt) bool {
			return d.Kind == Implausible && !slices.ContainsFunc(d.Candidates, func(it Item) bool { return it.Reading == nil || p.cat.Possible(*it.Reading) })
		})
		if !absurd && len(results) > 1 {
			return -1
		}
		if len(results) == 1 {
			return i
		}
	}
	return only
}
