package energy

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
)

// Data is what energy.json holds.
type Data struct {
	// Begin lists the facts that hold when a job begins.
	Begin []string `json:"start"`
	// Derived facts are worked out after each change, in this order.
	Derived []Derived `json:"derived"`
	// Proofs are what readings prove dead, and for how long.
	Proofs []Proof `json:"proofs"`
	// Source is the reading that proves the meter.
	Source Source `json:"source"`
	// Always are the rules that hold after every change.
	Always []Rule `json:"always"`
	// Changes are what several rules do alike.
	Changes []Change `json:"changes"`
	// Rules say what an event does; each that matches is done, in order.
	Rules []Rule `json:"rules"`
	// Lines are the other words that are said.
	Lines  Lines   `json:"lines"`
	Steps  []Step  `json:"steps"`
	States []Level `json:"states"`
}

// Derived is a fact that follows from others: "!x" is that x does not hold.
type Derived struct {
	ID  string   `json:"id"`
	All []string `json:"all,omitempty"`
	Any []string `json:"any,omitempty"`

	is  Fact
	all condition
	any []condition
}

// Proof is what is proved dead by readings between two of a known source.
type Proof struct {
	ID   string   `json:"id"`
	Name string   `json:"name"`         // what lapses, in words
	If   []string `json:"if,omitempty"` // what must hold while a reading is taken
	// Minutes is how long it holds after its oldest reading.
	Minutes float64 `json:"minutes"`
	// Once: the known source need not be read again behind it.
	Once   bool    `json:"once,omitempty"`
	Reads  []Read  `json:"reads,omitempty"`
	Below  float64 `json:"below,omitempty"` // what reads less is nothing, V
	Source string  `json:"source"`

	cond  condition
	all   set
	limit time.Duration
}

// Read is one reading of a proof. It sets the fact ID, and ID with "_sure" once
// the known source was read again.
type Read struct {
	ID string              `json:"id"`
	At []catalogue.PlaceID `json:"at"` // by quantity of the same index
	Of []string            `json:"of"`

	read, sure Fact
}

// Source is a source known to be live.
type Source struct {
	Quantity catalogue.QuantityID `json:"quantity"`
	Place    catalogue.PlaceID    `json:"place"`
	From     float64              `json:"from"` // volts, at least
	Source   string               `json:"source"`
}

// Lines are words that no rule says.
type Lines struct {
	NoMeter     string `json:"no_meter"`     // a zero from a meter that is not proved
	MeterFailed string `json:"meter_failed"` // the known source reads nothing
	NotLocked   string `json:"not_locked"`   // a zero while what must hold does not
	Unclear     string `json:"unclear"`      // a zero not heard clearly
	Lapsed      string `json:"lapsed"`
	LapsedTime  string `json:"lapsed_time"`
	Resumed     string `json:"lapsed_resumed"`
	Struck      string `json:"lapsed_struck"`
	Unsettled   string `json:"lapsed_unsettled"`
	Timer       string `json:"timer"`
	OhmsLive    string `json:"ohms_live"`
	OhmsNot     string `json:"ohms_declared"`
}

// Change is what several rules do alike.
type Change struct {
	ID    string `json:"id"`
	Rules []Rule `json:"rules"`
}

// Rule is what one event does. Of the fields that say when, those that are given
// must all match.
type Rule struct {
	Declare  []catalogue.DeclarationID `json:"declare,omitempty"`
	Repair   []catalogue.RepairID      `json:"repair,omitempty"`
	Supply   bool                      `json:"supply,omitempty"` // any repair of the supply
	Quantity []catalogue.QuantityID    `json:"quantity,omitempty"`
	Place    []catalogue.PlaceID       `json:"place,omitempty"`
	Value    []catalogue.ValueID       `json:"value,omitempty"`
	Not      []catalogue.ValueID       `json:"not,omitempty"`  // any value but these
	From     float64                   `json:"from,omitempty"` // a number of at least this
	If       []string                  `json:"if,omitempty"`

	Set   []string `json:"set,omitempty"`
	Clear []string `json:"clear,omitempty"`
	Lapse []string `json:"lapse,omitempty"` // proofs, or "all"
	Do    string   `json:"do,omitempty"`    // a change
	Warn  string   `json:"warn,omitempty"`  // with {value}, {place}
	As    string   `json:"as,omitempty"`    // the warning's id, "contradicts_energy" if not given

	cond       condition
	set, clear set
	lapse      []int
	do         int
}

// Step is one declaration or one proof on the way to a state.
type Step struct {
	ID       string                    `json:"id"`
	Kind     string                    `json:"kind"`
	Done     []string                  `json:"done"` // what holds once it is done
	Declare  []catalogue.DeclarationID `json:"declare,omitempty"`
	Quantity catalogue.QuantityID      `json:"quantity,omitempty"`
	Place    catalogue.PlaceID         `json:"place,omitempty"`
	// Said: a declaration is left out where this holds already.
	Said map[catalogue.DeclarationID]string `json:"said,omitempty"`
	// Touches: wires are handled, so that all is dead, bled and proved before.
	Touches bool `json:"touches,omitempty"`
	// Else is the step in its place where If holds.
	If   string `json:"if,omitempty"`
	Else string `json:"else,omitempty"`
	// Absent is the fact that holds where the part of the step is not there.
	Absent   string   `json:"absent,omitempty"`
	Minutes  float64  `json:"minutes"`
	Needs    string   `json:"needs"`
	Say      string   `json:"say"`
	Because  string   `json:"because"`
	Brief    string   `json:"brief,omitempty"` // for one who was told what it is for
	Cautions []string `json:"cautions"`
	Source   string   `json:"source"`

	done   condition
	said   map[catalogue.DeclarationID]condition
	when   condition
	other  int
	absent set
}

// Level is a state that work is done in. A need "@x" stands for those of x.
type Level struct {
	ID    string   `json:"id"`
	Needs []string `json:"needs"`
	Live  bool     `json:"live,omitempty"`  // readings there are taken on a live unit
	Hands bool     `json:"hands,omitempty"` // parts are touched there

	steps []int
}

// condition holds where all of one set hold and none of another.
type condition struct{ yes, no set }

func (c condition) of(s set) bool { return s&c.yes == c.yes && (s & c.no).none() }

// Machine runs the data. It never changes and is safe for concurrent use.
type Machine struct {
	Data
	facts   map[string]Fact
	derived set // bits of derived facts
	stepAt  map[string]int
	stateAt map[string]int
	changes map[string]int
	proofAt map[string]int
	start   set
	meter   int // the proof that the meter's reading is
}

// New checks the data and makes them ready; bad lists what is wrong with them.
func New(d Data) (m *Machine, bad []string) {
	m = &Machine{Data: d, facts: map[string]Fact{}, stepAt: map[string]int{}, stateAt: map[string]int{}, changes: map[string]int{}, proofAt: map[string]int{}, meter: -1}
	l := &maker{m: m}
	l.make()
	return m, l.wrong
}

type maker struct {
	m     *Machine
	wrong []string
	where string
}

func (l *maker) bad(format string, args ...any) {
	l.wrong = append(l.wrong, "energy.json: "+l.where+": "+fmt.Sprintf(format, args...))
}

// name gives a fact its bit.
func (l *maker) name(id string) Fact {
	f, ok := l.m.facts[id]
	if !ok {
		f = Fact(len(l.m.facts))
		l.m.facts[id] = f
		if f >= 64 {
			l.bad("more than 64 facts")
		}
	}
	return f
}

// fact finds one that something can make true.
func (l *maker) fact(id string) Fact {
	f, ok := l.m.facts[id]
	if !ok {
		l.bad("no fact %q", id)
	}
	return f
}

func (l *maker) bits(ids []string) (s set) {
	for _, id := range ids {
		s |= 1 << l.fact(id)
	}
	return s
}

func (l *maker) cond(ids []string) (c condition) {
	for _, id := range ids {
		if rest, no := strings.CutPrefix(id, "!"); no {
			c.no |= 1 << l.fact(rest)
		} else {
			c.yes |= 1 << l.fact(id)
		}
	}
	return c
}

func (l *maker) make() {
	m := l.m
	for _, id := range names {
		l.name(id)
	}
	l.declareFacts()
	for i := range m.Proofs {
		l.proof(&m.Proofs[i])
	}
	for i := range m.Derived {
		l.where = m.Derived[i].ID
		l.derive(&m.Derived[i])
	}
	l.where = "start"
	m.start = l.bits(m.Begin)
	for i := range m.Changes {
		m.changes[m.Changes[i].ID] = i
	}
	for i := range m.Changes {
		l.rules(m.Changes[i].ID, m.Changes[i].Rules)
	}
	l.rules("always", m.Always)
	l.rules("rule", m.Rules)
	l.steps()
	l.states()
	if len(m.Proofs) > most {
		l.bad("more than %d proofs", most)
	}
}

// declareFacts gives every fact that something sets its bit, before any is used.
func (l *maker) declareFacts() {
	m := l.m
	sets := func(rules []Rule) {
		for _, r := range rules {
			for _, id := range r.Set {
				l.name(id)
			}
		}
	}
	for _, id := range m.Begin {
		l.name(id)
	}
	for i := range m.Proofs {
		p := &m.Proofs[i]
		m.proofAt[p.ID] = i
		for j := range p.Reads {
			r := &p.Reads[j]
			r.read, r.sure = l.name(r.ID), l.name(r.ID+"_sure")
			p.all |= 1<<r.read | 1<<r.sure
		}
		if p.ID == "meter" {
			m.meter = i
			p.all = 1 << Meter
		}
	}
	for _, c := range m.Changes {
		sets(c.Rules)
	}
	sets(m.Always)
	sets(m.Rules)
	for _, s := range m.Steps {
		if s.Absent != "" {
			l.name(s.Absent)
		}
	}
	for _, d := range m.Derived {
		m.derived |= 1 << l.name(d.ID)
	}
}

func (l *maker) proof(p *Proof) {
	l.where = "proof " + p.ID
	p.cond = l.cond(p.If)
	p.limit = time.Duration(p.Minutes * float64(time.Minute))
	if p.Minutes <= 0 || p.Source == "" || p.Name == "" {
		l.bad("needs a name, minutes and a source")
	}
	for _, r := range p.Reads {
		if len(r.At) != len(r.Of) || len(r.At) == 0 || p.Below <= 0 {
			l.bad("%s needs places with their quantities, and volts", r.ID)
		}
	}
}

func (l *maker) derive(d *Derived) {
	d.is, d.all = l.fact(d.ID), l.cond(d.All)
	for _, id := range d.Any {
		d.any = append(d.any, l.cond([]string{id}))
	}
}

func (l *maker) rules(where string, list []Rule) {
	for i := range list {
		r := &list[i]
		l.where = fmt.Sprintf("%s %d", where, i+1)
		r.cond, r.set, r.clear, r.do = l.cond(r.If), l.bits(r.Set), l.bits(r.Clear), -1
		if (r.set|r.clear)&l.m.derived != 0 {
			l.bad("what is derived is neither set nor cleared")
		}
		for _, id := range r.Lapse {
			if id == "all" {
				for p := range l.m.Proofs {
					r.lapse = append(r.lapse, p)
				}
			} else if p, ok := l.m.proofAt[id]; ok {
				r.lapse = append(r.lapse, p)
			} else {
				l.bad("no proof %q", id)
			}
		}
		if r.Do != "" {
			at, ok := l.m.changes[r.Do]
			if !ok {
				l.bad("no change %q", r.Do)
			}
			r.do = at
		}
	}
}

func (l *maker) steps() {
	m := l.m
	for i := range m.Steps {
		m.stepAt[m.Steps[i].ID] = i
	}
	for i := range m.Steps {
		s := &m.Steps[i]
		l.where = "step " + s.ID
		if len(s.Done) == 0 {
			l.bad("nothing tells when it is done")
		}
		s.done, s.other = l.cond(s.Done), -1
		s.said = map[catalogue.DeclarationID]condition{}
		for d, id := range s.Said {
			s.said[d] = l.cond([]string{id})
		}
		if s.Else != "" {
			at, ok := m.stepAt[s.Else]
			if !ok {
				l.bad("no step %q", s.Else)
			}
			s.other, s.when = at, l.cond([]string{s.If})
		}
		if s.Absent != "" {
			s.absent = l.bits([]string{s.Absent})
		}
	}
}

func (l *maker) states() {
	m := l.m
	for i := range m.States {
		m.stateAt[m.States[i].ID] = i
	}
	for i := range m.States {
		s := &m.States[i]
		l.where = "state " + s.ID
		s.steps = l.needs(nil, s, 0)
		proved := false
		for _, at := range s.steps {
			proved = proved || m.Steps[at].Place == m.Source.Place
		}
		if s.Hands && !proved {
			l.bad("hands without a proof")
		}
	}
}

func (l *maker) needs(out []int, s *Level, depth int) []int {
	for _, id := range s.Needs {
		if of, ok := strings.CutPrefix(id, "@"); ok {
			at, ok := l.m.stateAt[of]
			if !ok || depth > 4 {
				l.bad("no state %q", of)
				continue
			}
			out = l.needs(out, &l.m.States[at], depth+1)
			continue
		}
		at, ok := l.m.stepAt[id]
		if !ok {
			l.bad("no step %q", id)
		}
		if !slices.Contains(out, at) {
			out = append(out, at)
		}
	}
	return out
}
