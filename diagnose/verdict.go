package diagnose

import (
	"slices"
	"sort"

	"callout/catalogue"
)

const (
	enough = 0.85 // belief in a fault before its verdict
	surest = 0.72 // belief before a compressor is condemned
	own    = 0.45 // of it, in the one fault that is named
	surely = 0.80 // belief before a call is closed as nothing wrong
	fairly = 0.65 // the same, once no test is worth its minutes
	atLast = 0.50 // the same, once every test is done
	likely = 0.50 // the same, once no test is left
	// plain is the belief in a fault that was plainly seen, before it is mended because
	// nothing dearer can be judged past it: a blocked filter before the charge.
	plain  = 0.15
	atAll  = 0.15 // belief before what could not be done is asked for once more
	rather = 0.60 // the same, once no test is worth its minutes
	// passing is the belief in what passes by itself before it is waited for: with the
	// unit held off, little else can be read.
	passing = 0.40
	// checked is the belief before a call is closed as nothing wrong once the whole run
	// check was read and is right: more readings would find a fault by chance alone.
	checked = 0.50
	shown   = 0.50 // belief in a fault that was shown by itself, at rest
)

// confirmed reports whether a finding stands that shows the fault itself.
func (v *view) confirmed(f int) bool {
	for _, all := range v.k.confirm[f] {
		if v.allShown(all) {
			return true
		}
	}
	return v.s.reseated > 0 && v.s.unseated && v.k.faults[f].ID == "disconnect_out" && v.condition("compressor_on")
}

// allShown reports whether clauses hold; what is asked of a part that is not fitted holds
// where a healthy one would show it.
func (v *view) allShown(all []clause) bool {
	for _, c := range all {
		if !v.holds(c) && !v.goodAbsent(c) {
			return false
		}
	}
	return true
}

func (v *view) goodAbsent(c clause) bool {
	return v.s.absent[c.test] && c.mask&(1<<v.k.model.usual[c.test]) != 0
}

// lacking lists what a fault's gate still misses.
func (v *view) lacking(f int) []need {
	id := v.k.faults[f].First
	if id == "" {
		return nil
	}
	var out []need
	if v.on.phase == "three" && v.condemns(f) {
		out = append(out, need{Name: "the maker's own tests of a three-phase compressor"})
	}
	return v.before(out, id)
}

// before appends what a gate still misses.
func (v *view) before(out []need, gate string) []need {
	g := &v.k.gates[v.k.gateAt[gate]]
	if g.After != "" {
		out = v.before(out, g.After)
	}
	for _, n := range g.Needs {
		if v.beside(n) || n.Absent && v.missingPart(n) || n.Unread && v.untold(n) || n.Waived && v.impossible(n) || n.Mark != "" && v.s.mark(n.Mark) != "" || n.Renew != nil && v.renewed(n.Renew.Fault) {
			continue
		}
		if len(n.any) > 0 && !v.anyHolds(n.any) || !v.allHold(v.ofUnit(n.all)) {
			out = append(out, n)
		}
	}
	return out
}

// tooEarly reports whether something has to be proved before a test is put.
func (v *view) tooEarly(t *Test) bool { return t.First != "" && len(v.before(nil, t.First)) > 0 }

// ofUnit keeps the clauses whose test belongs to this unit and season.
func (v *view) ofUnit(all []clause) []clause {
	var out []clause
	for _, c := range all {
		if v.k.tests[c.test].applies(v.on) {
			out = append(out, c)
		}
	}
	return out
}

// beside reports whether a need's test does not belong to this unit or season.
func (v *view) beside(n need) bool {
	for _, id := range n.Measure {
		if v.applies(&v.k.tests[v.k.testAt[id]]) {
			return false
		}
	}
	return len(n.Measure) > 0
}

// earned lists the faults whose verdict stands, most probable first: believed
// enough, shown by a finding of its own, and past its gate.
func (v *view) earned(enough float64) []int {
	var out []int
	wrong := 1.0 // where a bad reading stands, something is wrong, and belief is shared among what it may be
	if none := v.marginal[v.k.model.ways[v.k.model.noGood].fault]; enough <= rather && v.odd() >= 0 {
		wrong = max(1-none, 0.3)
		if v.stubborn() {
			wrong = max(1-none, 0.02)
		}
	}
	for f, p := range v.marginal {
		least := enough
		p = v.cause(f)
		if !v.condemns(f) {
			p /= wrong
		}
		if v.unique(f) {
			least = min(least, shown)
			if v.inTheWay(f) {
				least = min(least, plain)
			}
		}
		if v.tried(f) {
			least = min(least, surest)
		}
		if v.condemns(f) { // the dearest part takes the surest belief, in any case
			least = surest
			if v.marginal[f] < own {
				continue
			}
		}
		if v.k.faults[f].Normal { // that nothing is wrong is one belief, whatever the reason
			p, least = v.nothing(f), surely
			if p >= checked && v.allChecked(f) {
				least = checked
			}
			if enough <= rather {
				least = min(least, fairly)
			}
		}
		if f == v.k.model.ways[v.k.model.noGood].fault && v.odd() >= 0 {
			continue // a bad reading stands: nothing is not nothing
		}
		if v.k.faults[f].Normal && v.s.stands && v.s.heard > 0 {
			continue // it ran, and has stopped under its call
		}
		if v.k.faults[f].Normal && v.oddRunning(f) {
			continue // nor is what runs
		}
		if v.k.faults[f].Normal && len(v.s.repairs) > 0 {
			continue // something was wrong
		}
		if v.spent(f) {
			continue
		}
		if p >= least && v.confirmed(f) && len(v.lacking(f)) == 0 {
			out = append(out, f)
		}
	}
	sort.Slice(out, func(i, j int) bool { return v.marginal[out[i]] > v.marginal[out[j]] })
	out = v.once(out)
	if len(out) > 2 {
		out = out[:2]
	}
	return out
}

// once drops what is only believed together with a likelier fault that the same
// repairs put right.
func (v *view) once(earned []int) []int {
	var out []int
	for _, f := range earned {
		if v.marginal[f] < shown && slices.ContainsFunc(out, func(g int) bool { return slices.Contains(v.k.model.mended[f], g) }) {
			continue
		}
		out = append(out, f)
	}
	return out
}

// condemns reports whether a fault costs a compressor.
func (v *view) condemns(f int) bool {
	for _, r := range v.k.faults[f].Repairs {
		if r == "replace_compressor" {
			return true
		}
	}
	return false
}

// nothing is the belief that nothing is wrong, for the likeliest of its reasons.
func (v *view) nothing(f int) float64 {
	var sum float64
	for g, p := range v.marginal {
		if !v.k.faults[g].Normal {
			continue
		}
		if p > v.marginal[f] {
			return 0
		}
		sum += p
	}
	return sum
}

// odd finds a finding that a unit without fault hardly shows, -1 if none.
func (v *view) odd() int {
	rows := v.k.model.rows[v.on.variant][v.k.model.noGood]
	for i, o := range v.standing {
		if o != nil && o.done && o.counts && rows[i][o.top] < 0.04 && o.likelihood(rows[i]) < 0.06 && v.k.tests[i].ID != "complaint" {
			return i
		}
	}
	return -1
}

// allChecked reports whether the run check of a unit that runs was read to its end, and
// nothing in it is wrong.
func (v *view) allChecked(f int) bool {
	if !v.condition("compressor_on") || !v.wouldRun(f) {
		return false
	}
	var p ProofState
	v.runCheck(&p, map[int]bool{})
	_, open, waived := v.nextProof(&p)
	return !open && !waived
}

// stubborn reports whether a reading of the run check is far from any of a unit without
// fault, and was so again when it was read once more: then something is wrong.
func (v *view) stubborn() bool { return v.stays(0.02) >= 0 }

// stays finds the test of a reading of the run check that a unit without fault shows
// less often than this, and that was so again when it was read once more, -1 if none.
func (v *view) stays(hardly float64) int {
	row := v.k.model.rows[v.on.variant][v.k.model.noGood]
	for _, l := range v.k.leaving {
		i := l.proof.test
		if o := &v.epochs[v.s.epoch][i]; o.done && o.counts && !o.in(l.proof) && !o.nearly(l.proof) && o.likelihood(row[i]) < hardly && v.s.repeated(i) {
			return i
		}
	}
	return -1
}

// explaining picks a test that would show what lies behind a reading that stays far off:
// nobody leaves such a unit before its likeliest cause was looked for.
func (v *view) explaining() (best candidate, found bool) {
	const (
		hardly   = 0.06 // a reading that a unit without fault shows less often
		explains = 0.2  // how often the cause shows that reading
		possible = 0.02 // belief in it: a second fault is seldom, until something shows it
	)
	i := v.stays(hardly)
	if i < 0 {
		return candidate{}, false
	}
	var buf [32]float64
	top := v.epochs[v.s.epoch][i].top
	likeliest := 0.0
	for f, m := range v.marginal {
		if m < max(possible, likeliest) || v.k.faults[f].Normal || v.row(v.alone(f, 1), i, buf[:])[top] < explains {
			continue
		}
		if c, ok := v.wouldShow(f); ok {
			best, found, likeliest = c, true, m
		}
	}
	return best, found
}

// wouldShow picks the cheapest test that is left of all that a fault's verdict can rest on.
func (v *view) wouldShow(f int) (best candidate, found bool) {
	open := v.wanted(f)
	for _, all := range v.k.confirm[f] {
		for _, c := range all {
			open = append(open, c.test)
		}
	}
	for _, t := range open {
		if !v.askable(t) || v.k.tests[t].ProofOnly {
			continue
		}
		if c := v.candidate(t); !found || c.cost < best.cost {
			best, found = c, true
		}
	}
	return best, found
}

// oddRunning reports whether the run check of a unit that runs shows something that a
// way of being without fault hardly does: a fan that stands is odd, but not in a defrost.
func (v *view) oddRunning(f int) bool {
	if !v.condition("compressor_on") {
		return false
	}
	var buf [32]float64
	h := v.alone(f, 1)
	for _, l := range v.k.leaving {
		o := &v.epochs[v.s.epoch][l.proof.test]
		if i := l.proof.test; o.done && o.counts && !o.in(l.proof) && !o.nearly(l.proof) && o.likelihood(v.row(h, i, buf[:])) < 0.06 {
			return true
		}
	}
	return false
}

// unique reports whether a fault was shown by one finding at rest that a unit
// without fault hardly ever shows, so that it stands whatever else is wrong.
func (v *view) unique(f int) bool {
	const hardly = 0.02
	m := v.k.model
	for _, all := range v.k.confirm[f] {
		if len(all) != 1 || !v.allHold(all) {
			continue
		}
		t := all[0].test
		rest := !v.k.tests[t].Operating || v.k.tests[t].ID == "thermostat"
		if rest && m.rows[v.on.variant][m.noGood][t][v.standing[t].top] < hardly {
			return true
		}
	}
	return false
}

// inTheWay reports whether what shows a fault is what keeps the likeliest one from being
// judged.
func (v *view) inTheWay(f int) bool {
	top := 0
	for g, p := range v.marginal {
		if p > v.marginal[top] {
			top = g
		}
	}
	if top == f || v.k.faults[f].Normal {
		return false
	}
	for _, n := range v.lacking(top) {
		for _, id := range n.Measure {
			for _, all := range v.k.confirm[f] {
				if len(all) == 1 && all[0].test == v.k.testAt[id] && v.allHold(all) {
					return true
				}
			}
		}
	}
	return false
}

// tried reports whether a fault's gate comes after another: then everything beside
// it was proved good, and the try itself has shown it.
func (v *view) tried(f int) bool {
	first := v.k.faults[f].First
	return first != "" && v.k.gates[v.k.gateAt[first]].After != ""
}

// wanted lists the tests that a likely fault's verdict still waits for: its
// gate's, then those that would confirm it.
func (v *view) wanted(f int) []int {
	return append(v.measures(v.lacking(f)), v.confirms(f)...)
}

// measures lists the tests that needs wait for.
func (v *view) measures(needs []need) []int {
	var out []int
	for _, n := range needs {
		for _, id := range n.Measure {
			out = append(out, v.k.testAt[id])
		}
		for _, c := range n.all {
			if !v.holds(c) {
				out = append(out, c.test)
			}
		}
	}
	return out
}

// confirms lists the tests of the confirmation that lacks least.
func (v *view) confirms(f int) []int {
	if v.confirmed(f) {
		return nil
	}
	least, pick := 100, []int(nil)
	for _, all := range v.k.confirm[f] {
		var open []int
		dead := false
		for _, c := range all {
			switch o := v.standing[c.test]; {
			case v.holds(c), v.goodAbsent(c):
			case o != nil && o.done && !o.again && !v.cooled(c.test, o), v.s.cannot[c.test], !v.applies(&v.k.tests[c.test]), v.conditionLost(&v.k.tests[c.test]):
				dead = true
			default:
				open = append(open, c.test)
			}
		}
		if !dead && len(open) < least {
			least, pick = len(open), open
		}
	}
	return pick
}

// conditionLost reports whether a test asks for what is known not to be: a compressor that
// runs, where it was heard stalled.
func (v *view) conditionLost(t *Test) bool {
	return t.Condition != "" && !v.likelyCondition(t.Condition) && v.opens(t.Condition) < 0
}

// verdict words an earned decision.
func (v *view) verdict(faults []int) *Verdict {
	if len(faults) == 0 {
		return nil
	}
	out := &Verdict{Probability: v.marginal[faults[0]]}
	seen := map[string]bool{}
	caution := func(ids []string) {
		for _, id := range ids {
			if !seen[id] {
				seen[id] = true
				out.Cautions = append(out.Cautions, v.k.caution[id])
			}
		}
	}
	for _, f := range faults {
		fault := v.k.faults[f]
		out.Faults = append(out.Faults, fault.ID)
		if out.Name != "" {
			out.Name += ", and "
		}
		out.Name += fault.Name
		for _, r := range v.mending(f) {
			out.Repairs = append(out.Repairs, r)
			caution(v.k.repairs[v.k.repairAt[r]].Cautions)
		}
		caution(fault.Cautions)
		if own, by := v.confirmedBy(f); own != "" {
			out.By = append(out.By, by...)
			if out.Because != "" {
				out.Because += "; "
			}
			out.Because += own
		}
	}
	out.Repairs = unique(out.Repairs)
	out.Reasons = v.reasons(faults, 5)
	if len(out.Reasons) == 0 { // nothing tells it from its rivals but what confirms it
		for _, id := range out.By {
			out.Reasons = append(out.Reasons, v.standing[v.k.testAt[id]].text)
		}
	}
	if out.Because == "" && len(out.Reasons) > 0 {
		out.Because = out.Reasons[0]
	}
	out.RuledOut = v.ruledOut(faults)
	out.WouldChange = v.wouldChange(faults[0])
	return out
}

func unique(in []catalogue.RepairID) []catalogue.RepairID {
	var out []catalogue.RepairID
	for _, r := range in {
		dup := false
		for _, o := range out {
			dup = dup || o == r
		}
		if !dup {
			out = append(out, r)
		}
	}
	return out
}
