package diagnose

import (
	"slices"

	"callout/catalogue"
	"callout/diagnose/energy"
	"callout/diagnose/internal/simulator"
)

// Asking is what every question costs beside its minutes.
const Asking = asking

// Ways prices the readings of other policies by the data: the minutes of the test
// with the way to its energy state, from where the unit stands. It is for tests
// and not safe for concurrent use.
type Ways struct {
	k      *Knowledge
	stands []Energy
	known  map[passage]passage
	took   map[passage]float64
}

type passage struct {
	at    int
	state string
}

// NewWays begins with a unit as it is met.
func NewWays(k *Knowledge) *Ways {
	return &Ways{k: k, stands: []Energy{k.energy.Start()}, known: map[passage]passage{}, took: map[passage]float64{}}
}

// Question is what every question costs beside its minutes.
func (w *Ways) Question() float64 { return Asking }

// Ask prices the test that the first of the readings answers, the quickest where
// there are several, and what is to be read beside it.
func (w *Ways) Ask(at int, readings [][2]string) (float64, int) {
	least, then := -1.0, at
	for _, r := range readings[:1] {
		for i := range w.k.tests {
			t := &w.k.tests[i]
			if string(t.Quantity) != r[0] || string(t.Place) != r[1] || t.ProofOnly {
				continue
			}
			minutes, to := w.reach(at, t.State)
			if minutes += t.Minutes + fetchMore*float64(len(readings)-1); least < 0 || minutes < least {
				least, then = minutes, to
			}
		}
	}
	if least < 0 { // no test of its own: it is read where the unit stands
		least = fetchMore * float64(len(readings))
	}
	return least, then
}

// reach takes the unit to an energy state, step by step.
func (w *Ways) reach(at int, state string) (float64, int) {
	key := passage{at, state}
	if to, ok := w.known[key]; ok {
		return w.took[key], to.at
	}
	e := w.stands[at]
	minutes := 0.0
	for range 60 {
		path := w.k.energy.Path(nil, &e, state)
		if len(path) == 0 {
			break
		}
		s := w.k.energy.Steps[path[0]]
		minutes += s.Minutes
		for _, said := range taking(s) {
			if said.Reading != nil {
				w.k.energy.Read(&e, *said.Reading, true, start)
			} else {
				w.k.energy.Declare(&e, said.Declaration, start)
			}
		}
	}
	to := slices.IndexFunc(w.stands, func(x Energy) bool { return x.Same(&e) })
	if to < 0 {
		to = len(w.stands)
		w.stands = append(w.stands, e)
	}
	w.known[key], w.took[key] = passage{to, state}, minutes
	return minutes, to
}

// taking is what is said when a step is taken: what it declares, or the volts that are
// read at it, none but at the source that is known to be live.
func taking(s energy.Step) (said []Event) {
	for _, d := range s.Declare {
		said = append(said, Event{Declaration: d})
	}
	if s.Quantity != "" {
		volts := 0.0
		if s.Place == "known_live" {
			volts = 240
		}
		said = append(said, Event{Reading: &catalogue.Reading{Quantity: s.Quantity, Place: s.Place, Value: volts, Unit: "V"}})
	}
	return said
}

// Protocol lists, for the reference policies, what the gates ask for before a
// compressor is condemned.
func (k *Knowledge) Protocol() simulator.Protocol {
	readings := func(cs ...clause) (out [][2]string) {
		for _, c := range cs {
			t := &k.tests[c.test]
			for _, in := range append([]Input{{Quantity: t.Quantity, Place: t.Place}}, t.Also...) {
				out = append(out, [2]string{string(in.Quantity), string(in.Place)})
			}
		}
		return out
	}
	p := simulator.Protocol{}
	for _, f := range k.faults {
		if f.First == "" || !slices.Contains(f.Repairs, "replace_compressor") {
			continue
		}
		gate := k.gates[k.gateAt[f.First]]
		needs := gate.Needs
		if gate.After != "" {
			needs = slices.Concat(k.gates[k.gateAt[gate.After]].Needs, needs)
		}
		for _, n := range needs {
			if len(n.any) > 0 {
				p[string(f.ID)] = append(p[string(f.ID)], simulator.Need{Any: readings(n.any...), Fitted: n.Absent})
			}
			for _, c := range n.all {
				p[string(f.ID)] = append(p[string(f.ID)], simulator.Need{Any: readings(c), Fitted: n.Absent})
			}
		}
	}
	return p
}

// WithPriors is the same knowledge with other frequencies of the faults.
func (k *Knowledge) WithPriors(share map[string]float64) (*Knowledge, error) {
	out := *k
	out.faults = slices.Clone(k.faults)
	var sum float64
	for _, f := range k.faults {
		sum += f.Prior
	}
	const seldom = 1e-4 // what was not met can be met
	for i := range out.faults {
		out.faults[i].Prior = sum * max(share[string(out.faults[i].ID)], seldom)
	}
	var err error
	out.model, err = newModel(&out)
	return &out, err
}
