// Package intents turns words or digits, typed or heard, into callouts:
// readings, observations, declarations, repairs, commands and notes. What the
// words do not settle is returned as a doubt with its candidates, never guessed;
// what is no callout is returned as ignored words.
//
// The vocabulary is the catalogue's and the files under data/; the code is the
// number grammar and the shape of a callout.
package intents

import (
	"slices"
	"strings"

	"callout/catalogue"
)

// Asked is the question that callout put last. A bare number or a bare choice
// counts only as the answer to one.
type Asked struct {
	Quantity   catalogue.QuantityID // "" when none is asked for
	Place      catalogue.PlaceID
	Candidates []Item                    // the meanings named in a question such as "fifteen or fifty?"
	Where      bool                      // it asks for the place: a number alone does not answer it
	Confirm    bool                      // it asks for yes or no
	Declare    []catalogue.DeclarationID // the switching that was asked for
	Repair     catalogue.RepairID        // the work that was asked for
}

// Context is what the parser may know beside the words. The zero Context knows
// nothing and is always valid.
type Context struct {
	Open            *Asked
	Last            *catalogue.Reading // what "no, forty five" mends
	LastObservation *catalogue.Observation
}

// Item is one understood callout. Exactly one of the fields before Said is set.
type Item struct {
	Reading     *catalogue.Reading      `json:"reading,omitempty"`
	Observation *catalogue.Observation  `json:"observation,omitempty"`
	Declaration catalogue.DeclarationID `json:"declaration,omitempty"`
	Repair      catalogue.RepairID      `json:"repair,omitempty"`
	Command     *catalogue.Asked        `json:"command,omitempty"`
	Note        string                  `json:"note,omitempty"`
	Question    *Question               `json:"question,omitempty"`

	Said  string `json:"said"`  // the words it came from, as given
	Start int    `json:"start"` // byte span of Said in the text
	End   int    `json:"end"`
}

// DoubtKind says why something was understood only in part.
type DoubtKind = string

const (
	// Ambiguous: several meanings fit; Candidates has them all.
	Ambiguous DoubtKind = "ambiguous"
	// Incomplete: a callout began and its number, choice or quantity is missing,
	// or words stand around it that are not understood.
	Incomplete DoubtKind = "incomplete"
	// Implausible: the number is outside the quantity's plausible range.
	Implausible DoubtKind = "implausible"
	// WhichPlace: the quantity is clear and the place is not.
	WhichPlace DoubtKind = "place"
	// Negation: a "no" or "not" that could turn the meaning either way.
	Negation DoubtKind = "negation"
	// WrongUnit: the unit said is not one the quantity is measured in.
	WrongUnit DoubtKind = "unit"
)

// Doubt is something to ask back. Candidates may be empty; Quantity and Place
// are set where they are known.
type Doubt struct {
	Kind       DoubtKind            `json:"kind"`
	Said       string               `json:"said"`
	Candidates []Item               `json:"candidates,omitempty"`
	Quantity   catalogue.QuantityID `json:"quantity,omitempty"`
	Place      catalogue.PlaceID    `json:"place,omitempty"`
	Start      int                  `json:"start"`
	End        int                  `json:"end"`
}

// Result is all that was found in one utterance, in the order said. Ignored
// lists the stretches that are no callout.
type Result struct {
	Items   []Item   `json:"items,omitempty"`
	Doubts  []Doubt  `json:"doubts,omitempty"`
	Ignored []string `json:"ignored,omitempty"`
	// Meant lists what was spoken of and not told as so: about to be done, asked, or read
	// another day.
	Meant []Item `json:"meant,omitempty"`
	// Named is what of the trade, with a number or a state, is in words that came to nothing.
	Named []string `json:"named,omitempty"`
}

// Parser is the compiled vocabulary. It never changes after New and is safe for
// concurrent use.
type Parser struct {
	cat           *catalogue.Catalogue
	lex           *lexicon
	tab           *tables
	words         words
	free          *talk
	qualified     []qualified
	quantityIndex map[catalogue.QuantityID]int
	placeIndex    map[catalogue.PlaceID]int
}

// Catalogue is what the vocabulary was compiled from.
func (p *Parser) Catalogue() *catalogue.Catalogue { return p.cat }

// New compiles the catalogue's vocabulary. The error says which phrase or data
// file can't be used.
func New(c *catalogue.Catalogue) (*Parser, error) {
	p := &Parser{cat: c, quantityIndex: map[catalogue.QuantityID]int{}, placeIndex: map[catalogue.PlaceID]int{}}
	var spelling letters
	var im implied
	p.lex = &lexicon{root: &node{}, spelled: map[string]bool{}}
	for name, into := range map[string]any{
		"words.json": &p.words, "qualifiers.json": &p.qualified, "heard_as.json": &p.lex.heard,
		"implied.json": &im, "letters.json": &spelling,
	} {
		if err := decode(name, into); err != nil {
			return nil, err
		}
	}
	for i, q := range c.Quantities {
		p.quantityIndex[q.ID] = i
	}
	for i, x := range c.Places {
		p.placeIndex[x.ID] = i
	}
	p.lex.alphabet = spelling.Alphabet
	for _, w := range spelling.Spelled {
		p.lex.spelled[w] = true
	}
	p.lex.addCatalogue(c)
	if err := p.lex.addWords(p.words, p.qualified, c); err != nil {
		return nil, err
	}
	if err := p.lex.addMisheard(); err != nil {
		return nil, err
	}
	var err error
	if p.tab, err = newTables(c, p.lex, im, p.words); err != nil {
		return nil, err
	}
	p.free, err = newTalk(c)
	return p, err
}

// PlaceFor is where quantity q is taken at what is called p: "fan" is the fan's section of
// a capacitor. ok is false where it isn't taken there, or at several places.
func (p *Parser) PlaceFor(q catalogue.QuantityID, place catalogue.PlaceID) (catalogue.PlaceID, bool) {
	i, okQ := p.quantityIndex[q]
	k, okP := p.placeIndex[place]
	if !okQ || !okP {
		return "", false
	}
	at := p.tab.meant[i][k].places
	if at.count() != 1 {
		return "", false
	}
	return p.cat.Places[at.first()].ID, true
}

// byID takes a whole line that is the id of a repair or of a command without an
// argument, as another program answers what it was asked for. Declarations and
// readings are read from their ids' words anyway.
func (p *Parser) byID(text string) (Item, bool) {
	id := strings.TrimSpace(text)
	it := Item{Said: id, Start: strings.Index(text, id), End: strings.Index(text, id) + len(id)}
	if r, ok := p.cat.Repair(catalogue.RepairID(id)); ok {
		it.Repair = r.ID
		return it, true
	}
	if c, ok := p.cat.Command(catalogue.CommandID(id)); ok && c.Argument == "" {
		it.Command = &catalogue.Asked{Command: c.ID}
		return it, true
	}
	return Item{}, false
}

// alone takes a whole line of two words or more that asks the program to speak, wait or be
// brief: no word of it is an answer, as the on of "go on" would be.
func (p *Parser) alone(text string) (Item, bool) {
	line := strings.Join(strings.Fields(strings.ToLower(strings.TrimRight(text, " .,!?"))), " ")
	for _, c := range p.cat.Commands {
		if c.Changes || c.Argument != "" || c.ID == "yes" || c.ID == "no" || !strings.Contains(line, " ") || !slices.Contains(c.Spoken, line) {
			continue
		}
		said := strings.TrimSpace(text)
		at := strings.Index(text, said)
		return Item{Said: said, Start: at, End: at + len(said), Command: &catalogue.Asked{Command: c.ID}}, true
	}
	return Item{}, false
}

// Parse reads one utterance or typed line. It is total: any text gives a Result.
func (p *Parser) Parse(text string, ctx Context) Result {
	if it, ok := p.byID(text); ok {
		return Result{Items: []Item{it}}
	}
	if it, ok := p.alone(text); ok {
		return Result{Items: []Item{it}}
	}
	toks, rest := scan(text, p.lex.alphabet)
	u := &utterance{p: p, text: text, toks: toks, env: p.environment(ctx)}
	if r, ok := u.note(); ok {
		return r
	}
	formal := u.read()
	res := u.choose(formal, u.talk(ctx), ctx)
	if rest < len(text) {
		res.Ignored = append(res.Ignored, text[rest:])
	}
	return res
}
