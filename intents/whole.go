package intents

// wholes reads the phrases that mean one thing by themselves, and commands.
func (s *search) wholes(i int) {
	for _, e := range s.edges[i] {
		switch e.class {
		case isObservation, isDeclaration, isRepair:
			for _, en := range e.entries {
				sl := slots{whole: en, heard: e.heard, qualFor: -1}
				s.emit(shapeWhole, i, e.end, costEdge, sl)
			}
		case isCommand:
			for _, en := range e.entries {
				s.command(i, e.end, en)
			}
		}
	}
}

func (s *search) command(i, j int, en entry) {
	sl := slots{command: en.index, qualFor: -1}
	switch s.p.cat.Commands[en.index].Argument {
	case "number":
		s.emit(shapeCommand, i, j, costEdge+.1, sl)
		j = s.skipFillers(j)
		for _, n := range s.numsAt(j) {
			sl.vals, sl.hasNum, sl.force = n.vals, true, n.sound
			s.emit(shapeCommand, i, n.end, costEdge, sl)
			for _, u := range s.edges[n.end] {
				if u.class == isUnit {
					with := sl
					with.units, with.hasUnit, with.heard = u.members, true, u.heard
					s.emit(shapeCommand, i, u.end, costEdge, with)
				}
			}
		}
		for _, q := range s.edges[j] {
			if q.class == isQualifier {
				with := sl
				with.qual, with.qualFor, with.heard = q.entries[0].qualifier, q.entries[0].index, q.heard
				s.emit(shapeCommand, i, q.end, costEdge, with)
			}
		}
	case "minutes":
		for _, d := range durations(s.toks, j) {
			m := d.vals[0]
			sl.minutes = &m
			s.emit(shapeCommand, i, d.end, costEdge, sl)
		}
	case "text": // taken before the search
	default:
		s.emit(shapeCommand, i, j, costEdge, sl)
	}
}

func (s *search) skipFillers(i int) int {
	for again := true; again; {
		again = false
		for _, e := range s.edges[min(i, len(s.toks))] {
			if e.class == isFiller && e.end > i && len(s.numsAt(i)) == 0 {
				i, again = e.end, true
				break
			}
		}
	}
	return i
}

func (s *search) numsAt(i int) []number {
	if i >= len(s.nums) {
		return nil
	}
	return s.nums[i]
}

// choice reads what stands after an observed value.
func (s *search) choice(start, i int, cost float64, sl slots) {
	if s.steps++; s.steps > maxSteps {
		return
	}
	s.emit(shapeChoice, start, i, cost, sl)
	if i >= len(s.toks) || s.toks[i].before > gapJoin {
		return
	}
	for _, e := range s.edges[i] {
		switch e.class {
		case isUnit: // "nameplate voltage 230 volts"
			if sl.nPlaces < 2 && numbers(s.toks).class(i-1) != numNone {
				s.choice(start, e.end, cost+costEdge, sl)
			}
		case isPlace:
			next := sl
			if s.addPlace(&next, e) {
				c := cost + costEdge
				if !s.boundary(e.end) {
					c += costLoose
				}
				s.choice(start, e.end, c, next)
			}
		case isPreposition:
			s.eachPlaceAfter(e.end, sl, func(end int, with slots) { s.choice(start, end, cost+costEdge, with) })
		}
	}
}

// durations reads a time in minutes: "ten", "ten minutes", "an hour and a half".
func durations(toks []token, i int) (out []number) {
	t := numbers(toks)
	per := map[string]float64{"minute": 1, "minutes": 1, "min": 1, "mins": 1, "hour": 60, "hours": 60, "second": 1. / 60, "seconds": 1. / 60}
	heads := t.at(i)
	if t.class(i) == numA {
		heads = append(heads, number{end: i + 1, vals: []float64{1}})
	}
	for _, n := range heads {
		if len(n.vals) != 1 || n.vals[0] <= 0 || n.sound {
			continue
		}
		if t.class(i) != numA {
			out = append(out, number{end: n.end, vals: n.vals})
		}
		j := n.end
		if t.class(j) == numA { // "half an hour"
			j++
		}
		if j < len(toks) {
			if f, ok := per[toks[j].text]; ok {
				v := n.vals[0] * f
				out = append(out, number{end: j + 1, vals: []float64{tidy(v)}})
				if t.class(j+1) == numAnd && t.class(j+2) == numA && t.class(j+3) == numHalf {
					out = append(out, number{end: j + 4, vals: []float64{tidy(v + f/2)}})
				}
			}
		}
	}
	return out
}
