package intents

import (
	"math/rand"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/grammar"
)

// networks are compiled once for all tests.
var networks = [2]func() (*grammar.Network, error){
	Spoken: sync.OnceValues(func() (*grammar.Network, error) { return compile(Spoken) }), Written: sync.OnceValues(func() (*grammar.Network, error) { return compile(Written) }),
}

func compile(f Form) (*grammar.Network, error) {
	c, err := catalogue.Load()
	if err != nil {
		return nil, err
	}
	p, err := New(c)
	if err != nil {
		return nil, err
	}
	return p.Grammar(f).Compile()
}

// Every sentence of the language is understood to its last word: recorded,
// asked back, or the answer to a question. None is taken for talk.
func TestGrammarSentencesAreUnderstood(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	p := newParser(t)
	r := rand.New(rand.NewSource(2))
	for _, f := range []Form{Written, Spoken} {
		g := p.Grammar(f)
		require.NoError(t, g.Validate())
		start := time.Now()
		n, err := networks[f]()
		require.NoError(t, err)
		require.NoError(t, n.Validate())
		t.Logf("form %d: %d rules, %d states, %d arcs, compiled in %v", f, len(g.Rules), n.States(), n.Arcs(), time.Since(start))
		lost := 0
		for range 2000 {
			s := g.Sample(r)
			require.True(t, n.Accepts(s), s)
			if !understood(p, s) {
				lost++
				t.Logf("not understood: %s", s)
			}
		}
		assert.Zero(t, lost)
	}
	_, err := p.Grammar(Spoken).JSGF("callouts")
	assert.NoError(t, err)
}

func understood(p *Parser, s string) bool {
	if len(p.Parse(s, Context{}).Ignored) == 0 {
		return true
	}
	for _, q := range p.cat.Quantities { // as the answer to a question
		if len(p.Parse(s, Context{Open: &Asked{Quantity: q.ID, Place: q.Places[0]}}).Ignored) == 0 {
			return true
		}
	}
	return false
}

// What the sampler makes and what the catalogue lists can be recognised too.
func TestGrammarHoldsTheSamples(t *testing.T) {
	p := newParser(t)
	for _, f := range []Form{Written, Spoken} {
		n, err := networks[f]()
		require.NoError(t, err)
		r := rand.New(rand.NewSource(5))
		list := p.Phrases()
		for range 3000 {
			list = append(list, p.Sample(r))
		}
		out := 0
		for _, s := range list {
			text := s.Written
			if f == Spoken {
				text = s.Spoken
			}
			if len(s.Meaning) == 1 && s.Meaning[0].Note != "" {
				continue // free words are in no grammar
			}
			if !n.Accepts(text) {
				if out++; out < 40 {
					t.Logf("form %d lacks: %s", f, text)
				}
			}
		}
		assert.Zero(t, out)
	}
}

func BenchmarkCompileWritten(b *testing.B) {
	p := newParser(b)
	for b.Loop() {
		if _, err := p.Grammar(Written).Compile(); err != nil {
			b.Fatal(err)
		}
	}
}
