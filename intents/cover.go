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
	if r, ok := u.note(); ok {
		return r
	}
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
			r := before.read()
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

// sentence is what stands between two full stops.
type sentence struct {
	u          *utterance
	toks       []token
	from, to   int // tokens
	meanings   []placed
	unknown    int
	negated    bool
	chatter    bool
	understood int // words inside clauses
}

// placed is a clause with what it means.
type placed struct {
	clause clause
	meaning
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

func (s *sentence) span(from, to int) (said string, start, end int) {
	start, end = s.toks[from].start, s.toks[to-1].end
	for k := from; k < to; k++ {
		end = max(end, s.toks[k].end)
	}
	return s.u.text[start:end], start, end
}

// finish decides what of a sentence counts. It is recorded only when every word
// in it is understood; a stray word makes it a doubt, more make it talk.
func (s *sentence) finish(res *Result, deny bool) {
	said, start, end := s.span(s.from, s.to)
	ignore := func() { res.Ignored = append(res.Ignored, said) }
	if s.negated && deny && !s.chatter {
		if d, ok := s.denied(); ok {
			res.Doubts = append(res.Doubts, d)
			return
		}
	}
	useful := slices.ContainsFunc(s.meanings, func(m placed) bool {
		return m.clause.shape != shapeCommand && m.clause.shape != shapePartial && !m.bare
	})
	switch {
	case len(s.meanings) == 0 || s.chatter:
		ignore()
	case s.unknown == 0:
		s.accept(res)
	case useful && (s.unknown == 1 && s.understood >= 2 || s.unknown == 2 && s.understood >= 4):
		d := Doubt{Kind: Incomplete, Said: said, Start: start, End: end}
		for _, m := range s.meanings {
			if m.clause.shape == shapeCommand {
				continue
			}
			for _, alt := range m.alternatives {
				d.Candidates = append(d.Candidates, s.stamp(alt, m.clause)...)
			}
			if d.Quantity == "" {
				d.Quantity, d.Place = m.quantity, m.place
			}
		}
		res.Doubts = append(res.Doubts, d)
	default:
		ignore()
	}
}

// denied reads the sentence without its "not": if that is a callout, whether it
// is meant or its opposite must be asked.
func (s *sentence) denied() (Doubt, bool) {
	said, start, end := s.span(s.from, s.to)
	var kept []token
	for _, t := range s.toks[s.from:s.to] {
		if slices.Contains(s.u.p.words.Negations, t.text) {
			continue
		}
		kept = append(kept, t)
	}
	if len(kept) == 0 || len(kept) == s.to-s.from {
		return Doubt{}, false
	}
	d := Doubt{Kind: Negation, Said: said, Start: start, End: end}
	for _, c := range s.u.covers(kept) {
		r := s.u.assembleTokens(c, kept, false)
		for _, it := range r.Items {
			if it.Command != nil {
				continue
			}
			if decl, ok := s.u.p.cat.Declaration(it.Declaration); ok && decl.Opposite != "" {
				d.Candidates = append(d.Candidates, Item{Declaration: decl.Opposite, Said: it.Said, Start: it.Start, End: it.End})
			}
			d.Candidates = append(d.Candidates, it)
		}
		break
	}
	return d, len(d.Candidates) > 0
}

func (s *sentence) stamp(items []Item, c clause) []Item {
	out := slices.Clone(items)
	said, start, end := s.span(c.start, c.end)
	for i := range out {
		out[i].Said, out[i].Start, out[i].End = said, start, end
	}
	return out
}

// accept records a sentence that is understood to its last word.
func (s *sentence) accept(res *Result) {
	asks := s.toks[s.to-1].asks
	for i, m := range s.meanings {
		if m.clause.shape == shapeCommand && s.leads(i) {
			continue
		}
		said, start, end := s.span(m.clause.start, m.clause.end)
		d := Doubt{Kind: m.doubt, Said: said, Start: start, End: end, Quantity: m.quantity, Place: m.place}
		for _, alt := range m.alternatives {
			d.Candidates = append(d.Candidates, s.stamp(alt, m.clause)...)
		}
		switch {
		case m.doubt == "" && i > 0 && s.denies(i):
			d.Kind = Negation
		case m.doubt == "" && asks && len(d.Candidates) > 0 && s.u.p.safety(d.Candidates[0]):
			d.Kind = Incomplete // "disconnect pulled?" asks, it does not tell
		case m.doubt == "":
			if i > 0 && s.meanings[i-1].clause.shape == shapeCommand && s.corrects(i-1) {
				res.Items = append(res.Items, s.correction(i-1))
			}
			res.Items = append(res.Items, d.Candidates...)
			continue
		}
		res.Doubts = append(res.Doubts, d)
	}
}

func (p *Parser) safety(it Item) bool {
	d, ok := p.cat.Declaration(it.Declaration)
	return ok && d.Safety
}

// leads reports whether the command at i only leads in what follows: "yes,
// amps forty seven", "no, amps forty five".
func (s *sentence) leads(i int) bool {
	if i+1 >= len(s.meanings) || s.meanings[i+1].clause.shape == shapeCommand || s.meanings[i].bare {
		return false
	}
	c := s.meanings[i].alternatives
	return len(c) == 1 && len(c[0]) == 1 && c[0][0].Command != nil && c[0][0].Command.Number == nil &&
		slices.Contains([]catalogue.CommandID{"yes", "no", "correct", "next"}, c[0][0].Command.Command)
}

func (s *sentence) corrects(i int) bool {
	return s.leads(i) && slices.Contains([]catalogue.CommandID{"no", "correct"}, s.meanings[i].alternatives[0][0].Command.Command)
}

func (s *sentence) correction(i int) Item {
	return s.stamp([]Item{{Command: &catalogue.Asked{Command: "correct"}}}, s.meanings[i].clause)[0]
}

// denies reports whether a bare "no" stands right before clause i, so that it
// may deny it as well as mend what was said before.
func (s *sentence) denies(i int) bool {
	prev := s.meanings[i-1].clause
	return prev.shape == shapeCommand && s.leads(i-1) && prev.end-prev.start == 1 && s.toks[prev.start].text == "no" &&
		s.meanings[i].clause.start == prev.end && s.toks[prev.end].before <= gapJoin
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
	if d.End > d.Start {
		d.Said = u.text[d.Start:d.End]
		out.Doubts = append(out.Doubts, d)
	}
	return out
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
			return d.Kind == Implausible && !slices.ContainsFunc(d.Candidates, func(it Item) bool { return it.Reading == nil || !p.impossible(*it.Reading) })
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
