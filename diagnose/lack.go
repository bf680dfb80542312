package diagnose

import (
	"math"
	"slices"
	"strings"

	"callout/catalogue"
)

// lacks notes what can't be done: a step, a nameplate value, or the test itself.
func (s *state) lacks(test int, l *Lack) {
	if l != nil && l.Absent && l.Quantity+catalogue.QuantityID(l.Declare) != "" && s.k.energy.Absent(&s.energy, l.Declare, l.Quantity, l.Place) {
		return
	}
	if l != nil && l.Absent && test >= 0 && s.k.standsIn(&s.k.tests[test], Input{Quantity: l.Quantity, Place: l.Place}) {
		s.unread[Input{Quantity: l.Quantity, Place: l.Place}] = true // the plate has none: something stands in for it
		return
	}
	if l != nil && !l.Absent && s.lacksOther(test, l) {
		return
	}
	if test >= 0 && !s.doesWithout(&s.k.tests[test]) {
		s.cannot[test] = true
		s.refused[test]++
		s.absent[test] = l != nil && l.Absent
	}
}

// lacksOther notes what can't be done where that is a nameplate value or a step, and not
// the test itself.
func (s *state) lacksOther(test int, l *Lack) bool {
	in := Input{Quantity: l.Quantity, Place: l.Place}
	if test < 0 && l.Quantity == "mode" || test >= 0 && s.k.consults(&s.k.tests[test], in) {
		s.unread[in] = true
		return true
	}
	steps := s.k.stepsOf(l)
	for _, at := range steps {
		s.barred[at] = true
	}
	return len(steps) > 0
}

// doesWithout notes the last reading of the windings as one that can't be had, where the
// two from common tell without it.
func (s *state) doesWithout(t *Test) bool {
	if t.Value != "windings" {
		return false
	}
	last := t.Inputs[len(t.Inputs)-1]
	run, ok := s.feed(t, Input{Quantity: t.Quantity, Place: t.Place}, s.epoch)
	start, also := s.feed(t, t.Inputs[0], s.epoch)
	if _, read := s.feed(t, last, s.epoch); read || !ok || !also || s.unread[last] {
		return false
	}
	if run.qualifier == catalogue.OpenLine && start.qualifier == catalogue.OpenLine {
		return false
	}
	s.unread[last] = true
	return true
}

// consults reports whether a nameplate value is one that a test's readings are
// held against.
func (k *Knowledge) consults(t *Test, in Input) bool {
	for _, id := range t.Refs {
		if markedRef(id) && in == (Input{Quantity: catalogue.QuantityID(id), Place: "unit"}) {
			return true
		}
	}
	for _, id := range t.Wants {
		if r := k.refs[k.refAt[id]]; in == (Input{Quantity: r.Quantity, Place: r.Place}) {
			return true
		}
	}
	if t.AskRef == "" {
		return false
	}
	r := k.refs[k.refAt[t.AskRef]]
	return in == Input{Quantity: r.Quantity, Place: r.Place}
}

// wants reports whether a test's own nameplate values bear on it in this season: the
// target of a subcooling is one for cooling.
func (s *state) wants(t *Test) bool { return t.Value != "subcooling" || s.mode() != "heating" }

// standsIn reports whether a nameplate value is one that a test does without: that the
// plate has none says nothing of a part.
func (k *Knowledge) standsIn(t *Test, in Input) bool {
	for _, id := range t.Wants {
		if r := k.refs[k.refAt[id]]; in == (Input{Quantity: r.Quantity, Place: r.Place}) {
			return true
		}
	}
	return slices.ContainsFunc(t.Refs, func(id string) bool {
		return guessedRef(id) && in == Input{Quantity: catalogue.QuantityID(id), Place: "unit"}
	})
}

// stepsOf lists the energy steps that a lack names.
func (k *Knowledge) stepsOf(l *Lack) []int {
	var out []int
	for i, s := range k.energy.Steps {
		if l.Quantity != "" && s.Quantity == l.Quantity && s.Place == l.Place || l.Declare != "" && slices.Contains(s.Declare, l.Declare) {
			out = append(out, i)
		}
	}
	return out
}

// freed takes back that a step can't be done, once it is.
func (s *state) freed(l Lack) {
	if len(s.barred) == 0 {
		return
	}
	for _, at := range s.k.stepsOf(&l) {
		delete(s.barred, at)
	}
}

// barred reports whether the way to an energy state holds a step that can't be
// done here.
func (v *view) barred(state string) bool {
	if v.keptOff(state) {
		return true
	}
	for _, at := range v.path(state) {
		if v.s.barred[at] {
			return true
		}
	}
	return false
}

// blocked names the first step that can't be done on the way to a state.
func (v *view) blocked(state string) string {
	for _, at := range v.path(state) {
		if v.s.barred[at] {
			return v.k.energy.Steps[at].Needs
		}
	}
	return ""
}

// hopeless reports whether a test needs a nameplate value that can't be read,
// and shows nothing without it.
func (v *view) hopeless(t *Test) bool {
	for _, r := range t.Refs {
		in := Input{Quantity: catalogue.QuantityID(r), Place: "unit"}
		if markedRef(r) && !guessedRef(r) && v.s.mark(in.Quantity) == "" && v.s.unread[in] {
			return true
		}
	}
	return t.AskRef != "" && len(t.Blind) == 0 && v.s.withoutRef(t)
}

// withoutRef reports whether the nameplate value that a test asks for can't be
// read.
func (s *state) withoutRef(t *Test) bool {
	if _, known := s.ref(t.AskRef); known {
		return false
	}
	r := s.k.refs[s.k.refAt[t.AskRef]]
	return s.unread[Input{Quantity: r.Quantity, Place: r.Place}]
}

// untested names the tests that could not be done, of those that would show a
// fault; all of them where nothing is found wrong.
func (v *view) untested(f int) string {
	var names []string
	add := func(test int) {
		t := &v.k.tests[test]
		if v.s.cannot[test] && !v.s.absent[test] && t.applies(v.on) && !slices.Contains(names, t.Name) {
			names = append(names, t.Name)
		}
	}
	for _, all := range v.k.confirm[f] {
		for _, c := range all {
			add(c.test)
		}
	}
	for i := range v.k.tests {
		if v.k.faults[f].Normal {
			add(i)
		}
	}
	return strings.Join(names, ", ")
}

// onlyPlate reports whether a test's readings are in, and only the nameplate is
// still to be read.
func (v *view) onlyPlate(t *Test) bool {
	missing := v.missing(t)
	for _, in := range missing {
		if q, _ := v.k.cat.Quantity(in.Quantity); q.Kind != catalogue.Rated && q.Kind != catalogue.Marked || in.Quantity == t.Quantity {
			return false
		}
	}
	return len(missing) > 0
}

// missingPart reports whether the part that a need is about is not fitted.
func (v *view) missingPart(n need) bool {
	for _, id := range n.Measure {
		if v.s.absent[v.k.testAt[id]] {
			return true
		}
	}
	return false
}

// impossible reports whether none of a need's tests is left to do: none can be done
// here, or what they showed tells nothing of it. What they showed against it stands.
func (v *view) impossible(n need) bool {
	for _, id := range n.Measure {
		if o := v.standing[v.k.testAt[id]]; o != nil && o.done && o.counts && o.sure && !v.cooled(v.k.testAt[id], o) {
			return false
		}
	}
	for _, id := range n.Measure { // what was read, if in no state that counts, is not beyond reading
		t := &v.k.tests[v.k.testAt[id]]
		for at := v.s.newest[Input{Quantity: t.Quantity, Place: t.Place}]; at > 0; at = v.s.records[at-1].before {
			r := &v.s.records[at-1]
			if r.epoch < v.s.epoch {
				break
			}
			if !v.s.usable(t, r) {
				return false
			}
		}
	}
	return !slices.ContainsFunc(n.Measure, func(id TestID) bool {
		at := v.k.testAt[id]
		o := v.standing[at]
		return !v.s.cannot[at] && !v.barred(v.k.tests[at].State) && (o == nil || !o.done || o.again)
	})
}

// inVain reports whether a test was answered twice since the last repair and no answer
// was taken in the state that it needs: a third would be no better.
func (v *view) inVain(i int) bool {
	if o := &v.epochs[v.s.epoch][i]; o.done {
		return false
	}
	t := &v.k.tests[i]
	n := 0
	for at := v.s.newest[Input{Quantity: t.Quantity, Place: t.Place}]; at > 0 && n < 2; at = v.s.records[at-1].before {
		if r := &v.s.records[at-1]; r.epoch == v.s.epoch && !v.s.usable(t, r) {
			n++
		}
	}
	return n >= 2
}

// untold reports whether the nameplate value that a need's tests are held against can't be
// read.
func (v *view) untold(n need) bool {
	return len(n.Measure) > 0 && !slices.ContainsFunc(n.Measure, func(id TestID) bool { return !v.s.withoutRef(&v.k.tests[v.k.testAt[id]]) })
}

// blind judges a reading by itself, where the nameplate value that it should be
// held against is not known. It reports false where that tells nothing.
func (s *state) blind(t *Test, o *outcome, r record) bool {
	at := -1
	for j, c := range t.Blind {
		end := math.Inf(1)
		if c.To != nil {
			end = *c.To
		}
		if c.Of != "" {
			v, known := s.ref(c.Of)
			if !known {
				return false
			}
			end *= v
		}
		if r.value <= end {
			at = j
			break
		}
	}
	if at < 0 || t.Blind[at].ID == "" || r.qualifier == "open_line" {
		return false
	}
	o.top = t.class(t.Blind[at].ID)
	o.weights[o.top] = 1
	o.text = s.fill(t, t.Blind[at].Say, r, nil)
	return true
}
