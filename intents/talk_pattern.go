package intents

import (
	"fmt"
	"strconv"
	"strings"
)

// pattern is what one way of saying a frame or a class consists of, in order.
//
//	word          the word itself; ^word where the scanner would drop it
//	[ … ]         may be left out
//	( … | … )     one of these
//	<class>       anything of the class; its value is kept under the class's name
//	<class:name>  … under another name
//	#name:1..40   a number in that range, kept under the name ("n" if none)
//	#=24          that number
//	#name~        one that may end where a longer number goes on
//	*             up to three words that say nothing here
type pattern []part

type partKind uint8

const (
	partWord partKind = iota
	partOneOf
	partClass
	partNumber
	partGap
)

// part is one element of a pattern.
type part struct {
	kind     partKind
	text     string // the word, or the name that a capture goes by
	class    int
	oneOf    []pattern // an empty one: may be left out
	low, top float64   // of a number
	split    bool      // the number may end where a longer one goes on: "forty five five"
}

// gapWords bounds what "*" steps over.
const gapWords = 3

// reader compiles patterns.
type patternReader struct {
	classes map[string]int
	words   []string
	at      int
}

var patternSigns = strings.NewReplacer("[", " [ ", "]", " ] ", "(", " ( ", ")", " ) ", "|", " | ")

// compilePattern reads the notation above.
func compilePattern(text string, classes map[string]int) (pattern, error) {
	r := &patternReader{classes: classes, words: strings.Fields(patternSigns.Replace(text))}
	p, err := r.sequence("")
	if err != nil {
		return nil, fmt.Errorf("%q: %w", text, err)
	}
	return p, nil
}

func (r *patternReader) sequence(end string) (pattern, error) {
	out := pattern{}
	for r.at < len(r.words) {
		w := r.words[r.at]
		if w == "|" || w == end {
			return out, nil
		}
		r.at++
		switch {
		case w == "[" || w == "(":
			p, err := r.alternatives(map[string]string{"[": "]", "(": ")"}[w])
			if err != nil {
				return nil, err
			}
			if w == "[" {
				p.oneOf = append(p.oneOf, pattern{})
			}
			out = append(out, p)
		case w == "]" || w == ")":
			return nil, fmt.Errorf("a stray %s", w)
		case w == "*":
			out = append(out, part{kind: partGap})
		case w[0] == '<':
			p, err := r.class(w)
			if err != nil {
				return nil, err
			}
			out = append(out, p)
		case w[0] == '#':
			p, err := numberPart(w[1:])
			if err != nil {
				return nil, err
			}
			out = append(out, p)
		case w[0] == '^':
			out = append(out, part{text: w[1:]})
		default:
			toks, _ := scan(w, nil)
			for _, t := range toks {
				if !dropped[t.text] {
					out = append(out, part{text: t.text})
				}
			}
		}
	}
	if end != "" {
		return nil, fmt.Errorf("%s is missing", end)
	}
	return out, nil
}

func (r *patternReader) alternatives(end string) (part, error) {
	p := part{kind: partOneOf}
	for {
		one, err := r.sequence(end)
		if err != nil {
			return p, err
		}
		p.oneOf = append(p.oneOf, one)
		if r.at >= len(r.words) {
			return p, fmt.Errorf("%s is missing", end)
		}
		r.at++
		if r.words[r.at-1] == end {
			return p, nil
		}
	}
}

func (r *patternReader) class(w string) (part, error) {
	name, as, _ := strings.Cut(strings.Trim(w, "<>"), ":")
	if as == "" {
		as = name
	}
	k, ok := r.classes[name]
	if !ok {
		return part{}, fmt.Errorf("no class %s", name)
	}
	return part{kind: partClass, class: k, text: as}, nil
}

func numberPart(w string) (part, error) {
	p := part{kind: partNumber, text: "n", low: -1e9, top: 1e9}
	if only, ok := strings.CutPrefix(w, "="); ok {
		v, err := strconv.ParseFloat(only, 64)
		p.text, p.low, p.top = "", v, v
		return p, err
	}
	name, span, has := strings.Cut(w, ":")
	if name, p.split = strings.CutSuffix(name, "~"); name != "" {
		p.text = name
	}
	if !has {
		return p, nil
	}
	low, top, ok := strings.Cut(span, "..")
	a, errA := strconv.ParseFloat(low, 64)
	b, errB := strconv.ParseFloat(top, 64)
	if !ok || errA != nil || errB != nil {
		return p, fmt.Errorf("%q is no range such as 1..40", span)
	}
	p.low, p.top = a, b
	return p, nil
}

// starts says with which words, or a number, a pattern can begin; open is true where it
// can begin with anything or be left out.
type starts struct {
	words  map[string]bool
	number bool
	open   bool
}

func (k *talk) startsOf(p pattern, into *starts) (canBeEmpty bool) {
	for _, x := range p {
		empty := false
		switch x.kind {
		case partWord:
			into.words[x.text] = true
		case partNumber:
			into.number = true
		case partGap:
			into.open, empty = true, true
		case partClass:
			c := &k.classes[x.class]
			for w := range c.first.words {
				into.words[w] = true
			}
			into.number = into.number || c.first.number
		case partOneOf:
			for _, one := range x.oneOf {
				if k.startsOf(one, into) {
					empty = true
				}
			}
		}
		if !empty {
			return false
		}
	}
	return true
}
