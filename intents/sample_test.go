package intents

import (
	"flag"
	"fmt"
	"math/rand"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func meant(s Sentence) string { return describeAll(s.Meaning) }

func parsed(p *Parser, text string) string {
	r := p.Parse(text, Context{})
	if len(r.Doubts) > 0 || len(r.Ignored) > 0 {
		return strings.Join(append(describeResult(r), r.Ignored...), " ; ")
	}
	return describeAll(r.Items)
}

// Whatever the sampler makes is read back as what it was made from, spoken and
// written.
func TestSamplesReadBack(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	p := newParser(t)
	r := rand.New(rand.NewSource(3))
	bad, asked := 0, 0
	for range 6000 {
		s := p.Sample(r)
		require.NotEmpty(t, s.Spoken)
		for _, text := range []string{s.Spoken, s.Written} {
			got := parsed(p, text)
			if strings.HasPrefix(got, "? ") && strings.HasSuffix(got, " | "+meant(s)) && strings.Count(got, "|") == 1 {
				asked++ // "five nine" amps may be 5.9: asked about, with what is meant
				continue
			}
			if got != meant(s) {
				if bad++; bad < 40 {
					t.Logf("%s\n\tmeant %s\n\tread  %s", text, meant(s), got)
				}
			}
		}
	}
	assert.Zero(t, bad)
	assert.Less(t, asked, 120, "of 12,000")
}

func TestPhrasesReadBack(t *testing.T) {
	p := newParser(t)
	list := p.Phrases()
	require.Greater(t, len(list), 200)
	for _, s := range list {
		assert.Equal(t, meant(s), parsed(p, s.Spoken), s.Spoken)
		assert.Equal(t, meant(s), parsed(p, s.Written), s.Written)
	}
}

func TestSampleGolden(t *testing.T) {
	// A catalogue of its own, so that the file changes only where the sampler does.
	c, err := catalogue.LoadFrom(os.DirFS("testdata/catalogue"))
	require.NoError(t, err)
	p, err := New(c)
	require.NoError(t, err)
	r := rand.New(rand.NewSource(4))
	var b strings.Builder
	for range 60 {
		s := p.Sample(r)
		fmt.Fprintf(&b, "%s\n\t%s\n\t%s\n", s.Spoken, s.Written, meant(s))
	}
	const file = "testdata/sample.golden"
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), b.String(), "go test ./intents -update rewrites it")
}
