package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"callout/catalogue"
	"callout/diagnose/energy"
)

// What each kind of entry must hold is checked here, once, at load.

func (l *loader) tests() {
	k := l.k
	k.answers, k.feeds = map[Input][]int{}, map[Input][]int{}
	k.after = make([][]clause, len(k.tests))
	k.unless = make([][]clause, len(k.tests))
	k.lifts = make([][]clause, len(k.tests))
	for i := range k.tests {
		t := &k.tests[i]
		where := "test " + string(t.ID)
		own := Input{Quantity: t.Quantity, Place: t.Place}
		for _, in := range t.May {
			l.checkInput(where, in)
			key := Input{Quantity: in.Quantity, Place: in.Place}
			k.feeds[key] = append(k.feeds[key], i)
		}
		for _, in := range append(append([]Input{own}, t.Also...), t.Inputs...) {
			l.checkInput(where, in)
			key := Input{Quantity: in.Quantity, Place: in.Place}
			k.answers[key] = append(k.answers[key], i)
			k.feeds[key] = append(k.feeds[key], i)
			if in.Or != "" {
				or := Input{Quantity: in.Quantity, Place: in.Or}
				l.checkInput(where, or)
				k.answers[or], k.feeds[or] = append(k.answers[or], i), append(k.feeds[or], i)
			}
			if in.Quantity == "wet_bulb" {
				for _, from := range wetBulbFrom {
					k.feeds[from] = append(k.feeds[from], i)
				}
			}
		}
		for _, r := range t.Refs {
			if _, ok := k.refAt[r]; !ok && !markedRef(r) {
				l.bad("%s: no reference %q", where, r)
			}
		}
		for _, r := range t.Wants {
			if at, ok := k.refAt[r]; !ok || k.refs[at].Quantity == "" {
				l.bad("%s: no nameplate value %q to ask for", where, r)
			}
		}
		if _, ok := k.stateAt[t.State]; !ok {
			l.bad("%s: no energy state %q", where, t.State)
		}
		if _, ok := k.gateAt[t.First]; t.First != "" && !ok {
			l.bad("%s: no gate %q", where, t.First)
		}
		if _, ok := k.condAt[t.Condition]; t.Condition != "" && !ok {
			l.bad("%s: no condition %q", where, t.Condition)
		}
		if t.Minutes <= 0 || t.Say == "" || t.Because == "" || t.Source == "" || len(t.Classes) < 2 || len(t.Classes) > 31 {
			l.bad("%s needs minutes, words, a source and two outcomes", where)
		}
		l.checkCautions(where, t.Cautions)
		q, _ := k.cat.Quantity(t.Quantity)
		if q.Kind.Numeric() {
			if t.Value != "" {
				if _, ok := sums[t.Value]; !ok {
					l.bad("%s: no sum %q", where, t.Value)
				}
			}
			if t.Tolerance == nil {
				l.bad("%s needs a tolerance", where)
			}
			for j, c := range t.Classes {
				if c.Of != "" {
					if _, ok := k.refAt[c.Of]; !ok {
						l.bad("%s: no reference %q", where, c.Of)
					}
				}
				if !named[t.Value] && (c.To == nil) != (j == len(t.Classes)-1) {
					l.bad("%s: outcome %s: every outcome but the last has an end", where, c.ID)
				}
			}
		} else {
			for _, v := range q.Values {
				if out := t.outcome(v.ID); t.class(out) < 0 && (out != "" || t.Untold == "") {
					l.bad("%s: the value %s has no outcome", where, v.ID)
				}
			}
		}
		for _, c := range t.Classes {
			if c.Say == "" {
				l.bad("%s: outcome %s is not said", where, c.ID)
			}
		}
		for j, c := range t.Classes {
			if at := t.class(c.In); c.In != "" && (at < 0 || at != j-1 && at != j+1 && t.Tolerance != nil || t.Classes[at].In != "") {
				l.bad("%s: outcome %s is part of no outcome beside it", where, c.ID)
			}
		}
		most := slices.ContainsFunc(t.Inputs, func(in Input) bool { return in.Most != 0 })
		if most != (t.Beyond != "") {
			l.bad("%s: an input with a most needs words for what lies beyond, and they need one", where)
		}
		if t.OpenLine != "" && t.class(t.OpenLine) < 0 {
			l.bad("%s: no outcome %q", where, t.OpenLine)
		}
		for j, c := range t.Blind {
			last := j == len(t.Blind)-1
			if t.AskRef == "" || c.ID != "" && (t.class(c.ID) < 0 || c.Say == "") || (c.To == nil) != last {
				l.bad("%s: what shows without the nameplate names no outcome, is not said, or has no end", where)
			}
		}
		for _, s := range t.Then {
			if t.class(s.From) < 0 || t.class(s.To) < 0 || t.class(s.Keep) < 0 {
				l.bad("%s: a sequence names no outcome", where)
			}
		}
		k.after[i] = l.clauses(where, t.After)
		k.unless[i] = l.clauses(where, t.Unless)
		k.lifts[i] = l.clauses(where, t.Lifts)
		for _, s := range []string{t.Normal, t.NormalValve, t.Stopped} {
			if s != "" || s == t.Normal {
				l.distribution(where, *t, s, farUsual)
			}
		}
	}
	for i := range k.conds {
		k.conds[i].any = l.clauses("condition "+k.conds[i].ID, k.conds[i].Any)
	}
	for i := range k.conflicts {
		c := &k.conflicts[i]
		c.a, c.b = l.clause("conflict", c.A), l.clause("conflict", c.B)
		if c.Say == "" {
			l.bad("the conflict of %s with %s is not said", c.A, c.B)
		}
	}
	for i := range k.leaving {
		k.leaving[i].proof = l.clause("leaving check", k.leaving[i].Proof)
		k.leaving[i].instead = l.clauses("leaving check", k.leaving[i].Instead)
	}
	for i := range k.gates {
		g := &k.gates[i]
		if at, ok := k.gateAt[g.After]; g.After != "" && (!ok || at >= i) {
			l.bad("gate %s: no gate %q before it", g.ID, g.After)
		}
		for j := range g.Needs {
			n := &g.Needs[j]
			n.any, n.all = l.clauses("gate "+g.ID, n.Any), l.clauses("gate "+g.ID, n.All)
			if len(n.any)+len(n.all) == 0 {
				l.bad("gate %s: %s needs nothing", g.ID, n.Name)
			}
			if n.Renew != nil && (n.Renew.Name == "" || n.Renew.Because == "" || !slices.ContainsFunc(k.faults, func(f Fault) bool { return f.ID == n.Renew.Fault })) {
				l.bad("gate %s: %s renews no fault, or does not say why", g.ID, n.Name)
			}
			for _, m := range n.Measure {
				if _, ok := k.testAt[m]; !ok {
					l.bad("gate %s: no test %q", g.ID, m)
				}
			}
		}
	}
}

// markedRef reports the nameplate choices that a sum reads by itself.
func markedRef(r string) bool {
	return r == "refrigerant" || r == "metering_device" || guessedRef(r)
}

// guessedRef reports the one that has a usual value, which is taken where it can't be read.
func guessedRef(r string) bool { return r == "valve_energised" }

func (t Test) outcome(v catalogue.ValueID) ClassID {
	if c, ok := t.Values[v]; ok {
		return c
	}
	return ClassID(v)
}

func (l *loader) energy() {
	k := l.k
	for i, r := range k.energy.Rules {
		l.rule(fmt.Sprintf("energy rule %d", i+1), r)
	}
	for _, p := range k.energy.Proofs {
		for _, x := range p.Reads {
			for i, at := range x.At {
				l.checkInput("proof "+p.ID, Input{Quantity: catalogue.QuantityID(x.Of[i]), Place: at})
			}
		}
	}
	for _, s := range k.energy.Steps {
		where := "step " + s.ID
		if (s.Kind != DoMakeSafe && s.Kind != DoEnergise) || s.Minutes <= 0 || s.Say == "" || s.Needs == "" || s.Source == "" {
			l.bad("%s needs a kind, minutes, words and a source", where)
		}
		if (len(s.Declare) == 0) == (s.Quantity == "") {
			l.bad("%s: either declared or read", where)
		}
		for _, d := range s.Declare {
			if _, ok := k.cat.Declaration(d); !ok {
				l.bad("%s: no declaration %q", where, d)
			}
		}
		if s.Quantity != "" {
			l.checkInput(where, Input{Quantity: s.Quantity, Place: s.Place})
		}
		l.checkCautions(where, s.Cautions)
	}
}

// rule checks what an energy rule names against the catalogue.
func (l *loader) rule(where string, r energy.Rule) {
	for _, d := range r.Declare {
		if _, ok := l.k.cat.Declaration(d); !ok {
			l.bad("%s: no declaration %q", where, d)
		}
	}
	for _, id := range r.Repair {
		if _, ok := l.k.cat.Repair(id); !ok {
			l.bad("%s: no repair %q", where, id)
		}
	}
	for _, p := range r.Place {
		held := false
		for _, id := range r.Quantity {
			q, _ := l.k.cat.Quantity(id)
			held = held || q.HasPlace(p)
		}
		if !held {
			l.bad("%s: nothing of it at %q", where, p)
		}
	}
	for _, id := range r.Quantity {
		q, ok := l.k.cat.Quantity(id)
		if !ok {
			l.bad("%s: no quantity %q", where, id)
		}
		for _, v := range append(append([]catalogue.ValueID(nil), r.Value...), r.Not...) {
			if _, ok := q.Value(v); !ok && len(r.Quantity) == 1 {
				l.bad("%s: %s has no value %q", where, id, v)
			}
		}
	}
}

func (l *loader) repairs() {
	k := l.k
	for i := range k.repairs {
		r := &k.repairs[i]
		where := "repair " + string(r.ID)
		if _, ok := k.cat.Repair(r.ID); !ok {
			l.bad("%s is not in the catalogue", where)
		}
		if _, ok := k.stateAt[r.State]; !ok || len(r.Proof) == 0 || r.Source == "" {
			l.bad("%s needs a state, a proof and a source", where)
		}
		l.checkCautions(where, r.Cautions)
		if r.Circuit && !strings.Contains(strings.Join(r.Cautions, " "), "licensed") {
			l.bad("%s opens the circuit and doesn't say that it takes a licence", where)
		}
		for _, f := range r.Also {
			if !slices.ContainsFunc(k.faults, func(x Fault) bool { return x.ID == f }) {
				l.bad("%s: no fault %q", where, f)
			}
		}
		if _, ok := k.repairAt[r.Then]; !ok && r.Then != "" {
			l.bad("%s: no repair %q", where, r.Then)
		}
		r.proof = l.clauses(where, r.Proof)
		r.remeasure = map[int]bool{}
		for _, c := range r.proof {
			r.remeasure[c.test] = true
		}
		for _, id := range r.Remeasure {
			at, ok := k.testAt[id]
			if !ok {
				l.bad("%s: no test %q", where, id)
			}
			r.remeasure[at] = true
		}
	}
	for _, r := range k.cat.Repairs {
		if _, ok := k.repairAt[r.ID]; !ok {
			l.bad("repair %s of the catalogue proves nothing", r.ID)
		}
	}
}

func (l *loader) faults() {
	k := l.k
	for _, p := range k.profiles {
		for id, s := range p.Shows {
			if at, ok := k.testAt[id]; !ok {
				l.bad("profile %s: no test %q", p.ID, id)
			} else {
				l.distribution("profile "+p.ID, k.tests[at], s, farFault)
			}
		}
	}
	for _, p := range k.profiles {
		share := 0.0
		for _, s := range p.States {
			share += s.Share
			for id, words := range s.Shows {
				if at, ok := k.testAt[id]; !ok {
					l.bad("profile %s: no test %q", p.ID, id)
				} else {
					l.distribution("profile "+p.ID, k.tests[at], words, farFault)
				}
			}
		}
		if len(p.States) > 0 && math.Abs(share-100) > 1e-9 {
			l.bad("profile %s: the shares of its states make %g", p.ID, share)
		}
	}
	k.confirm = make([][][]clause, len(k.faults))
	k.proofs = make([][]clause, len(k.faults))
	used := map[catalogue.RepairID]bool{}
	for i, f := range k.faults {
		where := "fault " + string(f.ID)
		if _, ok := k.profileAt[f.Profile]; !ok {
			l.bad("%s: no profile %q", where, f.Profile)
		}
		if _, ok := k.profileAt[f.PutBack]; f.PutBack != "" && !ok {
			l.bad("%s: no profile %q", where, f.PutBack)
		}
		if f.Prior <= 0 || f.Name == "" || f.Source == "" || len(f.Confirm) == 0 || f.Normal != (len(f.Repairs) == 0) {
			l.bad("%s needs a prior, a name, a source, what confirms it, and a repair", where)
		}
		for id, s := range f.Shows {
			if at, ok := k.testAt[id]; !ok {
				l.bad("%s: no test %q", where, id)
			} else {
				l.distribution(where, k.tests[at], s, farFault)
			}
		}
		share := 0.0
		for _, w := range k.allWays(f) {
			share += w.Share
			if _, ok := k.profileAt[w.Profile]; !ok {
				l.bad("%s: no profile %q", where, w.Profile)
			}
			for _, shows := range []map[TestID]string{w.Shows, w.Valve} {
				for id, s := range shows {
					if at, ok := k.testAt[id]; !ok {
						l.bad("%s: no test %q", where, id)
					} else {
						l.distribution(where, k.tests[at], s, farFault)
					}
				}
			}
		}
		if math.Abs(share-100) > 1e-9 {
			l.bad("%s: the shares of its ways make %g", where, share)
		}
		condemns := false
		for _, r := range f.Repairs {
			if _, ok := k.repairAt[r]; !ok {
				l.bad("%s: no repair %q", where, r)
			}
			used[r] = true
			condemns = condemns || r == "replace_compressor"
		}
		if _, ok := k.gateAt[f.First]; f.First != "" && !ok {
			l.bad("%s: no gate %q", where, f.First)
		}
		if condemns && !strings.HasPrefix(f.First, "compressor") {
			l.bad("%s condemns a compressor without a gate", where)
		}
		l.checkCautions(where, f.Cautions)
		for _, c := range f.Confirm {
			k.confirm[i] = append(k.confirm[i], l.clauses(where, strings.Split(c, "&")))
		}
		k.proofs[i] = l.clauses(where, f.Proof)
	}
	for _, r := range k.repairs {
		if !used[r.ID] {
			l.bad("repair %s mends nothing", r.ID)
		}
	}
}
