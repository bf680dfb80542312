package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/intents"
	"callout/session"
)

// The bench's own account of what its texts mean, made without the parser, and the
// parser's account of the spoken words agree; chatter means nothing.
func TestTextsMeanWhatTheParserReads(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	n, err := k.Parser.Grammar(intents.Written).Compile()
	require.NoError(t, err)
	texts, err := sample(1500, 99)
	require.NoError(t, err)
	asked := 0
	for _, s := range texts {
		r := k.Parser.Parse(s.Text, intents.Context{})
		switch s.Kind {
		case "chatter":
			assert.Empty(t, r.Items, s.Text)
		case "reading", "other":
			if tenths(r, s.Means) {
				asked++
				continue
			}
			assert.ElementsMatch(t, s.Means, keysOf(r.Items), "%s: doubts %v", s.Text, r.Doubts)
		}
	}
	assert.Less(t, asked, len(texts)/100, "texts of two digits that may be tenths")
	for _, name := range []string{"readings.txt", "others.txt"} {
		list, err := lines(name)
		require.NoError(t, err)
		for _, line := range list {
			words, _, _ := strings.Cut(line, "\t")
			written := slot.ReplaceAllStringFunc(words, func(m string) string { return slot.FindStringSubmatch(m)[1] })
			assert.True(t, n.Accepts(written), "not in the language: %s", written)
		}
	}
}

// tenths reports whether a text is asked about because its two digits may be tenths, "five
// nine" 59 and 5.9, and what it means is one of the two.
func tenths(r intents.Result, means []string) bool {
	if len(r.Items) > 0 || len(r.Doubts) != 1 || len(r.Doubts[0].Candidates) != 2 || len(means) != 1 {
		return false
	}
	a, b := r.Doubts[0].Candidates[0].Reading, r.Doubts[0].Candidates[1].Reading
	return a != nil && b != nil && slices.Contains(keysOf(r.Doubts[0].Candidates), means[0]) && (a.Value == 10*b.Value || b.Value == 10*a.Value)
}

var ruleName = regexp.MustCompile(`<[^>]*>`)

// The classic recogniser stops at a word that it can't pronounce.
func TestEveryWordOfTheLanguageCanBePronounced(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	usual, err := os.ReadFile(filepath.Join(sphinxModel, sphinxWords))
	if err != nil {
		t.Skip("pocketsphinx-en-us is not installed; run sh setup/debian.sh test")
	}
	ours, err := textFiles.ReadFile("texts/pronounced.dict")
	require.NoError(t, err)
	known := map[string]bool{}
	for line := range strings.Lines(string(usual) + string(ours)) {
		word, _, _ := strings.Cut(line, " ")
		known[word] = true
	}
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	jsgf, err := k.Parser.Grammar(intents.Spoken).JSGF("callouts")
	require.NoError(t, err)
	_, rules, found := strings.Cut(jsgf, "grammar callouts;")
	require.True(t, found)
	words := regexp.MustCompile(`[a-z][a-z'-]*`).FindAllString(ruleName.ReplaceAllString(strings.ToLower(rules), " "), -1)
	require.Greater(t, len(words), 1000)
	var lacking []string
	for _, w := range words {
		if w != "public" && !known[w] {
			lacking = append(lacking, w)
		}
	}
	assert.Empty(t, unique(lacking), "texts/pronounced.dict lacks them")
}

func TestDrawnTextsAreManyAndMeanSomething(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	list, err := draw(k, 60, 5)
	require.NoError(t, err)
	require.Len(t, list, 60)
	texts, readings := map[string]bool{}, 0
	for _, s := range list {
		assert.NotEmpty(t, s.Means, s.Text)
		texts[s.Text] = true
		readings += bit(s.Kind == "reading")
	}
	assert.Greater(t, len(texts), 50)
	assert.Greater(t, readings, 30)
	again, err := draw(k, 60, 5)
	require.NoError(t, err)
	assert.Equal(t, list, again)
}
