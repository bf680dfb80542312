package intents

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// gap is what stands before a token.
type gap uint8

const (
	gapNone  gap = iota // a space, or nothing
	gapJoin             // a hyphen
	gapComma            // a comma, colon or semicolon
	gapPause            // an ellipsis or a dash
	gapStop             // a full stop, question or exclamation mark, or a new line
)

// token is one word, number or sign in normal form.
type token struct {
	text       string // lower case; single number words as digits
	letter     string // the letter meant where text is a spelling-alphabet word
	num        numClass
	val        float64
	digits     string // as written, when written in digits
	start, end int    // byte span
	before     gap
	asks       bool // a question mark follows
}

// maxTokens bounds the work for one utterance; a line longer than that is
// nothing that anybody says in one breath.
const maxTokens = 160

// dropped carry no meaning anywhere but at the start of a question.
var dropped = map[string]bool{"the": true, "is": true, "are": true}

type scanner struct {
	text    string
	letters map[string]string
	out     []token
	before  gap
	dotted  bool
	rest    int // where scanning stopped when there were too many tokens
}

// scan splits text into tokens. Every byte sequence has a result.
func scan(text string, letters map[string]string) (toks []token, rest int) {
	s := &scanner{text: text, letters: letters, before: gapStop, rest: len(text)}
	for i := 0; i < len(text); {
		if len(s.out) >= maxTokens {
			s.rest = i
			break
		}
		i = s.next(i)
	}
	return s.out, s.rest
}

func (s *scanner) peek(i int) rune {
	if i >= len(s.text) {
		return 0
	}
	r, _ := utf8.DecodeRuneInString(s.text[i:])
	return r
}

func (s *scanner) widen(g gap) {
	if g > s.before {
		s.before = g
	}
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

func (s *scanner) next(i int) int {
	r, n := utf8.DecodeRuneInString(s.text[i:])
	j := i + n
	dotted := s.dotted
	s.dotted = false
	switch {
	case r == '\n' || r == '\r':
		s.widen(gapStop)
	case unicode.IsSpace(r) || r == '_':
	case isDigit(r) || r == '.' && isDigit(s.peek(j)):
		return s.number(i)
	case unicode.IsLetter(r):
		return s.word(i)
	case r == '.' || r == '…':
		k := j
		for s.peek(k) == '.' {
			k++
		}
		switch {
		case k > j || r == '…':
			s.widen(gapPause)
		case dotted: // the last stop of "R.L.A."
		default:
			s.widen(gapStop)
		}
		return k
	case r == '?' || r == '!':
		if r == '?' && len(s.out) > 0 {
			s.out[len(s.out)-1].asks = true
		}
		s.widen(gapStop)
	case r == ',' || r == ';' || r == ':':
		s.widen(gapComma)
	case r == '-' || r == '−' || r == '–' || r == '—':
		return s.dash(i, j, r)
	case r == '%':
		s.emit("percent", i, j)
	case r == '°' || r == 'º':
		s.emit("degrees", i, j)
	case r == '+':
		s.emit("plus", i, j)
	case r == '±':
		for _, w := range []string{"plus", "or", "minus"} {
			s.emit(w, i, j)
		}
	case r == '&':
		s.emit("and", i, j)
	case r == '=':
	case r == '/':
		s.emit("/", i, j)
	case r == '$' || r == '€' || r == '£':
		s.emit("dollars", i, j)
	case r == '½' || r == '¼' || r == '¾':
		s.out = append(s.out, token{text: string(r), num: numPart, val: map[rune]float64{'½': .5, '¼': .25, '¾': .75}[r], start: i, end: j, before: s.before})
		s.before = gapNone
	case r == utf8.RuneError || !unicode.IsPunct(r) && !unicode.IsControl(r):
		s.emit(s.text[i:j], i, j) // a sign that is no word: not understood
	}
	return j
}

func (s *scanner) dash(i, j int, r rune) int {
	space := i == 0 || s.text[i-1] == ' '
	switch {
	case isDigit(s.peek(j)) && space && r != '—', s.peek(j) == '.' && space:
		s.emit("minus", i, j)
	case s.peek(j) == '-' || r == '—' || r == '–' && space || s.peek(j) == ' ' && space || j == len(s.text):
		s.widen(gapPause)
	default:
		s.widen(gapJoin)
	}
	return j
}

func (s *scanner) number(i int) int {
	j := i
	var b strings.Builder
	for j < len(s.text) {
		c := s.text[j]
		switch {
		case isDigit(rune(c)):
			b.WriteByte(c)
		case c == '.' && isDigit(s.peek(j+1)) && !strings.Contains(b.String(), "."):
			b.WriteByte(c)
		case c == ',' && groupOfThree(s.text[j+1:]) && b.Len() > 0 && b.Len() <= 3 && b.String()[0] != '0',
			c == ',' && groupOfThree(s.text[j+1:]) && b.Len() == 6:
		default:
			goto done
		}
		j++
	}
done:
	written := b.String()
	if s.peek(j) == ':' && isDigit(s.peek(j+1)) { // a time of day
		for j < len(s.text) && (isDigit(rune(s.text[j])) || s.text[j] == ':') {
			j++
		}
		s.emit(s.text[i:j], i, j)
		return j
	}
	v, err := strconv.ParseFloat(written, 64)
	if err != nil || len(written) > 12 {
		s.emit(s.text[i:j], i, j)
		return j
	}
	class := numLiteral
	if whole := !strings.Contains(written, ".") && (written == "0" || written[0] != '0'); whole {
		class = classOf(int(v))
	}
	s.out = append(s.out, token{text: written, num: class, val: v, digits: written, start: i, end: j, before: s.before})
	s.before = gapNone
	return j
}

// groupOfThree reports whether s begins with exactly three digits.
func groupOfThree(s string) bool {
	n := 0
	for n < len(s) && isDigit(rune(s[n])) {
		n++
	}
	return n == 3
}

func (s *scanner) word(i int) int {
	j := i
	for j < len(s.text) {
		r, n := utf8.DecodeRuneInString(s.text[j:])
		if !(unicode.IsLetter(r) || (r == '\'' || r == '’') && j > i && unicode.IsLetter(s.peek(j+n))) {
			break
		}
		j += n
	}
	w := strings.ToLower(strings.ReplaceAll(s.text[i:j], "’", "'"))
	w = strings.ReplaceAll(w, "\u03bc", "µ") // Greek mu and the micro sign
	if utf8.RuneCountInString(w) == 1 && s.peek(j) == '.' {
		if next := s.peek(j + 1); unicode.IsLetter(next) {
			s.emit(w, i, j)
			s.dotted = true
			return j + 1
		}
		s.dotted = len(s.out) > 0 && s.out[len(s.out)-1].end == i-1 && s.text[i-1] == '.'
		s.emit(w, i, j)
		return j
	}
	for _, part := range contraction(w) {
		s.emit(part, i, j)
	}
	return j
}

var irregular = map[string][]string{
	"can't": {"can", "not"}, "cannot": {"can", "not"}, "won't": {"will", "not"}, "ain't": {"is", "not"},
	"let's": {"let", "us"}, "i'm": {"i", "am"}, "gonna": {"going", "to"},
}

var endings = []struct{ end, word string }{
	{"n't", "not"}, {"'s", "is"}, {"'re", "are"}, {"'ve", "have"}, {"'ll", "will"}, {"'d", "would"}, {"'m", "am"},
}

// typed are contractions as hurried people type them, without the mark; none is a word
// with a meaning of its own here.
var typed = map[string]string{
	"whats": "what's", "thats": "that's", "wheres": "where's", "its": "it's", "im": "i'm",
	"dont": "don't", "doesnt": "doesn't", "didnt": "didn't", "isnt": "isn't", "arent": "aren't", "wasnt": "wasn't",
	"cant": "can't", "wont": "won't", "couldnt": "couldn't", "hasnt": "hasn't",
}

func contraction(w string) []string {
	if full, ok := typed[w]; ok {
		w = full
	}
	if parts, ok := irregular[w]; ok {
		return parts
	}
	for _, e := range endings {
		if head, ok := strings.CutSuffix(w, e.end); ok && head != "" {
			return []string{head, e.word}
		}
	}
	return []string{w}
}

func (s *scanner) emit(w string, i, j int) {
	first := len(s.out) == 0 || s.before == gapStop
	if dropped[w] && !(first && w != "the") {
		return // its gap carries over to the next word
	}
	t := token{text: w, start: i, end: j, before: s.before, letter: s.letters[w]}
	if n, ok := numberWords[w]; ok {
		t.num, t.val = n.class, n.val
		if n.class <= numTens && w != "oh" && w != "o" {
			t.text = strconv.Itoa(int(n.val))
		}
	}
	s.out = append(s.out, t)
	s.before = gapNone
}
