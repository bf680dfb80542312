// Package catalogue holds the nouns of the trade that every other part of
// callout shares: what can be measured, read off a nameplate or observed, where,
// in which unit and under which spoken names; what can be declared, commanded
// and repaired. It is data (data/*.json, each entry with its source) plus the
// types of a callout built from that data.
//
// A loaded Catalogue never changes and is safe for concurrent use.
package catalogue

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"sort"
	"strings"
)

//go:embed data/*.json
var embedded embed.FS

// QuantityID names one quantity, for example "current" or "rated_load_amps".
type QuantityID string

// PlaceID names where a quantity is taken, for example "compressor_common".
type PlaceID string

// ValueID names one choice of an observed quantity, for example "hum".
type ValueID string

// UnitID is a UCUM code, for example "A", "uF", "[degF]", "[psi]".
type UnitID string

// Kind says how a quantity comes to be known.
type Kind string

const (
	// Measured: a number read off an instrument.
	Measured Kind = "measured"
	// Rated: a number read off a nameplate, a label or the unit's literature.
	Rated Kind = "rated"
	// Observed: one of a closed list of values, seen, heard, smelt or felt.
	Observed Kind = "observed"
	// Marked: one of a closed list of values, read off a nameplate or label.
	Marked Kind = "marked"
)

// Numeric reports whether readings of this kind are numbers.
func (k Kind) Numeric() bool { return k == Measured || k == Rated }

// Qualifier says that a reading is no plain number.
type Qualifier string

const (
	// OpenLine: the meter shows OL, no continuity.
	OpenLine Qualifier = "open_line"
	// Nothing: the meter shows nothing; Value is 0.
	Nothing Qualifier = "nothing"
	// Unsteady: the reading would not hold still; Value is the last one said.
	Unsteady Qualifier = "unsteady"
)

// Unit is one unit of measure.
type Unit struct {
	ID     UnitID   `json:"id"`     // UCUM code, used in machine output
	Name   string   `json:"name"`   // plain words for people: "amps", "degrees"
	One    string   `json:"one"`    // the same, singular
	Short  string   `json:"short"`  // on a screen: "A", "µF", "°F"
	Spoken []string `json:"spoken"` // ways to say it, beside Name and One
}

// Conversion lets a quantity be said in a unit other than its own.
type Conversion struct {
	From   UnitID  `json:"from"`
	Factor float64 `json:"factor"` // value in the quantity's unit = Factor*said + Offset
	Offset float64 `json:"offset,omitempty"`
}

// Value is one choice of an observed or marked quantity.
type Value struct {
	ID     ValueID  `json:"id"`
	Name   string   `json:"name"`
	Spoken []string `json:"spoken"`
	// Alone lists whole phrases that name quantity, place and value at once,
	// such as "compressor hums"..
	Alone map[PlaceID][]string `json:"alone,omitempty"`
}

// Quantity is one thing that can be read.
type Quantity struct {
	ID     QuantityID   `json:"id"`
	Name   string       `json:"name"`
	Kind   Kind         `json:"kind"`
	Unit   UnitID       `json:"unit,omitempty"`
	Also   []Conversion `json:"also,omitempty"`
	Places []PlaceID    `json:"places"` // the first is meant when none is said
	Min    float64      `json:"min,omitempty"`
	Max    float64      `json:"max,omitempty"` // outside Min..Max a number is asked back
	// Floor is what no reading can be under, where that is neither zero nor far below Min.
	Floor *float64 `json:"floor,omitempty"`
	// Spans are the ranges of places that differ from it.
	Spans      []Span      `json:"spans,omitempty"`
	Decimals   int         `json:"decimals,omitempty"`
	Spoken     []string    `json:"spoken,omitempty"` // beside Name and ID with spaces
	Values     []Value     `json:"values,omitempty"`
	Qualifiers []Qualifier `json:"qualifiers,omitempty"`
	Why        string      `json:"why,omitempty"`
}

// Span is a quantity's range at one place.
type Span struct {
	Place PlaceID `json:"place"`
	Min   float64 `json:"min"`
	Max   float64 `json:"max"`
	Why   string  `json:"why"`
}

// Range is what a plain number of the quantity can be at p.
func (q Quantity) Range(p PlaceID) (low, high float64) {
	for _, s := range q.Spans {
		if s.Place == p {
			return s.Min, s.Max
		}
	}
	return q.Min, q.Max
}

// HasPlace reports whether the quantity can be taken at p.
func (q Quantity) HasPlace(p PlaceID) bool {
	for _, x := range q.Places {
		if x == p {
			return true
		}
	}
	return false
}

// Value returns the choice with the given id.
func (q Quantity) Value(id ValueID) (Value, bool) {
	for _, v := range q.Values {
		if v.ID == id {
			return v, true
		}
	}
	return Value{}, false
}

// Place is one spot on the unit.
type Place struct {
	ID     PlaceID  `json:"id"`
	Name   string   `json:"name"`
	Spoken []string `json:"spoken,omitempty"` // beside Name and ID with spaces
}

// DeclarationID names one thing a technician can declare to be so.
type DeclarationID string

// Declaration is a statement about the state of the unit or of the work:
// "disconnect is pulled", "calling for cooling". Opposite names the declaration
// that a negation would turn it into; a negation is never guessed.
type Declaration struct {
	ID       DeclarationID `json:"id"`
	Name     string        `json:"name"`
	Spoken   []string      `json:"spoken"`
	Vague    []string      `json:"vague,omitempty"` // could mean another one too: always asked back
	Opposite DeclarationID `json:"opposite,omitempty"`
	// Or lists those that the same words may mean while they are what is asked for: each
	// unit has a breaker of its own.
	Or     []DeclarationID `json:"or,omitempty"`
	Safety bool            `json:"safety"` // needs more certainty than a reading
	Why    string          `json:"why,omitempty"`
}

// CommandID names one thing the technician can ask callout to do.
type CommandID string

// Command is a request to callout: "repeat", "scratch that", "why".
type Command struct {
	ID     CommandID `json:"id"`
	Name   string    `json:"name"`
	Spoken []string  `json:"spoken"`
	// Argument: "" none, "number" a number may follow ("no, forty five"),
	// "text" free words follow ("note …"), "minutes" a time follows.
	Argument string `json:"argument,omitempty"`
	// Changes is true where the command alters what is recorded or asked next, beyond
	// what is said.
	Changes bool `json:"changes,omitempty"`
}

// RepairID names one repair.
type RepairID string

// Repair is work done on the unit: "replaced the run capacitor".
type Repair struct {
	ID     RepairID `json:"id"`
	Name   string   `json:"name"`   // as an order: "replace the run capacitor"
	Spoken []string `json:"spoken"` // as done: "replaced the run capacitor"
	Part   string   `json:"part"`   // the part bought, "" for none
	Cost   float64  `json:"cost"`   // in minutes of a technician's time, part included
	Why    string   `json:"why,omitempty"`
}

// Reading is one number, at one place. The zero Qualifier means a plain number.
type Reading struct {
	Quantity  QuantityID `json:"quantity"`
	Place     PlaceID    `json:"place"`
	Value     float64    `json:"value"` // in Unit; 0 where Qualifier is open_line or nothing
	Unit      UnitID     `json:"unit"`
	Qualifier Qualifier  `json:"qualifier,omitempty"`
}

// Observation is one choice, at one place.
type Observation struct {
	Quantity QuantityID `json:"quantity"`
	Place    PlaceID    `json:"place"`
	Value    ValueID    `json:"value"`
}

// Asked is a command as spoken, with its argument if it takes one.
type Asked struct {
	Command CommandID `json:"command"`
	Number  *float64  `json:"number,omitempty"`
	Text    string    `json:"text,omitempty"`
}

// Catalogue is the loaded and checked whole.
type Catalogue struct {
	Units        []Unit
	Quantities   []Quantity
	Places       []Place
	Declarations []Declaration
	Commands     []Command
	Repairs      []Repair

	units        map[UnitID]int
	quantities   map[QuantityID]int
	places       map[PlaceID]int
	declarations map[DeclarationID]int
	commands     map[CommandID]int
	repairs      map[RepairID]int
}

// ErrInvalid marks every error that Load finds in the data.
var ErrInvalid = errors.New("catalogue: invalid data")

// Load reads and checks the embedded catalogue.
func Load() (*Catalogue, error) {
	sub, err := fs.Sub(embedded, "data")
	if err != nil {
		return nil, fmt.Errorf("catalogue: %w", err)
	}
	return LoadFrom(sub)
}

// LoadFrom reads and checks a catalogue from files named as in data/.
func LoadFrom(files fs.FS) (*Catalogue, error) {
	c := &Catalogue{}
	for name, into := range map[string]any{
		"units.json": &c.Units, "quantities.json": &c.Quantities, "places.json": &c.Places,
		"declarations.json": &c.Declarations, "commands.json": &c.Commands, "repairs.json": &c.Repairs,
	} {
		raw, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, fmt.Errorf("catalogue: %w", err)
		}
		d := json.NewDecoder(bytes.NewReader(raw))
		d.DisallowUnknownFields()
		if err := d.Decode(into); err != nil {
			return nil, fmt.Errorf("%w: %s: %w", ErrInvalid, name, err)
		}
	}
	if err := c.index(); err != nil {
		return nil, err
	}
	return c, c.validate()
}

func indexOf[T any, K comparable](what string, list []T, id func(T) K) (map[K]int, error) {
	m := make(map[K]int, len(list))
	for i, x := range list {
		if _, twice := m[id(x)]; twice {
			return nil, fmt.Errorf("%w: %s %v is there twice", ErrInvalid, what, id(x))
		}
		m[id(x)] = i
	}
	return m, nil
}

func (c *Catalogue) index() error {
	var errs [6]error
	c.units, errs[0] = indexOf("unit", c.Units, func(x Unit) UnitID { return x.ID })
	c.quantities, errs[1] = indexOf("quantity", c.Quantities, func(x Quantity) QuantityID { return x.ID })
	c.places, errs[2] = indexOf("place", c.Places, func(x Place) PlaceID { return x.ID })
	c.declarations, errs[3] = indexOf("declaration", c.Declarations, func(x Declaration) DeclarationID { return x.ID })
	c.commands, errs[4] = indexOf("command", c.Commands, func(x Command) CommandID { return x.ID })
	c.repairs, errs[5] = indexOf("repair", c.Repairs, func(x Repair) RepairID { return x.ID })
	return errors.Join(errs[:]...)
}

func (c *Catalogue) validate() error {
	var errs []error
	bad := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...)))
	}
	used := map[PlaceID]bool{}
	for _, q := range c.Quantities {
		if len(q.Places) == 0 {
			bad("quantity %s has no place", q.ID)
		}
		for _, p := range q.Places {
			used[p] = true
			if _, ok := c.places[p]; !ok {
				bad("quantity %s: no place %q", q.ID, p)
			}
		}
		switch {
		case q.Kind.Numeric():
			if _, ok := c.units[q.Unit]; !ok {
				bad("quantity %s: no unit %q", q.ID, q.Unit)
			}
			if !(q.Min < q.Max) || math.IsInf(q.Max, 0) {
				bad("quantity %s: range %g..%g is empty", q.ID, q.Min, q.Max)
			}
			for _, s := range q.Spans {
				if !q.HasPlace(s.Place) || !(s.Min < s.Max) || s.Why == "" {
					bad("quantity %s: the range at %q has no such place, is empty or has no reason", q.ID, s.Place)
				}
			}
			if len(q.Values) > 0 {
				bad("quantity %s is a number and has choices", q.ID)
			}
		case q.Kind == Observed || q.Kind == Marked:
			if len(q.Values) < 2 {
				bad("quantity %s has fewer than two choices", q.ID)
			}
			if _, err := indexOf("choice of "+string(q.ID), q.Values, func(v Value) ValueID { return v.ID }); err != nil {
				errs = append(errs, err)
			}
			for _, v := range q.Values {
				for p := range v.Alone {
					if !q.HasPlace(p) {
						bad("quantity %s, choice %s: phrase for place %q, which the quantity lacks", q.ID, v.ID, p)
					}
				}
			}
		default:
			bad("quantity %s: unknown kind %q", q.ID, q.Kind)
		}
		for _, a := range q.Also {
			if _, ok := c.units[a.From]; !ok || a.Factor == 0 {
				bad("quantity %s: conversion from %q", q.ID, a.From)
			}
		}
	}
	for _, p := range c.Places {
		if !used[p.ID] {
			bad("place %s is used by no quantity", p.ID)
		}
	}
	for _, d := range c.Declarations {
		if len(d.Spoken) == 0 {
			bad("declaration %s cannot be said", d.ID)
		}
		for _, id := range d.Or {
			if _, ok := c.Declaration(id); !ok {
				bad("declaration %s: may mean %q, which is none", d.ID, id)
			}
		}
		if d.Opposite != "" {
			if o, ok := c.Declaration(d.Opposite); !ok || o.Opposite != d.ID {
				bad("declaration %s: opposite %q does not point back", d.ID, d.Opposite)
			}
		}
	}
	for _, r := range c.Repairs {
		if len(r.Spoken) == 0 || r.Cost <= 0 {
			bad("repair %s needs a spoken form and a cost", r.ID)
		}
	}
	return errors.Join(errs...)
}

// Unit finds a unit by id.
func (c *Catalogue) Unit(id UnitID) (Unit, bool) { return find(c.Units, c.units, id) }

// Quantity finds a quantity by id.
func (c *Catalogue) Quantity(id QuantityID) (Quantity, bool) {
	return find(c.Quantities, c.quantities, id)
}

// Place finds a place by id.
func (c *Catalogue) Place(id PlaceID) (Place, bool) { return find(c.Places, c.places, id) }

// Declaration finds a declaration by id.
func (c *Catalogue) Declaration(id DeclarationID) (Declaration, bool) {
	return find(c.Declarations, c.declarations, id)
}

// Command finds a command by id.
func (c *Catalogue) Command(id CommandID) (Command, bool) { return find(c.Commands, c.commands, id) }

// Repair finds a repair by id.
func (c *Catalogue) Repair(id RepairID) (Repair, bool) { return find(c.Repairs, c.repairs, id) }

func find[T any, K comparable](list []T, index map[K]int, id K) (T, bool) {
	if i, ok := index[id]; ok {
		return list[i], true
	}
	var none T
	return none, false
}

// CheckReading reports why a reading cannot be one, or nil. It does not look at
// plausibility: see Plausible.
func (c *Catalogue) CheckReading(r Reading) error {
	q, ok := c.Quantity(r.Quantity)
	switch {
	case !ok:
		return fmt.Errorf("catalogue: no quantity %q", r.Quantity)
	case !q.Kind.Numeric():
		return fmt.Errorf("catalogue: %s takes one of %s, not a number", q.Name, strings.Join(q.choiceNames(), ", "))
	case !q.HasPlace(r.Place):
		return fmt.Errorf("catalogue: %s is not taken at %q", q.Name, r.Place)
	case r.Unit != q.Unit:
		return fmt.Errorf("catalogue: %s is in %q, not %q", q.Name, q.Unit, r.Unit)
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return fmt.Errorf("catalogue: %s: not a number", q.Name)
	}
	if r.Qualifier != "" {
		for _, x := range q.Qualifiers {
			if x == r.Qualifier {
				return nil
			}
		}
		return fmt.Errorf("catalogue: %s can't be %q", q.Name, r.Qualifier)
	}
	return nil
}

// CheckObservation reports why an observation cannot be one, or nil.
func (c *Catalogue) CheckObservation(o Observation) error {
	q, ok := c.Quantity(o.Quantity)
	switch {
	case !ok:
		return fmt.Errorf("catalogue: no quantity %q", o.Quantity)
	case q.Kind.Numeric():
		return fmt.Errorf("catalogue: %s takes a number", q.Name)
	case !q.HasPlace(o.Place):
		return fmt.Errorf("catalogue: %s is not taken at %q", q.Name, o.Place)
	}
	if _, ok := q.Value(o.Value); !ok {
		return fmt.Errorf("catalogue: %s takes one of %s, not %q", q.Name, strings.Join(q.choiceNames(), ", "), o.Value)
	}
	return nil
}

// Plausible reports whether a plain number lies in the quantity's range at its
// place.
func (c *Catalogue) Plausible(r Reading) bool {
	q, ok := c.Quantity(r.Quantity)
	low, high := q.Range(r.Place)
	return ok && (r.Qualifier == OpenLine || r.Qualifier == Nothing || r.Value >= low && r.Value <= high)
}

// Possible reports whether a plain number could be one at all: not negative where the
// scale begins at zero or its floor, and not far outside the range, where it is no longer
// unusual but misread: over twice the most, or under half the least.
func (c *Catalogue) Possible(r Reading) bool {
	q, ok := c.Quantity(r.Quantity)
	if !ok || r.Qualifier == OpenLine || r.Qualifier == Nothing {
		return ok
	}
	least, most := q.Range(r.Place)
	low := least / 2
	switch {
	case q.Floor != nil:
		low = *q.Floor
	case least < 0:
		low = least - (most-least)/2
	}
	return r.Value >= low && r.Value <= 2*most
}

func (q Quantity) choiceNames() []string {
	names := make([]string, len(q.Values))
	for i, v := range q.Values {
		names[i] = v.Name
	}
	sort.Strings(names)
	return names
}
