package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"math/rand"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"callout/intents"
)

// corpus makes more lines like those of a file of the corpus of talk, with other numbers of
// a like size, each as spoken and as it is to be written: number words as digits.
type corpus struct {
	r     *rand.Rand
	lines []template
}

// template is a line of talk between its numbers.
type template struct {
	parts []string  // one more than there are numbers
	value []float64 // as the line was said
}

// spokenLine is what is read of a line of the corpus.
type spokenLine struct {
	Kind string   `json:"kind"`
	Said string   `json:"said"`
	Mean []string `json:"mean"`
}

// readCorpus takes the lines of a file whose every number is found among the meanings: the
// others could not be written down for certain.
func readCorpus(path string, r *rand.Rand) (*corpus, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	c := &corpus{r: r}
	s := bufio.NewScanner(f)
	for n := 1; s.Scan(); n++ {
		var l spokenLine
		if err := json.Unmarshal(s.Bytes(), &l); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", path, n, err)
		}
		if t, ok := newTemplate(l.Said, values(l.Mean)); ok {
			c.lines = append(c.lines, t)
		}
	}
	if err := s.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(c.lines) == 0 {
		return nil, fmt.Errorf("%s: no line of it can be used", path)
	}
	return c, nil
}

// values are the numbers in items of meaning, the largest first.
func values(items []string) (list []float64) {
	for _, it := range items {
		for _, word := range strings.Fields(it)[1:] {
			if v, err := strconv.ParseFloat(word, 64); err == nil && !slices.Contains(list, v) {
				list = append(list, v)
			}
		}
	}
	slices.Sort(list)
	slices.Reverse(list)
	return list
}

var numeral = regexp.MustCompile(`(?i)\b(\d+([.,]\d+)*|zero|oh|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|(thir|four|fif|six|seven|eigh|nine)teen|(twen|thir|for|fif|six|seven|eigh|nine)ty|hundred|thousand|point|half|quarter)\b`)

// newTemplate cuts a line at its numbers. It reports false where one of them is none of the
// values, or a word such as "one" may be no number at all.
func newTemplate(said string, known []float64) (template, bool) {
	t := template{parts: []string{strings.ReplaceAll(said, "-", " ")}}
	for _, v := range known {
		ways := append(intents.SayNumber(v), intents.WriteNumber(v))
		slices.SortFunc(ways, func(a, b string) int { return len(b) - len(a) })
		t = t.cut(v, ways)
	}
	for _, p := range t.parts {
		if numeral.MatchString(p) {
			return template{}, false
		}
	}
	return t, true
}

// cut takes one value out of a line, wherever it is said.
func (t template) cut(v float64, ways []string) template {
	out := template{}
	for i, part := range t.parts {
		if i > 0 {
			out.value = append(out.value, t.value[i-1])
		}
		for {
			at, end := find(part, ways)
			if at < 0 {
				break
			}
			out.parts, out.value = append(out.parts, part[:at]), append(out.value, v)
			part = part[end:]
		}
		out.parts = append(out.parts, part)
	}
	return out
}

// find is where the first of some ways to say a number stands by itself in a text, -1 if
// nowhere.
func find(text string, ways []string) (at, end int) {
	low := strings.ToLower(text)
	for _, w := range ways {
		for from := 0; ; {
			i := strings.Index(low[from:], w)
			if i < 0 {
				break
			}
			i += from
			if from = i + 1; edge(low, i-1) && edge(low, i+len(w)) {
				return i, i + len(w)
			}
		}
	}
	return -1, -1
}

// edge reports whether a number may begin or end beside a byte.
func edge(s string, i int) bool {
	return i < 0 || i >= len(s) || !isLetter(s[i]) && (s[i] < '0' || s[i] > '9') && !(s[i] == '.' && i+1 < len(s) && s[i+1] >= '0' && s[i+1] <= '9')
}

// next makes one line.
func (c *corpus) next() text {
	t := c.lines[c.r.Intn(len(c.lines))]
	var spoken, written strings.Builder
	for i, part := range t.parts {
		spoken.WriteString(part)
		written.WriteString(part)
		if i < len(t.value) {
			v := c.like(t.value[i])
			spoken.WriteString(say(v, c.r))
			written.WriteString(intents.WriteNumber(v))
		}
	}
	s := capitals.ReplaceAllStringFunc(spoken.String(), func(w string) string { return strings.Join(strings.Split(w, ""), " ") })
	w := strings.TrimSpace(written.String())
	if w == "" {
		return text{Kind: "corpus"}
	}
	w = strings.ToUpper(w[:1]) + w[1:]
	if !strings.ContainsAny(w[len(w)-1:], ".?!") {
		w += "."
	}
	return text{Kind: "corpus", Spoken: strings.Join(strings.Fields(s), " "), Written: w}
}

// like draws a number of a like size with as many decimals.
func (c *corpus) like(v float64) float64 {
	if v == 0 {
		return 0
	}
	places := 0
	if _, after, ok := strings.Cut(intents.WriteNumber(v), "."); ok {
		places = len(after)
	}
	scale := math.Pow(10, float64(places))
	x := math.Round(v*math.Exp(c.r.Float64()*0.8-0.4)*scale) / scale
	return max(1/scale, x)
}
