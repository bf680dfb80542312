package energy

import (
	"slices"

	"callout/catalogue"
)

// Step gives the index of a step by its id; it must be in the data.
func (m *Machine) Step(id string) int { return m.stepAt[id] }

// State gives the index of a state by its id.
func (m *Machine) State(id string) (int, bool) {
	at, ok := m.stateAt[id]
	return at, ok
}

// Level gives a state by its id; it must be in the data.
func (m *Machine) Level(id string) *Level { return &m.States[m.stateAt[id]] }

// Bleeds reports whether a state is not come to without the outdoor unit's capacitor bled.
func (m *Machine) Bleeds(id string) bool {
	return slices.ContainsFunc(m.Level(id).steps, func(at int) bool { return slices.Contains(m.Steps[at].Declare, "capacitor_bled") })
}

// Needs lists the steps of a state in order.
func (m *Machine) Needs(id string) []int { return m.Level(id).steps }

// Said reports whether what a step declares was said already.
func (m *Machine) Said(s *State, step int, d catalogue.DeclarationID) bool {
	c, ok := m.Steps[step].said[d]
	return ok && c.of(s.facts)
}

// Path appends the steps that still lead to a state, in order. A step that
// touches wires first leads to dead, bled and proved.
func (m *Machine) Path(out []int, s *State, state string) []int {
	l := m.Level(state)
	hands := false
	for _, at := range l.steps { // in a state of hands they come after its proof anyway
		st := &m.Steps[at]
		hands = hands || st.Touches && !l.Hands && !st.done.of(s.facts)
	}
	if hands && !(s.Is(OutdoorDead) && s.Is(CapacitorDead)) {
		out = m.open(out, s, m.Level("dead_bled"))
		dead := *s
		m.change(&dead, 0, 1<<Disconnect) // what is made dead has to be made live again
		s = &dead
	}
	return m.open(out, s, l)
}

// open appends the steps of a state that are not done.
func (m *Machine) open(out []int, s *State, l *Level) []int {
	for _, at := range l.steps {
		st := &m.Steps[at]
		if st.done.of(s.facts) {
			continue
		}
		if st.other >= 0 && st.when.of(s.facts) {
			at = st.other
		}
		out = append(out, at)
	}
	return out
}
