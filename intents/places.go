package intents

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"callout/catalogue"
)

// set is a set of catalogue indices.
type set [4]uint64

const setSize = 256

func (s *set) add(i int)     { s[i>>6] |= 1 << (i & 63) }
func (s set) has(i int) bool { return s[i>>6]&(1<<(i&63)) != 0 }
func (s set) empty() bool    { return s == set{} }

func (s set) and(o set) set {
	for i := range s {
		s[i] &= o[i]
	}
	return s
}

func (s set) or(o set) set {
	for i := range s {
		s[i] |= o[i]
	}
	return s
}

func (s set) minus(o set) set {
	for i := range s {
		s[i] &^= o[i]
	}
	return s
}

func (s set) count() (n int) {
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

func (s set) each(f func(int)) {
	for k, w := range s {
		for w != 0 {
			f(k*64 + bits.TrailingZeros64(w))
			w &= w - 1
		}
	}
}

func (s set) first() int {
	for k, w := range s {
		if w != 0 {
			return k*64 + bits.TrailingZeros64(w)
		}
	}
	return -1
}

// meaning of a place word for one quantity
type placeFor struct {
	places set
	wild   bool // the word is part of the quantity's own name and says no more
}

// tables are what the resolver looks up; built once by New.
type tables struct {
	numeric, measured, rated, observed set   // quantities by kind
	places                             []set // quantity -> its places
	byPlace                            []set // place -> quantities that have it
	native, also                       []set // unit -> quantities measured in it, or convertible from it
	unitQuantity                       []set // unit -> quantities also named by a word of that unit ("amps")
	meant                              [][]placeFor
	implied                            map[int]int // place -> quantity
	allows                             map[catalogue.Qualifier]set
	numberChoices                      map[float64][]entry // choices that are numbers
	pairPlaces                         []int
	pair                               set // quantities that have the pair's places
}

func newTables(c *catalogue.Catalogue, x *lexicon, im implied, w words) (*tables, error) {
	if len(c.Quantities) > setSize || len(c.Places) > setSize {
		return nil, fmt.Errorf("intents: more than %d quantities or places", setSize)
	}
	t := &tables{
		places: make([]set, len(c.Quantities)), byPlace: make([]set, len(c.Places)),
		native: make([]set, len(c.Units)), also: make([]set, len(c.Units)), unitQuantity: make([]set, len(c.Units)),
		meant: make([][]placeFor, len(c.Quantities)), implied: map[int]int{}, allows: map[catalogue.Qualifier]set{},
	}
	placeIndex, quantityIndex, unitIndex := map[catalogue.PlaceID]int{}, map[catalogue.QuantityID]int{}, map[catalogue.UnitID]int{}
	for i, p := range c.Places {
		placeIndex[p.ID] = i
	}
	for i, u := range c.Units {
		unitIndex[u.ID] = i
	}
	for i, q := range c.Quantities {
		quantityIndex[q.ID] = i
		for _, p := range q.Places {
			t.places[i].add(placeIndex[p])
			t.byPlace[placeIndex[p]].add(i)
		}
		switch q.Kind {
		case catalogue.Measured:
			t.measured.add(i)
		case catalogue.Rated:
			t.rated.add(i)
		default:
			t.observed.add(i)
			continue
		}
		t.numeric.add(i)
		t.native[unitIndex[q.Unit]].add(i)
		for _, a := range q.Also {
			t.also[unitIndex[a.From]].add(i)
		}
		for _, k := range q.Qualifiers {
			s := t.allows[k]
			s.add(i)
			t.allows[k] = s
		}
	}
	t.numberChoices = map[float64][]entry{}
	for _, ph := range x.phrases {
		if vals := readNumber(ph.text); ph.entry.class == isValue && len(vals) == 1 && !slices.Contains(t.numberChoices[vals[0]], ph.entry) {
			t.numberChoices[vals[0]] = append(t.numberChoices[vals[0]], ph.entry)
		}
	}
	t.nameUnits(c, x)
	t.placeWords(c, x)
	for _, r := range im.Quantities {
		p, okP := placeIndex[r.Place]
		q, okQ := quantityIndex[r.Quantity]
		if !okP || !okQ || !t.places[q].has(p) || r.Why == "" {
			return nil, fmt.Errorf("intents: implied.json: place %q can't imply %q", r.Place, r.Quantity)
		}
		t.implied[p] = q
	}
	for _, r := range im.Places {
		said, okS := placeIndex[r.Said]
		meant, okM := placeIndex[r.Meant]
		q, okQ := quantityIndex[r.Quantity]
		if !okS || !okM || !okQ || !t.places[q].has(meant) || r.Why == "" {
			return nil, fmt.Errorf("intents: implied.json: %q at %q can't mean %q", r.Quantity, r.Said, r.Meant)
		}
		t.meant[q][said] = placeFor{}
		t.meant[q][said].places.add(meant)
	}
	for _, p := range w.PairPlaces {
		i, ok := placeIndex[p]
		if !ok {
			return nil, fmt.Errorf("intents: words.json: no place %q", p)
		}
		t.pairPlaces = append(t.pairPlaces, i)
	}
	if len(t.pairPlaces) != 2 {
		return nil, fmt.Errorf("intents: words.json: pair_places needs two places")
	}
	for _, id := range w.PairQuantities {
		q, ok := quantityIndex[id]
		if !ok || !t.numeric.has(q) || !t.places[q].has(t.pairPlaces[0]) || !t.places[q].has(t.pairPlaces[1]) {
			return nil, fmt.Errorf("intents: words.json: %q is not measured at the pair's places", id)
		}
		t.pair.add(q)
	}
	return t, nil
}

// nameUnits finds the quantities that share a word with their unit: "amps" is
// both the unit and the plain name of a current.
func (t *tables) nameUnits(c *catalogue.Catalogue, x *lexicon) {
	named := map[string]set{}
	for _, p := range x.phrases {
		if p.entry.class == isQuantity {
			s := named[p.text]
			s.add(p.entry.index)
			named[p.text] = s
		}
	}
	for _, p := range x.phrases {
		if p.entry.class == isUnit {
			u := p.entry.index
			t.unitQuantity[u] = t.unitQuantity[u].or(named[p.text].and(t.native[u]))
		}
	}
}

// placeWords settles what each place word means for each numeric quantity: the
// place itself; nothing new, where it is part of the quantity's name ("compressor
// amps"); or the places of that family ("fan" -> fan section).
func (t *tables) placeWords(c *catalogue.Catalogue, x *lexicon) {
	phrasesOf := map[int][]string{}
	placePhrases := map[int][]string{}
	for _, p := range x.phrases {
		norm := strings.Join(texts(first(scan(p.text, nil))), " ")
		switch p.entry.class {
		case isQuantity:
			phrasesOf[p.entry.index] = append(phrasesOf[p.entry.index], norm)
		case isPlace:
			placePhrases[p.entry.index] = append(placePhrases[p.entry.index], norm)
		}
	}
	for q := range c.Quantities {
		t.meant[q] = make([]placeFor, len(c.Places))
		for p := range c.Places {
			m := &t.meant[q][p]
			if t.places[q].has(p) {
				m.places.add(p)
				continue
			}
			for _, a := range placePhrases[p] {
				for _, b := range phrasesOf[q] {
					m.wild = m.wild || strings.HasPrefix(b, a+" ") || strings.HasSuffix(b, " "+a) || a == b
				}
			}
			if m.wild {
				continue
			}
			for k := range c.Places {
				if t.places[q].has(k) && strings.HasPrefix(string(c.Places[k].ID), string(c.Places[p].ID)+"_") {
					m.places.add(k)
				}
			}
		}
	}
}

func first[A, B any](a A, _ B) A { return a }
