package main

import (
	"math/rand"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/intents"
)

// A line is used only where each of its numbers is known, or what is written would be wrong.
func TestALineOfTalkIsCutAtItsNumbers(t *testing.T) {
	for said, c := range map[string]struct {
		known []float64
		parts []string
	}{
		"herm's reading thirty-two on a forty-five": {[]float64{45, 32}, []string{"herm's reading ", " on a ", ""}},
		"got 239 L1 to L2":                          {[]float64{239}, []string{"got ", " L1 to L2"}},
		"point three on the return, yeah":           {[]float64{0.3}, []string{"", " on the return, yeah"}},
		"it's four, no, five amps":                  {[]float64{5}, nil}, // four is no value of it
		"the first one is dead":                     {nil, nil},
		"coil is iced solid":                        {nil, []string{"coil is iced solid"}},
		"one twenty over three forty":               {[]float64{340, 120}, []string{"", " over ", ""}},
		"forty five five four forty":                {[]float64{440, 45, 5}, []string{"", " ", " ", ""}},
	} {
		got, ok := newTemplate(said, c.known)
		require.Equal(t, c.parts != nil, ok, said)
		if ok {
			assert.Equal(t, c.parts, got.parts, said)
		}
	}
}

func TestLinesLikeThoseOfTheCorpus(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.jsonl")
	require.NoError(t, os.WriteFile(path, []byte(`{"kind":"reading","said":"comp's pulling fourteen point two","mean":["current compressor_common 14.2 A"]}`+"\n"), 0o600))
	c, err := readCorpus(path, rand.New(rand.NewSource(1)))
	require.NoError(t, err)
	for range 50 {
		x := c.next()
		var v float64
		got, ok := newTemplate(x.Written, []float64{number(t, x.Written)})
		require.True(t, ok, x.Written)
		v = got.value[0]
		assert.InDelta(t, 14.2, v, 8)
		assert.Contains(t, intents.SayNumber(v), x.Spoken[len("comp's pulling "):])
	}
	_, err = readCorpus(filepath.Join(t.TempDir(), "none"), nil)
	assert.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, os.WriteFile(path, []byte("{\n"), 0o600))
	_, err = readCorpus(path, nil)
	assert.ErrorContains(t, err, "x.jsonl:1")
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v := values([]string{"x " + digits.FindString(s)})
	require.Len(t, v, 1, s)
	return v[0]
}
