package intents

import (
	"strings"
)

// Form is how a sentence is put in letters.
type Form uint8

const (
	// Spoken has numbers and letters in words: "l r a fifty eight".
	Spoken Form = iota
	// Written has them as a recogniser writes: "LRA 58".
	Written
)

// render gives a phrase of the catalogue in the form, all the ways that the
// form has; none where it can't be put so.
func (x *lexicon) render(phrase string, f Form) []string {
	for _, r := range phrase {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == ' ' || r == '\'' || r == '-' || r == '/') {
			return nil
		}
	}
	if f == Spoken {
		return x.spokenForm(phrase)
	}
	return x.writtenForms(phrase)
}

func (x *lexicon) spokenForm(phrase string) []string {
	if strings.ContainsAny(phrase, "/") {
		return nil
	}
	var out []string
	numbered := false
	for _, w := range strings.Fields(strings.ToLower(strings.ReplaceAll(phrase, "-", " "))) {
		switch {
		case x.spelled[w]:
			out = append(out, strings.Split(w, "")...)
		case strings.ContainsAny(w, "0123456789"):
			toks, _ := scan(w, nil)
			if len(toks) != 1 || numbered {
				return nil // "r410a", "208 230": the catalogue has them in words too
			}
			numbered = true
			out = append(out, SayNumber(toks[0].val)[0])
		default:
			out = append(out, w)
		}
	}
	return []string{strings.Join(out, " ")}
}

func (x *lexicon) writtenForms(phrase string) []string {
	words := strings.Fields(phrase)
	var plain, digits []string
	letters := 0
	for i := 0; i < len(words); {
		w := strings.ToLower(words[i])
		j := i
		for j < len(words) && isNumberWord(words[j]) {
			j++
		}
		if j > i {
			plain = append(plain, words[i:j]...)
			if vals := readNumber(strings.Join(words[i:j], " ")); len(vals) == 1 {
				digits = append(digits, WriteNumber(vals[0]))
			} else {
				digits = append(digits, words[i:j]...)
			}
			i = j
			continue
		}
		if len(w) == 1 {
			letters++
		}
		if x.spelled[w] || len(w) == 1 && w != "a" {
			w = strings.ToUpper(w)
		}
		plain, digits = append(plain, w), append(digits, w)
		i++
	}
	if letters == len(words) && letters > 1 {
		return nil // "r l a": written RLA, which the catalogue has too
	}
	out := []string{strings.Join(digits, " ")}
	if len(plain) != len(digits) || strings.Join(plain, " ") != out[0] {
		if glued := glueLetters(digits); glued != out[0] {
			return unique([]string{glued, strings.Replace(glued, "R", "R-", 1), out[0]})
		}
		out = append(out, strings.Join(plain, " "))
	}
	return out
}

func isNumberWord(w string) bool {
	n, ok := numberWords[strings.ToLower(w)]
	return ok && n.class < numPoint && w != "k" && w != "o"
}

func readNumber(text string) []float64 {
	toks, _ := scan(text, nil)
	for _, n := range numbers(toks).at(0) {
		if n.end == len(toks) {
			return n.vals
		}
	}
	return nil
}

// glueLetters writes a single letter together with the number beside it: L1, R410A.
func glueLetters(words []string) string {
	var b strings.Builder
	for i, w := range words {
		if i > 0 {
			prev := words[i-1]
			number := func(s string) bool { return s[0] >= '0' && s[0] <= '9' }
			if !(len(prev) == 1 && number(w) || len(w) == 1 && number(prev)) {
				b.WriteByte(' ')
			}
			if len(w) == 1 && number(prev) {
				w = strings.ToUpper(w)
			}
		}
		b.WriteString(w)
	}
	return b.String()
}

// renderAll renders a list, each form once.
func (x *lexicon) renderAll(list []string, f Form) []string {
	var out []string
	for _, s := range list {
		out = append(out, x.render(s, f)...)
	}
	return unique(out)
}
