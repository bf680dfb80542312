package intents

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"strings"

	"callout/catalogue"
)

//go:embed data/*.json data/talk/*.json
var embedded embed.FS

// class is the part a phrase plays in a callout.
type class uint8

const (
	isQuantity class = iota
	isPlace
	isUnit
	isValue       // a choice of an observed quantity
	isObservation // quantity, place and choice in one phrase
	isDeclaration
	isRepair
	isCommand
	isQualifier
	isRated
	isMeasured
	isFiller
	isPreposition
	isRestart
	isHesitation
	isNegation
	isChatter
	isDual
	isPairJoin
)

// entry is one meaning of one phrase. Numbers are indices into the catalogue.
type entry struct {
	class     class
	index     int // quantity, place, unit, declaration, repair or command
	place     int // of an observation in one phrase
	value     catalogue.ValueID
	qualifier catalogue.Qualifier
	heard     hearing
	placed    bool // a quantity's phrase that names its place too ("compressor amps")
}

// hearing says whether the words are as written in the catalogue.
type hearing uint8

const (
	asWritten hearing = iota
	heardSafe         // a known mishearing that can be nothing else
	heardLike         // a known mishearing of what may also be meant as said
)

type node struct {
	next    map[string]*node
	entries []entry
}

// words is data/words.json.
type words struct {
	Fillers        []string               `json:"fillers"`
	Prepositions   []string               `json:"prepositions"`
	Rated          []string               `json:"rated"`
	Measured       []string               `json:"measured"`
	Restarts       []string               `json:"restarts"`
	Hesitations    []string               `json:"hesitations"`
	Negations      []string               `json:"negations"`
	Chatter        []string               `json:"chatter"`
	Dual           []string               `json:"dual"`
	PairJoins      []string               `json:"pair_joins"`
	EverydayPlaces []catalogue.PlaceID    `json:"everyday_places"` // named in small talk about the weather too
	Nowhere        []catalogue.QuantityID `json:"nowhere"`         // taken at so many places that none is meant by itself
	ByName         []catalogue.QuantityID `json:"by_name"`         // seen or felt by a test of its own: "stuck" or "burnt" said of a part is not it
	PairQuantities []catalogue.QuantityID `json:"pair_quantities"`
	PairPlaces     []catalogue.PlaceID    `json:"pair_places"` // larger section first
}

type qualified struct {
	Qualifier catalogue.Qualifier  `json:"qualifier"`
	Quantity  catalogue.QuantityID `json:"quantity"`
	Spoken    []string             `json:"spoken"`
	Why       string               `json:"why"`
}

type misheard struct {
	Said  string `json:"said"`
	Meant string `json:"meant"`
	Safe  bool   `json:"safe"`
	Why   string `json:"why"`
}

type implied struct {
	Quantities []struct {
		Place    catalogue.PlaceID    `json:"place"`
		Quantity catalogue.QuantityID `json:"quantity"`
		Why      string               `json:"why"`
	} `json:"quantities"`
	Places []struct {
		Quantity catalogue.QuantityID `json:"quantity"`
		Said     catalogue.PlaceID    `json:"said"`
		Meant    catalogue.PlaceID    `json:"meant"`
		Why      string               `json:"why"`
	} `json:"places"`
}

type letters struct {
	Source   string            `json:"source"`
	Alphabet map[string]string `json:"alphabet"`
	Spelled  []string          `json:"spelled"`
}

func decode(name string, into any) error {
	raw, err := embedded.ReadFile("data/" + name)
	if err != nil {
		return fmt.Errorf("intents: %w", err)
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("intents: %s: %w", name, err)
	}
	return nil
}

// phrase is one spoken form with its meaning, before compilation.
type phrase struct {
	text  string
	entry entry
}

// lexicon compiles every phrase of the catalogue and of the data files.
type lexicon struct {
	root     *node
	phrases  []phrase
	alphabet map[string]string
	spelled  map[string]bool
	heard    []misheard
}

func (x *lexicon) add(text string, e entry) {
	x.phrases = append(x.phrases, phrase{text, e})
	for _, variant := range x.variants(text) {
		x.insert(variant, e)
	}
}

// variants gives the token sequences under which a phrase is found: as written,
// with abbreviations spelled out, and with number words written as one number.
func (x *lexicon) variants(text string) [][]string {
	toks, _ := scan(text, nil)
	if len(toks) == 0 {
		return nil
	}
	// Insert numbers as written too: "r four ten a" is also "r 410 a".
	out := [][]string{texts(toks)}
	if joined := joinNumbers(toks); len(joined) != len(toks) {
		out = append(out, joined)
	}
	for _, seq := range out[:len(out):len(out)] {
		spelled := make([]string, 0, len(seq))
		for _, w := range seq {
			if x.spelled[w] {
				spelled = append(spelled, strings.Split(w, "")...)
			} else {
				spelled = append(spelled, w)
			}
		}
		if len(spelled) != len(seq) {
			out = append(out, spelled)
		}
	}
	return out
}

func texts(toks []token) []string {
	out := make([]string, len(toks))
	for i, t := range toks {
		out[i] = t.text
	}
	return out
}

func joinNumbers(toks []token) (out []string) {
	for i := 0; i < len(toks); {
		best := number{end: i}
		if toks[i].num != numA && toks[i].num != numNone {
			for _, n := range numbers(toks).at(i) {
				if n.end > best.end && len(n.vals) == 1 {
					best = n
				}
			}
		}
		if best.end > i {
			out = append(out, WriteNumber(best.vals[0]))
			i = best.end
			continue
		}
		out = append(out, toks[i].text)
		i++
	}
	return out
}

func (x *lexicon) insert(seq []string, e entry) {
	at := x.root
	for _, w := range seq {
		if at.next == nil {
			at.next = map[string]*node{}
		}
		n := at.next[w]
		if n == nil {
			n = &node{}
			at.next[w] = n
		}
		at = n
	}
	for i, old := range at.entries {
		same := old
		same.heard = e.heard
		if same == e {
			at.entries[i].heard = min(old.heard, e.heard)
			return
		}
	}
	at.entries = append(at.entries, e)
}

// addMisheard adds, for every phrase that holds a word known to be misheard, the
// phrase as heard.
func (x *lexicon) addMisheard() error {
	for _, h := range x.heard {
		said, _ := scan(h.Said, nil)
		meant, _ := scan(h.Meant, nil)
		if len(said) == 0 || len(meant) == 0 || h.Why == "" {
			return fmt.Errorf("intents: heard_as.json: %q for %q needs words and a why", h.Said, h.Meant)
		}
		used := false
		for _, p := range x.phrases {
			switch p.entry.class {
			case isQuantity, isPlace, isUnit, isObservation, isQualifier, isRated:
			default:
				continue // a declaration or a command is never bent
			}
			toks, _ := scan(p.text, nil)
			seq := texts(toks)
			for i := 0; i+len(meant) <= len(seq); i++ {
				if !equal(seq[i:i+len(meant)], texts(meant)) {
					continue
				}
				used = true
				e := p.entry
				e.heard = heardLike
				if h.Safe {
					e.heard = heardSafe
				}
				heard := append(append(append([]string{}, seq[:i]...), texts(said)...), seq[i+len(meant):]...)
				x.insert(heard, e)
			}
		}
		if !used {
			return fmt.Errorf("intents: heard_as.json: %q is in no phrase", h.Meant)
		}
	}
	return nil
}

func equal(a, b []string) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// match is one phrase found in the text.
type match struct {
	end   int
	entry entry
}

// at lists every phrase that begins at token i.
func (x *lexicon) at(toks []token, i int, into []match) []match {
	return x.walk(x.root, toks, i, i, into)
}

func (x *lexicon) walk(n *node, toks []token, from, i int, into []match) []match {
	if i > from {
		for _, e := range n.entries {
			into = append(into, match{i, e})
		}
	}
	if i >= len(toks) || i > from && toks[i].before > gapJoin && !(len(toks[i].text) == 1 && toks[i].before == gapComma) {
		return into // a phrase is said in one go; only letters are spelled with commas
	}
	if next := n.next[toks[i].text]; next != nil {
		into = x.walk(next, toks, from, i+1, into)
	}
	if l := toks[i].letter; l != "" && l != toks[i].text {
		if next := n.next[l]; next != nil {
			into = x.walk(next, toks, from, i+1, into)
		}
	}
	return into
}

func idWords(id string) string {
	return strings.NewReplacer("_", " ", "-", " ").Replace(id)
}

func (x *lexicon) addCatalogue(c *catalogue.Catalogue) {
	all := func(e entry, list ...string) {
		for _, s := range list {
			x.add(s, e)
		}
	}
	for i, p := range c.Places {
		e := entry{class: isPlace, index: i}
		all(e, idWords(string(p.ID)), p.Name)
		all(e, p.Spoken...)
	}
	placeWords := map[string]bool{}
	for _, p := range x.phrases {
		placeWords[p.text] = true
	}
	for i, q := range c.Quantities {
		e := entry{class: isQuantity, index: i}
		for _, s := range append([]string{idWords(string(q.ID)), q.Name}, q.Spoken...) {
			e.placed = startsWithPlace(s, placeWords)
			x.add(s, e)
		}
		for _, v := range q.Values {
			ev := entry{class: isValue, index: i, value: v.ID}
			all(ev, idWords(string(v.ID)), v.Name)
			all(ev, v.Spoken...)
			for p, list := range v.Alone {
				for k := range c.Places {
					if c.Places[k].ID == p {
						all(entry{class: isObservation, index: i, place: k, value: v.ID}, list...)
					}
				}
			}
		}
	}
	for i, u := range c.Units {
		e := entry{class: isUnit, index: i}
		all(e, u.Name, u.One, u.Short)
		all(e, u.Spoken...)
	}
	for i, d := range c.Declarations {
		e := entry{class: isDeclaration, index: i}
		all(e, idWords(string(d.ID)), d.Name)
		all(e, d.Spoken...)
		all(e, d.Vague...)
	}
	for i, r := range c.Repairs {
		all(entry{class: isRepair, index: i}, r.Spoken...)
	}
	for i, cmd := range c.Commands {
		all(entry{class: isCommand, index: i}, cmd.Spoken...)
	}
}

func startsWithPlace(phrase string, places map[string]bool) bool {
	for i, r := range phrase {
		if r == ' ' && places[phrase[:i]] {
			return true
		}
	}
	return false
}

func (x *lexicon) addWords(w words, quals []qualified, c *catalogue.Catalogue) error {
	for cl, list := range map[class][]string{
		isFiller: w.Fillers, isPreposition: w.Prepositions, isRated: w.Rated, isMeasured: w.Measured, isRestart: w.Restarts,
		isHesitation: w.Hesitations, isNegation: w.Negations, isChatter: w.Chatter, isDual: w.Dual, isPairJoin: w.PairJoins,
	} {
		for _, s := range list {
			x.add(s, entry{class: cl, index: -1})
		}
	}
	for _, q := range quals {
		e := entry{class: isQualifier, index: -1, qualifier: q.Qualifier}
		if q.Quantity != "" {
			for i := range c.Quantities {
				if c.Quantities[i].ID == q.Quantity {
					e.index = i
				}
			}
			if e.index < 0 {
				return fmt.Errorf("intents: qualifiers.json: no quantity %q", q.Quantity)
			}
		}
		for _, s := range q.Spoken {
			x.add(s, e)
		}
	}
	return nil
}
