package session

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"callout/joblog"
)

//go:embed data/unsettling.json
var unsettlingFile []byte

// unsettling is a way to say that power may be on, or that a switch, a lock or the meter was
// not as it was told. What is proved stands no more when it is said, understood or not: the
// words needn't be a callout, for nobody chooses their words who has just been shocked.
type unsettling struct {
	Why string `json:"why"`
	// Words must all be said, in any order; each is a list of which one is enough.
	Words []string `json:"words"`
	// Unless one of these is said too.
	Unless []string `json:"unless"`
	// Told: it unsettles even where something was recorded of it; else only where no more
	// than a command was made of it.
	Told bool `json:"told,omitempty"`
	// Asks: what it declares of a switch, a lock or a wire is asked.
	Asks bool `json:"asks,omitempty"`

	all [][]string
}

func loadUnsettling() ([]unsettling, error) {
	var list []unsettling
	d := json.NewDecoder(bytes.NewReader(unsettlingFile))
	d.DisallowUnknownFields()
	if err := d.Decode(&list); err != nil {
		return nil, fmt.Errorf("session: unsettling.json: %w", err)
	}
	for i := range list {
		u := &list[i]
		if u.Why == "" || len(u.Words) == 0 {
			return nil, fmt.Errorf("session: unsettling.json: entry %d lacks its why or its words", i+1)
		}
		for _, w := range u.Words {
			u.all = append(u.all, strings.Split(w, "|"))
		}
	}
	return list, nil
}

// unsettles reports whether text may put what is proved in doubt, by one of the ways that
// counts.
func (k *Knowledge) unsettles(text string, counts func(unsettling) bool) bool {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	said := func(one []string) bool {
		return slices.ContainsFunc(one, func(w string) bool { return slices.Contains(words, w) })
	}
	for _, u := range k.unsettling {
		if !counts(u) || said(u.Unless) {
			continue
		}
		if !slices.ContainsFunc(u.all, func(one []string) bool { return !said(one) }) {
			return true
		}
	}
	return false
}

// unsettled reports whether an utterance puts what is proved in doubt. A question does not,
// nor what was said to somebody else or by the program itself.
func (c *Call) unsettled(b joblog.Callout) bool {
	if b.Because == notListening || b.Because == ownVoice || b.Because == tooUnsure {
		return false
	}
	told := b.Decision == joblog.Recorded || // something of the job, a question, or a command
		b.Decision == joblog.Asked && len(b.Readings) > 0 // a number that was not clear
	return c.know.unsettles(c.heard[b.Heard], func(u unsettling) bool { return u.Told || !told })
}

// Why nothing is made of an utterance.
const (
	notListening = "not listening"
	ownVoice     = "its own voice"
	tooUnsure    = "too unsure to be a callout"
)
