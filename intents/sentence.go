package intents

import (
	"slices"

	"callout/catalogue"
)

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
		if m.clause.shape == shapeCommand && s.unsaid(m) {
			m.doubt, m.alternatives = Incomplete, nil // "correction", and no number
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
			for _, it := range d.Candidates {
				if it.Command == nil || !hasItem(res.Items, it) { // "yeah, right" says yes once
					res.Items = append(res.Items, it)
				}
			}
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

// unsaid reports whether a command that takes a number came without one.
func (s *sentence) unsaid(m placed) bool {
	if len(m.alternatives) != 1 || len(m.alternatives[0]) != 1 || m.alternatives[0][0].Command == nil {
		return false
	}
	asked := m.alternatives[0][0].Command
	c, ok := s.u.p.cat.Command(asked.Command)
	return ok && c.Argument == "number" && asked.Number == nil
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
