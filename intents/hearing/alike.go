package hearing

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"callout/audio"
)

//go:embed data/alike.json
var alikeData []byte

// alike is what sounds alike. Each pair is read both ways.
type alike struct {
	Note    string      `json:"note"`
	Words   [][2]string `json:"words"`
	Endings [][2]string `json:"endings"` // of whole numbers, in digits
}

func loadAlike(data []byte) (a alike, err error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		return a, fmt.Errorf("hearing: alike.json: %w", err)
	}
	for _, p := range a.Endings {
		if len(p[0]) != 2 || len(p[1]) != 2 {
			return a, fmt.Errorf("hearing: alike.json: %s and %s are no endings of two digits", p[0], p[1])
		}
	}
	return a, nil
}

const alikeKept = 6 // rivals of one text that are scored, at most

// rivals are texts that sound like this one, with one word or number changed.
func (a alike) rivals(text string) (list []string) {
	with := func(from, to int, word string) {
		if r := text[:from] + word + text[to:]; len(list) < alikeKept && !slices.Contains(list, r) {
			list = append(list, r)
		}
	}
	for _, at := range written.FindAllStringIndex(text, -1) {
		for _, other := range a.numbers(text[at[0]:at[1]]) {
			with(at[0], at[1], other)
		}
	}
	for _, at := range letters.FindAllStringIndex(text, -1) {
		for _, other := range a.others(text[at[0]:at[1]]) {
			with(at[0], at[1], other)
		}
	}
	return list
}

// numbers are those that sound like one, all in digits.
func (a alike) numbers(number string) (list []string) {
	whole, part, decimal := strings.Cut(number, ".")
	n := len(whole)
	for _, p := range a.Endings {
		teen, ten := p[0], p[1]
		if n >= 2 && !decimal {
			switch start, end := whole[:n-2], whole[n-2:]; end {
			case teen:
				list = append(list, start+ten)
			case ten:
				list = append(list, start+teen)
			}
		}
		// "Thirteen four" and "thirty four".
		switch {
		case decimal && whole == teen && len(part) == 1 && part != "0":
			list = append(list, ten[:1]+part)
		case !decimal && n == 2 && whole[0] == ten[0] && whole[1] != '0':
			list = append(list, teen+"."+whole[1:])
		}
	}
	return list
}

// others are the words that sound like one.
func (a alike) others(word string) (list []string) {
	for _, p := range a.Words {
		for i := range p {
			if strings.EqualFold(word, p[i]) {
				list = append(list, p[1-i])
			}
		}
	}
	return list
}

var letters = regexp.MustCompile(`[A-Za-z]+`)

// confuse lets the first recogniser score what sounds like its best text and was not found
// beside it, and adds what means something else to what was found.
func (e *Ear) confuse(ctx context.Context, sound audio.Utterance, x prior, t *Trace) error {
	m := e.calibrated.One.meanings(x, t.First)
	if len(m.order) == 0 {
		return nil
	}
	var texts []string
	for _, text := range e.alike.rivals(m.first[m.order[0]].text) {
		mean := meaning(x.parse(text).Items)
		if _, found := m.sums[mean]; !found && mean != "" {
			texts = append(texts, text)
		}
	}
	var rivals audio.Transcript
	rivals.Window = t.First.Window
	if err := e.score(ctx, sound, e.recogniser, &rivals, texts); err != nil {
		return err
	}
	for _, r := range rivals.Scored {
		if !math.IsInf(r.LogLikelihood, 0) {
			t.First.Fit = append(t.First.Fit, r)
		}
	}
	return nil
}
