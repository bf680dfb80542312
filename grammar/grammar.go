// Package grammar holds a finite language of sentences: rules to write it down,
// a check that they can be compiled, and a small automaton over bytes that a
// recogniser can walk beside its own search.
//
// It knows nothing of the trade: the rules are made elsewhere from the same
// tables as the parser. A Grammar is plain data; a compiled Network never
// changes and is safe for concurrent use.
package grammar

import (
	"errors"
	"fmt"
	"math/rand"
	"strings"
)

// Grammar is a set of rules. Every sentence of the language is one of the rule
// named Start.
type Grammar struct {
	Start string
	Rules []Rule
}

// Rule names an expression so that others can refer to it.
type Rule struct {
	Name string
	Expr Expr
}

// Expr is one of Lit, Seq, Alt, Opt, Many and Ref.
type Expr interface{ expr() }

// Lit is one or more words. A space stands before it, except at the start of a
// sentence or where Glued.
type Lit struct {
	Text  string
	Glued bool
}

// Seq is its parts one after the other.
type Seq []Expr

// Alt is any one of its parts; none of them if empty, so that is invalid.
type Alt []Expr

// Opt is its part or nothing.
type Opt struct{ Of Expr }

// Many is one or more of its part, each after the first led in by Between.
type Many struct{ Of, Between Expr }

// Ref is the rule of that name.
type Ref string

func (Lit) expr()  {}
func (Seq) expr()  {}
func (Alt) expr()  {}
func (Opt) expr()  {}
func (Many) expr() {}
func (Ref) expr()  {}

// Words makes an alternative of plain phrases.
func Words(list ...string) Expr {
	alt := make(Alt, len(list))
	for i, s := range list {
		alt[i] = Lit{Text: s}
	}
	return alt
}

// ErrInvalid marks every fault that Validate finds.
var ErrInvalid = errors.New("grammar: invalid")

// Validate reports a rule that is missing, named twice, empty, never used, or
// that leads back to itself: a language with such a rule has no end, and
// recognisers fail on it.
func (g *Grammar) Validate() error {
	rules := map[string]Expr{}
	var errs []error
	bad := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...)))
	}
	for _, r := range g.Rules {
		if _, twice := rules[r.Name]; twice || r.Name == "" {
			bad("rule %q is there twice or has no name", r.Name)
		}
		rules[r.Name] = r.Expr
	}
	if _, ok := rules[g.Start]; !ok {
		bad("no start rule %q", g.Start)
	}
	const busy, done = 1, 2
	state := map[string]int{}
	var visit func(in string, e Expr)
	visit = func(in string, e Expr) {
		switch e := e.(type) {
		case Lit:
			if strings.TrimSpace(e.Text) != e.Text || e.Text == "" || strings.Contains(e.Text, "  ") {
				bad("rule %q: words %q are empty or have stray spaces", in, e.Text)
			}
		case Seq:
			if len(e) == 0 {
				bad("rule %q: empty sequence", in)
			}
			for _, x := range e {
				visit(in, x)
			}
		case Alt:
			if len(e) == 0 {
				bad("rule %q: no alternatives", in)
			}
			for _, x := range e {
				visit(in, x)
			}
		case Opt:
			visit(in, e.Of)
		case Many:
			visit(in, e.Of)
			visit(in, e.Between)
		case Ref:
			to, ok := rules[string(e)]
			switch {
			case !ok:
				bad("rule %q: no rule %q", in, string(e))
			case state[string(e)] == busy:
				bad("rule %q leads back to itself through %q", string(e), in)
			case state[string(e)] == 0:
				state[string(e)] = busy
				visit(string(e), to)
				state[string(e)] = done
			}
		default:
			bad("rule %q: empty expression", in)
		}
	}
	if e, ok := rules[g.Start]; ok {
		state[g.Start] = busy
		visit(g.Start, e)
		state[g.Start] = done
	}
	for _, r := range g.Rules {
		if state[r.Name] == 0 && len(errs) == 0 {
			bad("rule %q is never used", r.Name)
		}
	}
	return errors.Join(errs...)
}

func (g *Grammar) rule(name string) Expr {
	for _, r := range g.Rules {
		if r.Name == name {
			return r.Expr
		}
	}
	return nil
}

// Sample makes one sentence of a valid grammar, each alternative being equally
// likely. Many gives one part in most cases and at most three.
func (g *Grammar) Sample(r *rand.Rand) string {
	var b strings.Builder
	var say func(e Expr)
	say = func(e Expr) {
		switch e := e.(type) {
		case Lit:
			if b.Len() > 0 && !e.Glued {
				b.WriteByte(' ')
			}
			b.WriteString(e.Text)
		case Seq:
			for _, x := range e {
				say(x)
			}
		case Alt:
			say(e[r.Intn(len(e))])
		case Opt:
			if r.Intn(2) == 0 {
				say(e.Of)
			}
		case Many:
			say(e.Of)
			for n := 0; n < 2 && r.Intn(3) == 0; n++ {
				say(e.Between)
				say(e.Of)
			}
		case Ref:
			say(g.rule(string(e)))
		}
	}
	say(Ref(g.Start))
	return b.String()
}

// JSGF writes the grammar in the Java Speech Grammar Format, version 1.0, as
// classic recognisers read it. Glued words can't be written there and are an
// error, as is an invalid grammar.
func (g *Grammar) JSGF(name string) (string, error) {
	if err := g.Validate(); err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "#JSGF V1.0;\ngrammar %s;\n", name)
	var glued string
	var write func(e Expr)
	write = func(e Expr) {
		switch e := e.(type) {
		case Lit:
			if e.Glued {
				glued = e.Text
			}
			b.WriteString(e.Text)
		case Seq:
			for i, x := range e {
				if i > 0 {
					b.WriteByte(' ')
				}
				write(x)
			}
		case Alt:
			b.WriteByte('(')
			for i, x := range e {
				if i > 0 {
					b.WriteString(" | ")
				}
				write(x)
			}
			b.WriteByte(')')
		case Opt:
			b.WriteByte('[')
			write(e.Of)
			b.WriteByte(']')
		case Many:
			write(e.Of)
			b.WriteString(" (")
			write(e.Between)
			b.WriteByte(' ')
			write(e.Of)
			b.WriteString(")*")
		case Ref:
			fmt.Fprintf(&b, "<%s>", string(e))
		}
	}
	for _, r := range g.Rules {
		if r.Name == g.Start {
			b.WriteString("public ")
		}
		fmt.Fprintf(&b, "<%s> = ", r.Name)
		write(r.Expr)
		b.WriteString(";\n")
	}
	if glued != "" {
		return "", fmt.Errorf("%w: %q is glued to the word before it, which JSGF can't say", ErrInvalid, glued)
	}
	return b.String(), nil
}

// Vocabulary lists the words of the grammar, each once, in the order met.
func (g *Grammar) Vocabulary() []string {
	seen := map[string]bool{}
	var out []string
	var visit func(e Expr)
	visit = func(e Expr) {
		switch e := e.(type) {
		case Lit:
			for _, w := range strings.Fields(e.Text) {
				if !seen[w] {
					seen[w] = true
					out = append(out, w)
				}
			}
		case Seq:
			for _, x := range e {
				visit(x)
			}
		case Alt:
			for _, x := range e {
				visit(x)
			}
		case Opt:
			visit(e.Of)
		case Many:
			visit(e.Of)
			visit(e.Between)
		}
	}
	for _, r := range g.Rules {
		visit(r.Expr)
	}
	return out
}
