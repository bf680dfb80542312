package intents

import (
	"math/rand"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every sentence of the language is understood to its last word: recorded,
// asked back, or the answer to a question. None is taken for talk.
func TestGrammarSentencesAreUnderstood(t *testing.T) {
	p := newParser(t)
	r := rand.New(rand.NewSource(2))
	for _, f := range []Form{Written, Spoken} {
		g := p.Grammar(f)
		require.NoError(t, g.Validate())
		start := time.Now()
		n, err := g.Compile()
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
