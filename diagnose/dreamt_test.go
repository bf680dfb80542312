package diagnose

import (
	"maps"
	"math"
	"slices"
	"time"

	"callout/catalogue"
)

// dreamt is a call that goes on in the search alone.
type dreamt struct {
	state *state
	now   time.Time
	shown map[int]outcome // what no reading was made up for
	seq   uint64
}

// copied copies a state into another one, whose room it takes.
func copied(s, into *state) *state {
	if into == nil {
		into = newState(s.k)
	}
	was := *into
	out := *s
	out.rated, out.cannot, out.absent = maps.Clone(s.rated), maps.Clone(s.cannot), maps.Clone(s.absent)
	out.barred, out.unread = maps.Clone(s.barred), maps.Clone(s.unread)
	out.records = append(was.records[:0], s.records...)
	out.newest, out.ranIn = maps.Clone(s.newest), maps.Clone(s.ranIn)
	out.repairs, out.wasHot = slices.Clone(s.repairs), slices.Clone(s.wasHot)
	out.trips, out.warnings = slices.Clone(s.trips), nil
	out.fed = append(was.fed[:0], s.fed...)
	out.understood = nil
	for _, u := range s.understood {
		out.understood = append(out.understood, understood{from: u.from, outs: slices.Clone(u.outs), fed: slices.Clone(u.fed)})
	}
	p := posterior{on: s.posterior.on, version: max(s.posterior.version, was.posterior.version) + 1, steps: slices.Clone(s.posterior.steps), mass: was.posterior.mass}
	for _, found := range s.posterior.found {
		p.found = append(p.found, slices.Clone(found))
	}
	for _, m := range s.posterior.kept {
		p.kept = append(p.kept, milestone{m.after, slices.Clone(m.mass)})
	}
	out.posterior = p
	out.outs, out.standing, out.ranking, out.outlook, out.rivalry = was.outs, was.standing, was.ranking, was.outlook, rivalry{}
	out.ranking.of, out.outlook.belief = 0, 0
	out.doable, out.missed, out.ways, out.courses = was.doable, was.missed, was.ways, was.courses
	*into = out
	return into
}

// look is a look at the state with what was shown laid over it.
func (d *dreamt) look() *view {
	s := d.state
	v := &view{k: s.k, s: s, now: d.now, from: &s.energy, on: s.circumstances(), shorted: s.shorted()}
	s.forget()
	for e := 0; e <= s.epoch; e++ {
		v.epochs = append(v.epochs, s.outcomes(e, v.on))
	}
	for t, o := range d.shown {
		v.epochs[s.epoch][t] = o
	}
	v.conflicts()
	v.stand()
	v.believe()
	return v
}

func (d *dreamt) add(e Event) {
	if d.seq == 0 {
		d.seq = 1 << 40
	}
	d.seq++
	e.Seq, e.At = d.seq, d.now
	d.state.apply(e)
}

// turn is what the engine does next.
func (d *dreamt) turn() *turn {
	v := d.look()
	if faults := v.earned(enough); len(faults) > 0 {
		return &turn{ended: true, faults: faults}
	}
	var a Assessment
	next := v.next(&a)
	switch {
	case a.Verdict != nil:
		t := &turn{ended: true}
		for _, id := range a.Verdict.Faults {
			t.faults = append(t.faults, slices.IndexFunc(v.k.faults, func(f Fault) bool { return f.ID == id }))
		}
		return t
	case next.Test == "": // nothing is found
		return &turn{ended: true}
	}
	return v.turnTo(v.k.testAt[next.Test])
}

// turnTo is the turn at which a test is asked.
func (v *view) turnTo(test int) *turn {
	t := &turn{test: test, variant: v.on.variant, gone: -1}
	if was := v.standing[test]; was != nil && was.done && v.cooled(test, was) {
		t.gone = was.top
	}
	return t
}

// answer takes the unit to a test, where it shows a class.
func (d *dreamt) answer(i, class int, anew bool) {
	s := d.state
	t := &s.k.tests[i]
	d.reach(t.State)
	v := &view{k: s.k, s: s, now: d.now}
	if t.Operating && t.State != "indoor_run" {
		d.now = d.now.Add(v.restartWait())
	}
	if anew {
		d.now = d.now.Add(v.coolWait())
	}
	d.now = d.now.Add(time.Duration(t.Minutes * float64(time.Minute)))
	delete(d.shown, i)
	if e, ok := d.made(t, class); ok {
		d.add(e)
		if o := s.outcomes(s.epoch, s.circumstances())[i]; o.done && o.counts && o.top == class {
			return
		}
	}
	d.seq++
	o := outcome{done: true, counts: true, sure: true, heard: 1, seq: d.seq, at: d.now, segment: s.segment, epoch: s.epoch, top: class, weights: make([]float64, len(t.Classes))}
	o.weights[class] = 1
	d.shown[i] = o
	if id := t.Classes[class].ID; (id == "locked" || t.Timers[id] == "overload_cooling") && s.hotSince.IsZero() {
		s.hotSince = d.now
	}
	s.settled = s.energy
}

// made makes up what somebody says where a test shows a class; ok is false where
// it takes several readings, or a value off the nameplate that is not known.
func (d *dreamt) made(t *Test, class int) (Event, bool) {
	q, _ := d.state.k.cat.Quantity(t.Quantity)
	if !q.Kind.Numeric() {
		for _, x := range q.Values {
			if t.outcome(x.ID) == t.Classes[class].ID {
				return Event{Observation: &catalogue.Observation{Quantity: t.Quantity, Place: t.Place, Value: x.ID}}, true
			}
		}
		return Event{}, false
	}
	if t.Value != "" || len(t.Inputs) > 0 || t.AskRef != "" {
		return Event{}, false
	}
	low, ok := 0.0, true
	if class > 0 {
		low, ok = d.state.end(t, class-1)
	}
	high, ok2 := d.state.end(t, class)
	if !ok || !ok2 {
		return Event{}, false
	}
	x := (low + high) / 2
	if math.IsInf(high, 1) {
		x = low * 1.2
	}
	r := catalogue.Reading{Quantity: t.Quantity, Place: t.Place, Value: x, Unit: q.Unit}
	return Event{Reading: &r}, d.state.k.cat.CheckReading(r) == nil && d.state.k.cat.Plausible(r)
}

// reach takes the unit to an energy state, step by step.
func (d *dreamt) reach(state string) {
	s := d.state
	for range 40 {
		path := s.k.energy.Path(nil, &s.energy, state)
		if len(path) == 0 {
			return
		}
		step := s.k.energy.Steps[path[0]]
		d.now = d.now.Add(time.Duration(step.Minutes * float64(time.Minute)))
		for _, e := range taking(step) {
			d.add(e)
		}
	}
}
