// Package prompts turns what callout has to say into words: every phrase stands
// in data/en.json as a template, is written for a screen, and has a spoken form
// in which symbols become words ("47 A" is said "47 amps").
//
// A Book never changes once loaded and is safe for concurrent use.
package prompts

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"text/template"
	"time"

	"callout/catalogue"
)

//go:embed data/en.json
var english []byte

// Priority orders what is said when several lines wait: the caution first.
type Priority int

const (
	// Hazard: a caution or a warning; never cut off.
	Hazard Priority = iota
	// Question: callout needs an answer to go on.
	Question
	// Finding: a verdict or a proof.
	Finding
	// Step: the next thing to do.
	Step
	// ReadBack: a recorded value said back.
	ReadBack
)

var priorities = map[string]Priority{"hazard": Hazard, "question": Question, "finding": Finding, "step": Step, "read_back": ReadBack}

// String returns the name used in data/en.json.
func (p Priority) String() string {
	for name, x := range priorities {
		if x == p {
			return name
		}
	}
	return strconv.Itoa(int(p))
}

// Line is one thing to say.
type Line struct {
	ID       string
	Priority Priority
	Text     string // for a screen, with digits and unit symbols
	Spoken   string // for a voice, symbols as words
}

// Args fills a template.
type Args map[string]any

// ErrNoPhrase is returned for an id that data/en.json lacks.
var ErrNoPhrase = errors.New("prompts: no such phrase")

type phrase struct {
	ID       string `json:"id"`
	Priority string `json:"priority"`
	Text     string `json:"text"`
	Why      string `json:"why,omitempty"`
}

// Book holds the phrases.
type Book struct {
	catalogue *catalogue.Catalogue
	templates map[string]*template.Template
	priority  map[string]Priority
	symbols   *regexp.Regexp // before, number, symbol, after; so that "R-410A" is no current
	words     map[string]catalogue.Unit
}

// Load reads and checks the embedded phrases.
func Load(c *catalogue.Catalogue) (*Book, error) { return load(c, english) }

func load(c *catalogue.Catalogue, raw []byte) (*Book, error) {
	var list []phrase
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&list); err != nil {
		return nil, fmt.Errorf("prompts: en.json: %w", err)
	}
	b := &Book{catalogue: c, templates: map[string]*template.Template{}, priority: map[string]Priority{}, words: map[string]catalogue.Unit{}}
	var short []string
	for _, u := range c.Units {
		b.words[u.Short] = u
		short = append(short, regexp.QuoteMeta(u.Short))
	}
	sort.Slice(short, func(i, j int) bool { return len(short[i]) > len(short[j]) })
	b.symbols = regexp.MustCompile(`(^|[\s(:;,±≥≤=+/–])(-?[0-9][0-9,]*(?:\.[0-9]+)?)\s?(` + strings.Join(short, "|") + `)($|[^A-Za-z0-9µΩ])`)
	for _, p := range list {
		priority, ok := priorities[p.Priority]
		if !ok {
			return nil, fmt.Errorf("prompts: en.json: phrase %s: unknown priority %q", p.ID, p.Priority)
		}
		if _, twice := b.templates[p.ID]; twice {
			return nil, fmt.Errorf("prompts: en.json: phrase %s is there twice", p.ID)
		}
		t, err := template.New(p.ID).Option("missingkey=error").Funcs(template.FuncMap{"list": orList, "lower": lowerFirst}).Parse(p.Text)
		if err != nil {
			return nil, fmt.Errorf("prompts: en.json: phrase %s: %w", p.ID, err)
		}
		b.templates[p.ID], b.priority[p.ID] = t, priority
	}
	return b, nil
}

// Line fills the phrase id with args. An unknown id gives ErrNoPhrase; an
// argument that the phrase needs and args lack gives an error that names it.
func (b *Book) Line(id string, args Args) (Line, error) {
	t, ok := b.templates[id]
	if !ok {
		return Line{}, fmt.Errorf("%w: %q", ErrNoPhrase, id)
	}
	var out strings.Builder
	if err := t.Execute(&out, map[string]any(args)); err != nil {
		return Line{}, fmt.Errorf("prompts: %w", err)
	}
	return b.Plain(id, b.priority[id], out.String()), nil
}

// Plain makes a line of a text that is already written.
func (b *Book) Plain(id string, priority Priority, text string) Line {
	text = strings.Join(strings.Fields(text), " ")
	return Line{ID: id, Priority: priority, Text: text, Spoken: b.Speakable(text)}
}

// IDs lists the phrases, sorted.
func (b *Book) IDs() []string {
	ids := make([]string, 0, len(b.templates))
	for id := range b.templates {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	return ids
}

var spokenSigns = strings.NewReplacer(" ± ", " plus or minus ", "±", "plus or minus ", "≥", "at least ", "≤", "at most ", "→", ", ", "²", " squared", "°", " degrees ", "×", " times ", "–", " to ")

// Speakable writes a text the way it is said: unit symbols after a number
// become words and signs are read out.
func (b *Book) Speakable(text string) string {
	for range 2 { // neighbours share the character between them
		text = b.symbols.ReplaceAllStringFunc(text, func(m string) string {
			p := b.symbols.FindStringSubmatch(m)
			u := b.words[p[3]]
			word := u.Name
			if p[2] == "1" {
				word = u.One
			}
			return p[1] + p[2] + " " + word + p[4]
		})
	}
	return strings.Join(strings.Fields(spokenSigns.Replace(text)), " ")
}

// Number writes a value without needless zeros: at most decimals places.
func Number(value float64, decimals int) string {
	return strconv.FormatFloat(roundTo(value, decimals), 'f', -1, 64)
}

func roundTo(v float64, decimals int) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', decimals, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// Value writes the value of a reading with its unit: "47 A", "open line".
func (b *Book) Value(r catalogue.Reading) string {
	q, _ := b.catalogue.Quantity(r.Quantity)
	u, _ := b.catalogue.Unit(r.Unit)
	switch r.Qualifier {
	case catalogue.OpenLine:
		return "open line"
	case catalogue.Nothing:
		return "nothing"
	}
	text := Number(r.Value, q.Decimals)
	if u.Short == "%" || strings.HasPrefix(u.Short, "°") {
		text += u.Short
	} else {
		text += " " + u.Short
	}
	if r.Qualifier == catalogue.Unsteady {
		text += ", unsteady"
	}
	return text
}

// Named writes quantity and place the short way: the place is left out where
// the quantity has only one, the quantity's name where the place says it all.
func (b *Book) Named(q catalogue.QuantityID, p catalogue.PlaceID) string {
	quantity, _ := b.catalogue.Quantity(q)
	place, _ := b.catalogue.Place(p)
	if len(quantity.Places) < 2 {
		return quantity.Name
	}
	name := strings.TrimPrefix(place.Name, "the ")
	return quantity.Name + ", " + name
}

// Reading writes a reading for reading back: "current, compressor's common wire: 47 A".
func (b *Book) Reading(r catalogue.Reading) string {
	return b.Named(r.Quantity, r.Place) + ": " + b.Value(r)
}

// ShortReading writes a reading in few words, by its place alone: "compressor's common
// wire: 47 A". Where the place would not tell which quantity it is, that is named too; a
// nameplate value is named by its quantity.
func (b *Book) ShortReading(r catalogue.Reading) string {
	quantity, _ := b.catalogue.Quantity(r.Quantity)
	switch {
	case quantity.Kind == catalogue.Rated:
		return quantity.Name + ": " + b.Value(r)
	case len(quantity.Places) < 2:
		return b.Reading(r)
	}
	for _, other := range b.catalogue.Quantities {
		if other.ID != quantity.ID && other.Unit == quantity.Unit && other.Kind != catalogue.Rated && slices.Contains(other.Places, r.Place) {
			return b.Reading(r)
		}
	}
	place, _ := b.catalogue.Place(r.Place)
	return strings.TrimPrefix(place.Name, "the ") + ": " + b.Value(r)
}

// Observation writes an observation for reading back.
func (b *Book) Observation(o catalogue.Observation) string {
	q, _ := b.catalogue.Quantity(o.Quantity)
	v, _ := q.Value(o.Value)
	return b.Named(o.Quantity, o.Place) + ": " + v.Name
}

// Duration writes a wait in whole, plain parts: "2 hours 5 minutes", "40 seconds".
func Duration(d time.Duration) string {
	if d <= 0 {
		return "no time"
	}
	if d < time.Minute {
		return count(int(d.Round(time.Second)/time.Second), "second")
	}
	minutes := int((d + 30*time.Second) / time.Minute)
	if minutes < 60 {
		return count(minutes, "minute")
	}
	text := count(minutes/60, "hour")
	if minutes%60 > 0 {
		text += " " + count(minutes%60, "minute")
	}
	return text
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

// orList joins choices as they are said: "15, 50 or 55".
func orList(items []string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	return strings.Join(items[:len(items)-1], ", ") + " or " + items[len(items)-1]
}

// lowerFirst lowers the first letter, unless the word is an abbreviation.
func lowerFirst(s string) string {
	if len(s) < 2 || s[1] >= 'A' && s[1] <= 'Z' || s[1] == '-' {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
