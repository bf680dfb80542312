package diagnose

import "slices"

// path is the way to an energy state from here.
func (v *view) path(state string) []int {
	w := &v.s.ways[v.k.stateAt[state]]
	if !w.known {
		*w = wayTo{true, v.k.energy.Path(w.steps[:0], &v.s.energy, state)}
	}
	return w.steps
}

// course is the way to an energy state from where the unit was settled.
func (v *view) course(state string) []int {
	if v.from == &v.s.energy {
		return v.path(state)
	}
	w := &v.s.courses[v.k.stateAt[state]]
	if !w.known {
		*w = wayTo{true, v.k.energy.Path(w.steps[:0], v.from, state)}
	}
	return w.steps
}

// onCourse reports whether a step is one of those that led from where the unit was
// settled to a test, so that nothing but steps towards it was done since.
func (v *view) onCourse(n Next) bool {
	if n.Kind != DoMakeSafe && n.Kind != DoEnergise || n.Test == "" {
		return true
	}
	state := v.k.tests[v.k.testAt[n.Test]].State
	left, course := v.path(state), v.course(state)
	return len(left) <= len(course) && slices.Equal(left, course[len(course)-len(left):])
}

// wayTo is the way to an energy state, once it was asked for in a look.
type wayTo struct {
	known bool
	steps []int
}

// undoes reports whether a way makes something live that was made safe.
func (v *view) undoes(path []int) bool {
	for _, at := range path {
		switch v.k.energy.Steps[at].ID {
		case "lock_off", "disconnect_in", "air_handler_on":
			return true
		}
	}
	return false
}
