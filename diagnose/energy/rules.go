package energy

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"callout/catalogue"
)

// Warning is what does not fit.
type Warning struct {
	ID   string // "contradicts_energy" or "not_ready"
	Text string
}

// The ids of warnings.
const (
	Contradicts = "contradicts_energy"
	NotReady    = "not_ready"
	Lapsed      = "proof_lapsed"
)

// Start is the state in which a job begins.
func (m *Machine) Start() State {
	var s State
	m.change(&s, m.start, 0)
	return s
}

// Declare takes a declaration at a time and tells what does not fit.
func (m *Machine) Declare(s *State, d catalogue.DeclarationID, at time.Time) []Warning {
	return m.run(s, m.Rules, event{declare: d, at: at})
}

// Observe takes what was seen or heard.
func (m *Machine) Observe(s *State, o catalogue.Observation, at time.Time) []Warning {
	return m.run(s, m.Rules, event{quantity: o.Quantity, place: o.Place, value: o.Value, at: at})
}

// Repaired takes a repair that is told as done; supply says that it worked on the
// supply.
func (m *Machine) Repaired(s *State, r catalogue.RepairID, supply bool, at time.Time) []Warning {
	return m.run(s, m.Rules, event{repair: r, supply: supply, at: at})
}

// Read takes a meter reading; sure is false where it was not heard clearly, so that
// nothing is proved by it.
func (m *Machine) Read(s *State, r catalogue.Reading, sure bool, at time.Time) []Warning {
	out := m.run(s, m.Rules, event{quantity: r.Quantity, place: r.Place, reading: &r, at: at})
	if r.Quantity == m.Source.Quantity && r.Place == m.Source.Place {
		return append(out, m.source(s, r, sure, at)...)
	}
	return append(out, m.prove(s, r, sure, at)...)
}

// Absent takes that the part of a step is not there: false if it has none that can
// be lacking.
func (m *Machine) Absent(s *State, d catalogue.DeclarationID, q catalogue.QuantityID, p catalogue.PlaceID) bool {
	for i := range m.Steps {
		st := &m.Steps[i]
		if is := q != "" && st.Quantity == q && st.Place == p || d != "" && slices.Contains(st.Declare, d); is && !st.absent.none() {
			m.change(s, st.absent, 0)
			return true
		}
	}
	return false
}

// source takes a reading of the known source: it proves the meter, and with it
// what the meter has read since it was proved before.
func (m *Machine) source(s *State, r catalogue.Reading, sure bool, at time.Time) []Warning {
	steady := r.Qualifier == "" || r.Qualifier == catalogue.Nothing
	if !steady || r.Value < m.Source.From {
		return []Warning{{Contradicts, strings.TrimSpace(m.Lines.MeterFailed + " " + m.Named(m.Lapse(s)))}}
	}
	if !sure {
		return []Warning{{NotReady, m.Lines.Unclear}}
	}
	var more set
	for i := range m.Proofs {
		for _, x := range m.Proofs[i].Reads {
			if s.Is(x.read) {
				more |= 1 << x.sure
			}
		}
	}
	if m.meter >= 0 {
		s.since[m.meter] = at
	}
	m.change(s, more|1<<Meter, 0)
	return nil
}

// prove takes a reading of nothing for each proof that it belongs to, and warns where it
// proves nothing.
func (m *Machine) prove(s *State, r catalogue.Reading, sure bool, at time.Time) []Warning {
	var warn []Warning
	taken := false
	for i := range m.Proofs {
		p := &m.Proofs[i]
		for _, x := range p.Reads {
			if !x.takes(r) || !nothing(r, p.Below) || r.Qualifier == catalogue.Unsteady {
				continue
			}
			switch {
			case !sure:
				return []Warning{{NotReady, m.Lines.Unclear}}
			case !p.cond.of(s.facts):
				if s.Is(OutdoorOff) && !s.Is(OutdoorLock) && slices.Contains(p.If, "outdoor_locked") || s.Is(IndoorOff) && slices.Contains(p.If, "lock_indoor") {
					warn = []Warning{{NotReady, m.Lines.NotLocked}}
				}
				continue // a finding about the supply, no proof of anything
			case !s.Is(Meter):
				warn = []Warning{{NotReady, m.Lines.NoMeter}}
				continue
			}
			m.read(s, i, x, at)
			taken = true
		}
	}
	if taken {
		return nil
	}
	return warn
}

// read notes what one reading of nothing proves for proof i.
func (m *Machine) read(s *State, i int, x Read, at time.Time) {
	p := &m.Proofs[i]
	if (s.facts & p.all).none() {
		s.since[i] = at
		if m.meter >= 0 && s.since[m.meter].Before(at) {
			s.since[i] = s.since[m.meter] // it is as old as what proved its meter
		}
	}
	add := set(1) << x.read
	if p.Once {
		add |= 1 << x.sure
	}
	m.change(s, add, 0)
}

func (x *Read) takes(r catalogue.Reading) bool {
	for i, p := range x.At {
		if p == r.Place && x.Of[i] == string(r.Quantity) {
			return true
		}
	}
	return false
}

// nothing reports whether a meter reading is none, below a limit.
func nothing(r catalogue.Reading, below float64) bool {
	return r.Qualifier == catalogue.Nothing || r.Qualifier == "" && r.Value < below && r.Value > -below
}

// event is one thing that happened, for the rules.
type event struct {
	declare  catalogue.DeclarationID
	repair   catalogue.RepairID
	supply   bool
	quantity catalogue.QuantityID
	place    catalogue.PlaceID
	value    catalogue.ValueID
	reading  *catalogue.Reading
	at       time.Time
}

func (r *Rule) matches(e event) bool {
	switch {
	case len(r.Declare) > 0:
		return slices.Contains(r.Declare, e.declare)
	case r.Supply:
		return e.supply
	case len(r.Repair) > 0:
		return slices.Contains(r.Repair, e.repair)
	case len(r.Quantity) == 0 || !slices.Contains(r.Quantity, e.quantity), len(r.Place) > 0 && !slices.Contains(r.Place, e.place):
		return false
	case r.From > 0:
		return e.reading != nil && e.reading.Qualifier != catalogue.Nothing && (e.reading.Value >= r.From || e.reading.Qualifier == catalogue.Unsteady) // what swings may be anything
	case len(r.Value) > 0:
		return slices.Contains(r.Value, e.value)
	case len(r.Not) > 0:
		return e.value != "" && !slices.Contains(r.Not, e.value)
	}
	return true
}

// run does every rule that matches, in order.
func (m *Machine) run(s *State, rules []Rule, e event) []Warning {
	var out []Warning
	for i := range rules {
		if r := &rules[i]; r.matches(e) && r.cond.of(s.facts) {
			out = append(out, m.do(s, r, e)...)
		}
	}
	return out
}

func (m *Machine) do(s *State, r *Rule, e event) []Warning {
	var out []Warning
	if r.Warn != "" {
		id := r.As
		if id == "" {
			id = Contradicts
		}
		value := ""
		if e.reading != nil {
			value = strconv.FormatFloat(e.reading.Value, 'f', -1, 64)
		}
		out = append(out, Warning{id, strings.NewReplacer("{value}", value, "{place}", strings.ReplaceAll(string(e.place), "_", " ")).Replace(r.Warn)})
	}
	if r.do >= 0 {
		for i := range m.Changes[r.do].Rules {
			if c := &m.Changes[r.do].Rules[i]; c.cond.of(s.facts) {
				out = append(out, m.do(s, c, e)...)
			}
		}
	}
	gone := r.clear
	for _, p := range r.lapse {
		gone |= m.Proofs[p].all
	}
	m.change(s, r.set, gone)
	return out
}

// change sets and clears facts, and works out what follows from them.
func (m *Machine) change(s *State, on, off set) {
	s.facts = s.facts&^off | on
	m.derive(s)
	for i := range m.Always {
		r := &m.Always[i]
		if !r.cond.of(s.facts) {
			continue
		}
		gone := r.clear
		for _, p := range r.lapse {
			gone |= m.Proofs[p].all
		}
		if s.facts&gone != 0 || s.facts&r.set != r.set {
			s.facts = s.facts&^gone | r.set
			m.derive(s)
		}
	}
	for i := range m.Proofs {
		if (s.facts & m.Proofs[i].all).none() {
			s.since[i] = time.Time{}
		}
	}
	s.view()
}

func (m *Machine) derive(s *State) {
	for i := range m.Derived {
		d := &m.Derived[i]
		holds := d.all.of(s.facts)
		if len(d.any) > 0 {
			holds = holds && slices.ContainsFunc(d.any, func(c condition) bool { return c.of(s.facts) })
		}
		s.facts &^= 1 << d.is
		if holds {
			s.facts |= 1 << d.is
		}
	}
}

// Lapse takes back every proof, and names those that stood.
func (m *Machine) Lapse(s *State) []string {
	var gone set
	for i := range m.Proofs {
		gone |= m.Proofs[i].all
	}
	return m.drop(s, gone)
}

// Named says which proofs stand no more; "" for none.
func (m *Machine) Named(proofs []string) string {
	if len(proofs) == 0 {
		return ""
	}
	return strings.ReplaceAll(m.Lines.Lapsed, "{what}", strings.Join(proofs, "; "))
}

// Age takes back the proofs that are older at a time than they may be, and names
// those that stood.
func (m *Machine) Age(s *State, now time.Time) []string {
	var gone set
	for i := range m.Proofs {
		p := &m.Proofs[i]
		if !(s.facts & p.all).none() && now.Sub(s.since[i]) > p.limit {
			gone |= p.all
		}
	}
	if gone == 0 {
		return nil
	}
	return m.drop(s, gone)
}

// drop takes facts back and names the proofs that stood whole and do no more.
func (m *Machine) drop(s *State, gone set) []string {
	was := s.facts
	m.change(s, 0, gone)
	var names []string
	for i := range m.Proofs {
		if p := &m.Proofs[i]; i != m.meter && was&p.all != 0 && s.facts&p.all != was&p.all {
			names = append(names, p.Name)
		}
	}
	return names
}

// Lapses is when the first of the proofs that stand lapses; ok is false if none
// stands.
func (m *Machine) Lapses(s *State) (at time.Time, name string, ok bool) {
	for i := range m.Proofs {
		p := &m.Proofs[i]
		if i == m.meter || (s.facts & p.all).none() {
			continue
		}
		if until := s.since[i].Add(p.limit); !ok || until.Before(at) {
			at, name, ok = until, p.Name, true
		}
	}
	return at, name, ok
}

// Meet takes back of s what is proved there and not in o: what was struck may
// lower what is proved, and never raise it. It names the proofs that stood.
func (m *Machine) Meet(s, o *State) []string {
	var all, bled set
	for i := range m.Proofs {
		all |= m.Proofs[i].all
	}
	bled = 1 << CapacitorBled
	return m.drop(s, s.facts&(all|bled)&^o.facts)
}
