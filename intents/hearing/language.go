package hearing

import (
	"callout/audio"
	"callout/grammar"
	"callout/intents"
)

// language lets a recogniser walk the callout language.
type language struct{ network *grammar.Network }

// Language compiles the callout language, as a recogniser writes it. With answers it
// also holds what counts only after a question: bare numbers and choices.
func Language(p *intents.Parser, answers bool) (audio.Language, error) {
	g := p.Grammar(intents.Written)
	if !answers {
		g = without(g, "answer")
	}
	n, err := g.Compile()
	if err != nil {
		return nil, err
	}
	return language{n}, nil
}

// without is the grammar less one rule, which must be an alternative wherever it is used.
func without(g *grammar.Grammar, name string) *grammar.Grammar {
	var drop func(e grammar.Expr) grammar.Expr
	drop = func(e grammar.Expr) grammar.Expr {
		switch e := e.(type) {
		case grammar.Seq:
			out := make(grammar.Seq, len(e))
			for i, x := range e {
				out[i] = drop(x)
			}
			return out
		case grammar.Alt:
			var out grammar.Alt
			for _, x := range e {
				if x != grammar.Expr(grammar.Ref(name)) {
					out = append(out, drop(x))
				}
			}
			return out
		case grammar.Opt:
			return grammar.Opt{Of: drop(e.Of)}
		}
		return e
	}
	rules := map[string]grammar.Expr{}
	for _, r := range g.Rules {
		rules[r.Name] = r.Expr
	}
	rules[g.Start] = drop(rules[g.Start])
	// Rules that only the dropped one used go with it.
	used := map[string]bool{}
	var visit func(e grammar.Expr)
	visit = func(e grammar.Expr) {
		switch e := e.(type) {
		case grammar.Seq:
			for _, x := range e {
				visit(x)
			}
		case grammar.Alt:
			for _, x := range e {
				visit(x)
			}
		case grammar.Opt:
			visit(e.Of)
		case grammar.Many:
			visit(e.Of)
			visit(e.Between)
		case grammar.Ref:
			if !used[string(e)] {
				used[string(e)] = true
				visit(rules[string(e)])
			}
		}
	}
	visit(grammar.Ref(g.Start))
	out := &grammar.Grammar{Start: g.Start}
	for _, r := range g.Rules {
		if used[r.Name] {
			out.Rules = append(out.Rules, grammar.Rule{Name: r.Name, Expr: rules[r.Name]})
		}
	}
	return out
}

func (l language) Start() int { return int(l.network.Start()) }

func (l language) Step(state int, b byte) (int, bool) {
	next, ok := l.network.Step(grammar.State(state), b)
	return int(next), ok
}

func (l language) Whole(state int) bool { return l.network.Final(grammar.State(state)) }
