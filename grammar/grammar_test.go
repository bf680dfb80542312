package grammar

import (
	"math/rand"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func digits() Expr {
	var alt Alt
	for c := '0'; c <= '9'; c++ {
		alt = append(alt, Lit{Text: string(c), Glued: true})
	}
	return alt
}

func small() *Grammar {
	first := Words("1", "2", "3")
	return &Grammar{Start: "call", Rules: []Rule{
		{"call", Seq{Many{Of: Ref("one"), Between: Opt{Lit{Text: ",", Glued: true}}}, Opt{Lit{Text: ".", Glued: true}}}},
		{"one", Alt{Seq{Words("amps", "Compressor amps", "RLA"), Ref("number")}, Lit{Text: "scratch that"}}},
		{"number", Seq{first, Opt{digits()}, Opt{Seq{Lit{Text: ".", Glued: true}, digits()}}}},
	}}
}

func TestNetwork(t *testing.T) {
	n, err := small().Compile()
	require.NoError(t, err)
	require.NoError(t, n.Validate())
	for _, s := range []string{"amps 1", " amps 12", "Compressor amps 12.5", "RLA 3.4, amps 12.", "scratch that amps 2", "rla 1", "amps 1."} {
		assert.True(t, n.Accepts(s), s)
	}
	for _, s := range []string{"", " ", "amps", "amps 4", "amps 123", "amps 1..", "scratch", "compressor 12", "amps  1", "amps 1 ,amps 2"} {
		assert.False(t, n.Accepts(s), s)
	}
	for _, tokens := range [][]string{{" Comp", "ressor", " amps", " 1", "2", ".", "5"}, {" amps", " 12"}} {
		s, ok := n.Start(), true
		for _, tok := range tokens {
			s, ok = n.Walk(s, tok)
			require.True(t, ok, tok)
		}
		assert.True(t, n.Final(s))
	}
	r := rand.New(rand.NewSource(1))
	for range 2000 {
		s := small().Sample(r)
		assert.True(t, n.Accepts(s), s)
		if s, ok := n.Sample(r, 200); ok {
			assert.True(t, n.Accepts(s), s)
		}
	}
}

// The smallest automaton for a language is unique up to names: sharing the
// ending of two words must leave exactly the states of the shared word.
// (amps|lamps): start, space, l, a, m, p, s, end = 7 states and 7 arcs.
func TestNetworkIsMinimal(t *testing.T) {
	n, err := (&Grammar{Start: "s", Rules: []Rule{{"s", Words("amps", "lamps", "amps")}}}).Compile()
	require.NoError(t, err)
	assert.Equal(t, 7, n.States())
	assert.Equal(t, 7, n.Arcs())
}

func TestValidate(t *testing.T) {
	for want, g := range map[string]*Grammar{
		`no start rule "s"`:    {Start: "s", Rules: []Rule{{"t", Lit{Text: "a"}}}},
		`no rule "x"`:          {Start: "s", Rules: []Rule{{"s", Ref("x")}}},
		`leads back to itself`: {Start: "s", Rules: []Rule{{"s", Seq{Ref("t"), Lit{Text: "a"}}}, {"t", Alt{Lit{Text: "b"}, Ref("s")}}}},
		`rule "t" is never`:    {Start: "s", Rules: []Rule{{"s", Lit{Text: "a"}}, {"t", Lit{Text: "a"}}}},
		`is there twice`:       {Start: "s", Rules: []Rule{{"s", Lit{Text: "a"}}, {"s", Lit{Text: "a"}}}},
		`no alternatives`:      {Start: "s", Rules: []Rule{{"s", Opt{Alt{}}}}},
		`empty sequence`:       {Start: "s", Rules: []Rule{{"s", Many{Of: Seq{}, Between: Lit{Text: "a"}}}}},
		`empty expression`:     {Start: "s", Rules: []Rule{{"s", Opt{}}}},
		`have stray spaces`:    {Start: "s", Rules: []Rule{{"s", Lit{Text: "a "}}}},
		`words "" are empty`:   {Start: "s", Rules: []Rule{{"s", Lit{}}}},
	} {
		err := g.Validate()
		require.ErrorIs(t, err, ErrInvalid, want)
		assert.ErrorContains(t, err, want)
		_, err = g.Compile()
		assert.ErrorIs(t, err, ErrInvalid)
		_, err = g.JSGF("x")
		assert.ErrorIs(t, err, ErrInvalid)
	}
}

func TestNetworkValidate(t *testing.T) {
	n, err := small().Compile()
	require.NoError(t, err)
	stuck := *n
	stuck.final = make([]bool, len(n.final))
	assert.ErrorContains(t, stuck.Validate(), "no sentence can be finished")
	dangling := *n
	dangling.arcs = append([]Arc{}, n.arcs...)
	dangling.arcs[0].To = State(n.States())
	assert.ErrorContains(t, dangling.Validate(), "bad arc")
}

// The form of the header, rules, groups, options and repetitions is that of
// the JSGF note of the W3C (5 June 2000), sections 4 and 5, from memory.
func TestJSGF(t *testing.T) {
	g := &Grammar{Start: "call", Rules: []Rule{
		{"call", Many{Of: Ref("one"), Between: Opt{Lit{Text: "and"}}}},
		{"one", Seq{Words("amps", "compressor amps"), Opt{Lit{Text: "about"}}, Words("one", "two")}},
	}}
	got, err := g.JSGF("callouts")
	require.NoError(t, err)
	assert.Equal(t, "#JSGF V1.0;\ngrammar callouts;\n"+
		"public <call> = <one> ([and] <one>)*;\n"+
		"<one> = (amps | compressor amps) [about] (one | two);\n", got)
	assert.Equal(t, strings.Fields("and amps compressor about one two"), g.Vocabulary())
	_, err = small().JSGF("x")
	assert.ErrorContains(t, err, "JSGF can't say")
}
