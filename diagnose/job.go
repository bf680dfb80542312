package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/diagnose/energy"
)

// Job is one call: a pure fold over its events. It is not safe for concurrent
// use.
type Job struct {
	k      *Knowledge
	events []Event
	state  *state
	stood  *Verdict // the verdict when the last repair was done
}

// NewJob starts a call with nothing known and everything live.
func (k *Knowledge) NewJob() *Job { return &Job{k: k, state: newState(k)} }

// Add takes one event and reports what does not fit. An event is kept even
// where it does not fit; one that names nothing known changes nothing.
func (j *Job) Add(e Event) []Warning {
	j.events = append(j.events, e)
	unearned := j.repairing(e)
	n := len(j.state.repairs)
	warned := j.state.apply(e)
	if len(j.state.repairs) > n && j.stood != nil {
		j.state.repairs[n].faults = j.stood.Faults
	}
	j.state.warnings = append(j.state.warnings, unearned...)
	return append(warned, unearned...)
}

// repairing keeps the verdict that a repair is done on, and warns of a repair
// that was not earned, on trial or by what was measured.
func (j *Job) repairing(e Event) []Warning {
	r, ok := j.k.cat.Repair(e.Repair)
	if e.Repair == "" || e.Struck {
		return nil
	}
	v := j.state.look(e.At)
	earned := v.earned(rather)
	j.stood = v.verdict(earned)
	if !ok {
		return nil
	}
	var out []Warning
	state := j.k.repairs[j.k.repairAt[e.Repair]].State
	if j.k.energy.States[j.k.stateAt[state]].Hands && len(v.path(state)) > 0 {
		out = append(out, Warning{ID: "not_ready", Seq: e.Seq, Text: fmt.Sprintf("To %s is work on what is dead and proved dead, and I have no word that it was: that is how it is logged.", r.Name)})
	}
	for _, f := range earned {
		if slices.Contains(v.mending(f), e.Repair) {
			return out
		}
	}
	if f, why := v.trial(); f >= 0 && slices.Contains(j.k.faults[f].Repairs, e.Repair) {
		j.stood = v.trialVerdict(f, why)
		return out
	}
	return append(out, Warning{ID: "unproved_repair", Seq: e.Seq, Text: fmt.Sprintf("Nothing measured so far calls for it: %s.", r.Name)})
}

// Retract takes back the event seq, as if it had never been; only what it had put
// in doubt is not proved again by that.
func (j *Job) Retract(seq uint64) error {
	for i, e := range j.events {
		if e.Seq != seq || e.Struck {
			continue
		}
		all := append([]Event(nil), j.events...)
		all[i].Struck = true
		j.events, j.state, j.stood = nil, newState(j.k), nil
		for _, e := range all {
			j.Add(e)
		}
		return nil
	}
	return fmt.Errorf("diagnose: no event %d to take back", seq)
}

// Age takes back the proofs that are too old at now, and names them. Every other
// method does the same in silence.
func (j *Job) Age(now time.Time) []Warning {
	at := len(j.state.warnings)
	j.state.age(now, 0)
	told := append([]Warning(nil), j.state.warnings[at:]...)
	j.state.warnings = j.state.warnings[:at]
	return told
}

// Assess says where the call stands at now.
func (j *Job) Assess(now time.Time) Assessment {
	j.Age(now)
	v := j.state.look(now)
	a := Assessment{Mode: j.state.mode(), Energy: j.state.energy, Findings: v.findings(), Proof: v.proof(), Timers: v.timers()}
	a.Warnings = append(append(a.Warnings, j.state.warnings...), v.warnings...)
	a.Next = v.next(&a)
	if a.Verdict == nil && len(j.state.repairs) > 0 && !a.Proof.Failed {
		a.Verdict = j.stood
	}
	a.Causes = v.causes(5)
	return a
}

// timers lists the waits that are running.
func (v *view) timers() []Timer {
	var out []Timer
	if d := v.restartWait(); d > 0 {
		out = append(out, Timer{ID: "short_cycle_delay", Text: "the short-cycle delay may hold the unit off", Until: v.now.Add(d)})
	}
	if d := v.coolWait(); d > 0 {
		out = append(out, Timer{ID: "overload_cooling", Text: "the overload may still be open", Until: v.now.Add(d)})
	}
	if at, name, ok := v.k.energy.Lapses(&v.s.energy); ok && at.After(v.now) {
		out = append(out, Timer{ID: energy.Lapsed, Text: strings.ReplaceAll(v.k.energy.Lines.Timer, "{what}", name), Until: at})
	}
	if v.s.energy.Capacitor == Bled {
		d, _, _ := v.s.bleedTime()
		if until := v.s.bledAt.Add(d); until.After(v.now) {
			out = append(out, Timer{ID: "bleed", Text: "the capacitor bleeds through 20 kΩ", Until: until})
		}
	}
	return out
}

// Why gives the chain of reasons down to formula and source, one line each.
func (j *Job) Why(now time.Time) []string {
	a := j.Assess(now)
	return j.state.look(now).why(a)
}

// Energy gives the state of everything that can hurt.
func (j *Job) Energy() Energy { return j.state.energy }

// Expect gives the interval in which the engine expects a reading of q at p, in
// the quantity's unit; ok is false where it expects nothing in particular. It
// is wide on purpose: every outcome that holds at least 2% of the belief is in.
func (j *Job) Expect(q catalogue.QuantityID, p catalogue.PlaceID) (lo, hi float64, ok bool) {
	quantity, known := j.k.cat.Quantity(q)
	if !known || !quantity.Kind.Numeric() {
		return 0, 0, false
	}
	v := j.state.look(j.state.last)
	hs := v.leading(48, 0.997)
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, i := range j.k.answers[Input{Quantity: q, Place: p}] {
		t := &j.k.tests[i]
		if t.Quantity != q || t.Place != p || t.Value != "" && t.Value != "capacitance" {
			continue
		}
		scale := func(x float64) float64 { return x }
		if t.Value == "capacitance" {
			rated, known := j.state.ref(t.Refs[0])
			if !known {
				continue
			}
			scale = func(x float64) float64 { return rated * (1 + x/100) }
		}
		below, most := quantity.Range(p)
		for c := range t.Classes {
			end, known := j.state.end(t, c)
			if !known {
				break
			}
			top := math.Min(scale(end), most)
			if v.predicted(hs, i, c) >= 0.02-1e-9 {
				lo, hi, ok = math.Min(lo, below), math.Max(hi, top), true
			}
			below = math.Max(below, top)
		}
	}
	return lo, hi, ok && lo < hi
}

// predicted is the probability of one outcome of a test, all beliefs taken.
func (v *view) predicted(hs []hypothesis, t, c int) float64 {
	var buf [32]float64
	var sum, mass float64
	for _, h := range hs {
		sum += h.p * v.row(h, t, buf[:])[c]
		mass += h.p
	}
	return sum / mass
}
