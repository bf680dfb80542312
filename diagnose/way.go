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

// turn is what it costs, in minutes, to come back to how the unit stands once a way was
// gone: 0 where nothing on it is switched.
func (v *view) turn(way []int) float64 {
	var most float64
	for _, at := range way {
		switch v.k.energy.Steps[at].ID {
		case "power_off", "breaker_off", "disconnect_out", "lock_off", "disconnect_in":
			return thereAndBack
		case "call_off", "air_handler_off", "air_handler_on":
			most = stopAndStart
		}
	}
	return most
}

// beforeTurning is what is done before the unit is switched for a test: of what can be
// done as it stands, the test that is likely enough to be wanted later to be worth more
// now than the way back to it.
func (v *view) beforeTurning(c candidate) candidate {
	back := v.turn(v.course(v.k.tests[c.test].State))
	if back == 0 {
		return c
	}
	owed := make([]float64, len(v.k.tests))
	for f, p := range v.marginal {
		if p < 0.01 || v.k.faults[f].Normal {
			continue
		}
		for _, t := range v.wanted(f) {
			owed[t] += p
		}
	}
	if v.condition("compressor_on") { // what is read before a unit is left that has nothing wrong
		var check ProofState
		v.runCheck(&check, map[int]bool{})
		good := v.marginal[v.k.model.ways[v.k.model.noGood].fault]
		for _, item := range check.Items {
			if !item.Done {
				owed[v.k.testAt[item.Test]] += good
			}
		}
	}
	best, most := c, 0.0
	for t, p := range owed {
		state := v.k.tests[t].State
		if p*back <= asking || t == c.test || state == "any" || !v.available(t) || v.turn(v.course(state)) > 0 {
			continue // what can be done in any state can wait
		}
		n := v.candidate(t)
		if gain := min(p, 1)*back - n.cost; gain > most {
			best, most = n, gain
		}
	}
	return best
}
