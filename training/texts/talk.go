package main

import (
	_ "embed"
	"fmt"
	"math/rand"
	"regexp"
	"strings"

	"callout/intents"
)

//go:embed talk.txt
var talkFile string

// talk fills the templates of talk.txt.
type talk struct {
	r     *rand.Rand
	words map[string][]string
	lines []string
}

func readTalk(r *rand.Rand) (*talk, error) {
	t := &talk{r: r, words: map[string][]string{}}
	head, body, ok := strings.Cut(talkFile, "\n--\n")
	if !ok {
		return nil, fmt.Errorf("talk.txt: no line of two dashes between words and templates")
	}
	for line := range strings.Lines(head) {
		name, list, ok := strings.Cut(strings.TrimSpace(line), ": ")
		if ok && !strings.HasPrefix(line, "#") {
			t.words[name] = strings.Split(list, "|")
		}
	}
	t.lines = strings.Split(strings.TrimSpace(body), "\n")
	for _, line := range t.lines {
		for _, m := range slot.FindAllStringSubmatch(line, -1) {
			if _, ok := t.words[m[1]]; !ok && t.number(m[1]) == "" {
				return nil, fmt.Errorf("talk.txt: %q: nothing is called %s", line, m[1])
			}
		}
	}
	return t, nil
}

var slot = regexp.MustCompile(`\{(\w+)\}`)

func (t *talk) next() string {
	return slot.ReplaceAllStringFunc(t.lines[t.r.Intn(len(t.lines))], func(m string) string {
		name := m[1 : len(m)-1]
		if list := t.words[name]; list != nil {
			return list[t.r.Intn(len(list))]
		}
		return t.number(name)
	})
}

func (t *talk) number(name string) string {
	switch name {
	case "n":
		return say(float64(2+t.r.Intn(97)), t.r)
	case "hundreds":
		return say(float64(101+t.r.Intn(898)), t.r)
	case "point":
		return say(float64(1+t.r.Intn(99))/10, t.r)
	case "year":
		return intents.SayNumber(float64(19))[0] + " " + intents.SayNumber(float64(50 + t.r.Intn(50)))[0]
	case "clock":
		return intents.SayNumber(float64(1 + t.r.Intn(12)))[0] + []string{"", " thirty", " fifteen", " forty five", " o'clock"}[t.r.Intn(5)]
	}
	return ""
}
