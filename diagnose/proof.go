package diagnose

import (
	"slices"
	"strings"

	"callout/catalogue"
)

// proof works out how far the repairs are proved. Only readings after a repair
// count for it.
func (v *view) proof() ProofState {
	var p ProofState
	if len(v.s.repairs) == 0 {
		return p
	}
	p.Complete = true
	seen := map[int]bool{}
	for _, r := range v.s.repairs {
		p.Repairs = append(p.Repairs, r.id)
		for _, c := range v.k.repairs[v.k.repairAt[r.id]].proof {
			if item, ok := v.item(c, r.epoch, seen); ok {
				p.Complete = p.Complete && item.Done && item.OK
				v.put(&p, item)
			}
		}
	}
	v.runCheck(&p, seen)
	return p
}

// runCheck adds what is read of a running unit before it is left. A second fault
// shows there; the repair is proved without it.
func (v *view) runCheck(p *ProofState, seen map[int]bool) {
	for _, l := range v.k.leaving {
		done := v.epochs[v.s.epoch][l.proof.test].done
		if !done && (l.Near && v.s.energy.Outdoor != ProvedDead && !v.atWiring() || l.Labelled && !v.labelled(&v.k.tests[l.proof.test]) || v.anyHolds(l.instead)) {
			continue
		}
		if item, ok := v.item(l.proof, -1, seen); ok {
			item.Beside = true
			v.put(p, item)
		}
	}
}

func (v *view) put(p *ProofState, item ProofItem) {
	p.Items = append(p.Items, item)
	p.Failed = p.Failed || item.Done && !item.OK && v.epochs[v.s.epoch][v.k.testAt[item.Test]].counts
}

// doubtful is the share of a reading by its instrument's tolerance at which it passes for a
// proof that it just misses. Common practice, no source.
const doubtful = 0.25

// item is one reading of a proof, how far it is taken since an epoch; ok is false where
// it is not of this unit or was listed before.
func (v *view) item(c clause, after int, seen map[int]bool) (item ProofItem, ok bool) {
	t := &v.k.tests[c.test]
	if seen[c.test] || !v.applies(t) {
		return item, false
	}
	seen[c.test] = true
	item = ProofItem{Test: t.ID, Name: t.Name}
	o := &v.epochs[v.s.epoch][c.test]
	if old := v.standing[c.test]; !o.done && old != nil && old.epoch > after {
		o = old
	}
	if o.done && !o.again {
		item.Done, item.OK, item.Text = true, o.in(c) || !o.sure && o.counts && o.share(c) > doubtful, o.text
	}
	return item, true
}

// labelled reports whether every nameplate value of a test was read.
func (v *view) labelled(t *Test) bool { return v.rated(t) == len(t.Refs) }

// rated counts the nameplate values of a test that were read.
func (v *view) rated(t *Test) int {
	n := 0
	for _, id := range t.Refs {
		in := Input{Quantity: catalogue.QuantityID(id), Place: "unit"}
		if !markedRef(id) {
			r := v.k.refs[v.k.refAt[id]]
			if r.Standard {
				continue
			}
			in = Input{Quantity: r.Quantity, Place: r.Place}
		}
		if v.s.knows(in.Quantity, in.Place) {
			n++
		}
	}
	return n
}

// proofNext asks for the next proof of a repair, or closes the job.
func (v *view) proofNext(p *ProofState) (Next, bool) {
	if len(p.Repairs) == 0 || p.Failed || v.another() {
		return Next{}, false
	}
	best, found, waived := v.nextProof(p)
	if found {
		return v.testNext(best, DoProof), true
	}
	if v.remaining() {
		return Next{}, false // a second fault is left
	}
	if waived {
		return Next{Kind: DoDone, Say: "The repair is done, and not every proof could be taken. Note what is missing before you leave." + v.leftOut(p), Because: "a repair is not done before its proof"}, true
	}
	text := ""
	for _, item := range p.Items {
		if text != "" && item.Text != "" {
			text += "; "
		}
		text += item.Text
	}
	return Next{Kind: DoDone, Say: "The repair is proved. Close the panel, and the job can be closed." + v.leftOut(p), Because: text}, true
}

// leftOut names what of the run check could not be read, for the log.
func (v *view) leftOut(p *ProofState) string {
	var names []string
	for _, item := range p.Items {
		if i := v.k.testAt[item.Test]; item.Beside && !item.Done && !v.s.absent[i] {
			names = append(names, item.Name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return " Not checked: " + strings.Join(names, ", ") + "."
}

// nextProof is the proof to take next, the nearest to how the unit stands; waived tells
// that one failed or can't be taken.
func (v *view) nextProof(p *ProofState) (best candidate, found, waived bool) {
	for _, item := range p.Items {
		if item.Done {
			waived = waived || !item.OK
			continue
		}
		i := v.k.testAt[item.Test]
		if v.beyondReach(i, item.Beside) {
			waived = waived || !item.Beside
			continue
		}
		c := v.candidate(i)
		if v.nearBy(i) {
			c.path = nil // it is off, and is not put on before this is read
		}
		if !found || len(c.path) < len(best.path) {
			best, found = c, true
		}
	}
	if found && v.nearBy(best.test) {
		best = v.candidate(best.test)
	}
	return best, found, waived
}

// atWiring reports whether the outdoor unit is still off after work at its wiring, the proof
// of which may have lapsed under it.
func (v *view) atWiring() bool {
	n := len(v.s.repairs)
	return n > 0 && v.s.energy.Outdoor != Live && v.k.energy.Bleeds(v.k.repairs[v.k.repairAt[v.s.repairs[n-1].id]].State)
}

// nearBy reports whether a test of the run check is one for hands that are at the wiring.
func (v *view) nearBy(i int) bool {
	return v.atWiring() && slices.ContainsFunc(v.k.leaving, func(l leaving) bool { return l.Near && l.proof.test == i })
}

// beyondReach reports whether a proof can't be taken; one of the run check that was
// tried without an outcome is not tried again.
func (v *view) beyondReach(i int, beside bool) bool {
	t := &v.k.tests[i]
	return v.s.cannot[i] || v.hopeless(t) || v.barred(t.State) || beside && (v.unread(i) || v.anyHolds(v.k.unless[i]))
}

// another reports whether a second fault is proved and still to be mended: then
// it is mended before anything is started.
func (v *view) another() bool {
	for _, f := range v.earned(rather) {
		if !v.k.faults[f].Normal && !v.vain(f) {
			return true
		}
	}
	return false
}

// remaining reports whether a fault is still likely after the proof.
func (v *view) remaining() bool {
	for f, p := range v.marginal {
		if p > 0.5 && !v.k.faults[f].Normal {
			return true
		}
	}
	return false
}

// lookAgain asks a second time for a proof that failed while everything else
// says that the unit is right: one look is misjudged now and then.
func (v *view) lookAgain(p *ProofState) (Next, bool) {
	if !p.Failed || !v.right(0.5) {
		return Next{}, false
	}
	for _, item := range p.Items {
		i := v.k.testAt[item.Test]
		if item.Done && !item.OK && v.epochs[v.s.epoch][i].counts && !v.s.repeated(i) && !v.s.cannot[i] && !v.barred(v.k.tests[i].State) {
			c := v.candidate(i)
			n := v.testNext(c, DoProof)
			if len(c.path) == 0 && n.Kind == DoProof {
				n.Say = "Once more: " + strings.ToLower(n.Say[:1]) + n.Say[1:]
				n.Because = item.Text + ", and everything else says that it runs right"
			}
			return n, true
		}
	}
	return Next{}, false
}

// right reports whether the unit is believed to be without fault, by whatever reason
// it was called for.
func (v *view) right(least float64) bool {
	var sum float64
	for f, p := range v.marginal {
		if x := &v.k.faults[f]; f == v.k.model.ways[v.k.model.noGood].fault || x.Normal && x.PutBack != "" && v.on.variant&putBackBit != 0 {
			sum += p
		}
	}
	return sum >= least
}

// leave ends a call after a repair where a proof stayed odd, nothing else is
// wrong, and no test would tell more. The other proofs are taken first: a second
// fault that shows in one shows in another.
func (v *view) leave(p *ProofState) (Next, bool) {
	if len(p.Repairs) == 0 || !v.right(surely) {
		return Next{}, false
	}
	if c, ok, _ := v.nextProof(p); ok {
		return v.testNext(c, DoProof), true
	}
	odd := ""
	for _, item := range p.Items {
		if item.Done && !item.OK {
			odd = item.Text
		}
	}
	return Next{Kind: DoDone, Say: "The repair is done and nothing else shows. One proof is not as it should be: " + odd + ". Note it before you leave.", Because: "no test that is left would tell more"}, true
}
