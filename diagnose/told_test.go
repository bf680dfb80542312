package diagnose

import (
	"maps"
	"math"
	"slices"
	"time"

	"callout/catalogue"
	"callout/diagnose/internal/simulator"
)

// Told is the same knowledge with what the engine must not have: how often each
// fault is the truth of the simulator's calls of one season, and what each test
// then shows, counted over calls from a seed on. It is to tell apart what the
// engine lacks in knowledge from what it lacks in choosing, its gates and when it
// stops, all of which stay its own.
//
// Every test is answered in the energy state that it needs and read as a job reads
// it. A fault that shows itself in several ways keeps them: each call counts for
// the way that the engine's own predictions fit best. What was not met keeps the
// engine's own predictions, which count as much as a few calls, and so does what is
// shown once a breaker or a disconnect found off is on again. Two faults at once are
// as good as never met.
func (k *Knowledge) Told(first uint64, calls int, heating bool) (*Knowledge, error) {
	c := newCounts(k)
	for seed := first; c.calls < calls; seed++ {
		if w := simulator.NewCall(seed, simulator.Setup{}); w.Heating == heating {
			c.count(seed, w.Faults[0])
		}
	}
	share := map[string]float64{}
	for f, n := range c.faults {
		share[string(k.faults[f].ID)] = n / float64(c.calls)
	}
	out, err := k.WithPriors(share)
	if err != nil {
		return nil, err
	}
	c.teach(out.model)
	return out, nil
}

// counts is what the calls showed.
type counts struct {
	k      *Knowledge
	calls  int
	faults []float64                   // by fault
	ways   []float64                   // by way
	shown  [variants][][][]float64     // as the model's rows
	at     map[string]*simulator.World // the call in each state
}

func newCounts(k *Knowledge) *counts {
	c := &counts{k: k, faults: make([]float64, len(k.faults)), ways: make([]float64, len(k.model.ways))}
	for v, ways := range k.model.rows {
		for _, tests := range ways {
			var rows [][]float64
			for _, row := range tests {
				rows = append(rows, make([]float64, len(row)))
			}
			c.shown[v] = append(c.shown[v], rows)
		}
	}
	return c
}

// count plays every test of one call.
func (c *counts) count(seed uint64, truth string) {
	c.at = map[string]*simulator.World{}
	world := func(state string) *simulator.World {
		if c.at[state] == nil {
			c.at[state] = simulator.Stand(seed, simulator.Setup{}, state)
		}
		return c.at[state]
	}
	s := newState(c.k)
	tell := func(w *simulator.World, in Input) bool {
		a := w.Ask(string(in.Quantity), string(in.Place))
		if !a.Can {
			return false
		}
		q, _ := c.k.cat.Quantity(in.Quantity)
		e := Event{Seq: uint64(len(s.records) + 1), At: time.Unix(0, 0).Add(time.Hour)}
		if q.Kind.Numeric() {
			e.Reading = &catalogue.Reading{Quantity: in.Quantity, Place: in.Place, Value: a.Value, Unit: q.Unit, Qualifier: catalogue.Qualifier(a.Qualifier)}
		} else {
			e.Observation = &catalogue.Observation{Quantity: in.Quantity, Place: in.Place, Value: catalogue.ValueID(a.Choice)}
		}
		s.apply(e)
		return true
	}
	for _, q := range c.k.cat.Quantities {
		if q.Kind != catalogue.Rated && q.Kind != catalogue.Marked && q.ID != "mode" {
			continue
		}
		for _, p := range q.Places {
			tell(world("any"), Input{Quantity: q.ID, Place: p})
		}
	}
	on := s.circumstances()
	outs := make([]*outcome, len(c.k.tests))
	plate := *s
	for i := range c.k.tests {
		t := &c.k.tests[i]
		if !t.applies(on) {
			continue
		}
		*s = plate // each test by itself, on a unit just met
		s.newest = maps.Clone(plate.newest)
		w := world(simulatedState(t))
		if t.State == "ready" {
			w = simulator.Stand(seed, simulator.Setup{}, "any")
		}
		s.energy = c.k.energy.Start()
		switch t.State {
		case "isolated":
			c.k.energy.Declare(&s.energy, "compressor_plug_off", start)
		case "run_kit":
			c.k.energy.Declare(&s.energy, "start_kit_on", start)
		}
		ok := tell(w, Input{Quantity: t.Quantity, Place: t.Place})
		for _, in := range s.inputs(t) {
			if _, known := s.feed(t, in, 0); ok && !known {
				ok = tell(w, Input{Quantity: in.Quantity, Place: in.Place})
			}
		}
		if o := s.outcomeOf(i, 0); ok && o.done && o.counts {
			outs[i] = &o
		}
	}
	fault := slices.IndexFunc(c.k.faults, func(f Fault) bool { return string(f.ID) == truth })
	way := c.fits(fault, on.variant, outs)
	c.calls++
	c.faults[fault]++
	c.ways[way]++
	for i, o := range outs {
		if o == nil {
			continue
		}
		for x, p := range o.weights {
			c.shown[on.variant][way][i][x] += p
			if t := &c.k.tests[i]; on.variant&wideBit == 0 && t.Value != "subcooling" {
				c.shown[on.variant|wideBit][way][i][x] += p // whatever the target is worth
			}
		}
	}
}

// simulatedState is the simulator's state in which a test is answered.
func simulatedState(t *Test) string {
	switch {
	case t.ID == "thermostat", t.ID == "delay", t.State == "any", t.State == "ready", t.State == "rest_gauges":
		return "any"
	case t.State == "isolated", t.State == "indoor_dead", t.State == "run_kit":
		return t.State
	case outdoors(t), t.State == "indoor_run":
		return "run"
	}
	return "dead"
}

// fits is the way of a fault that fits best what the tests showed.
func (c *counts) fits(fault, variant int, outs []*outcome) int {
	best, most := -1, math.Inf(-1)
	for w := range c.k.model.ways {
		if c.k.model.ways[w].fault != fault {
			continue
		}
		var sum float64
		for i, o := range outs {
			if o != nil {
				sum += math.Log(max(o.once(c.k.model.rows[variant][w][i]), 1e-3))
			}
		}
		if sum > most {
			best, most = w, sum
		}
	}
	return best
}

// teach puts what was counted into a model.
func (c *counts) teach(m *model) {
	const few = 2 // calls
	for v := range m.rows {
		for w := range m.rows[v] {
			for t, own := range m.rows[v][w] {
				var n float64
				for _, x := range c.shown[v][w][t] {
					n += x
				}
				row := make([]float64, len(own))
				for x := range row {
					row[x] = (c.shown[v][w][t][x] + few*own[x]) / (n + few)
				}
				m.rows[v][w][t] = row
			}
		}
	}
	for w := range m.ways {
		f := m.ways[w].fault
		if c.faults[f] == 0 {
			continue
		}
		var own, all float64
		for _, x := range m.alone[f] {
			all += x.p
		}
		own = m.ways[w].prior / all
		p := all * (c.ways[w] + few*own) / (c.faults[f] + few)
		m.ways[w].prior, m.priors[w] = p, p
	}
	for f := range m.alone {
		for i := range m.alone[f] {
			m.alone[f][i].p = m.ways[m.alone[f][i].at].prior
		}
	}
	for j := range m.pairs {
		m.priors[len(m.ways)+j] *= 1e-6
	}
	m.compare()
}
