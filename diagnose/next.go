package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
)

// next decides the one thing to do now. What was chosen when something was last
// found out is kept to on the way there; if the technician went another way, it is
// chosen anew from where the unit stands.
func (v *view) next(a *Assessment) Next {
	v.from = &v.s.settled
	if n := v.choose(a); v.onCourse(n) {
		return n
	}
	v.from = &v.s.energy
	a.Verdict, a.Normal = nil, false
	return v.choose(a)
}

func (v *view) choose(a *Assessment) Next {
	if n, ok := v.proofNext(&a.Proof); ok {
		return n
	}
	if n, ok := v.lookAgain(&a.Proof); ok {
		return n
	}
	cs := v.candidates()
	best, ok := v.best(cs)
	if n, ok := v.decide(a, enough, best, ok); ok {
		return n
	}
	if n, ok := v.modeNext(); ok {
		return n
	}
	if n, ok := v.waitOut(passing); ok {
		return n
	}
	if c, ok := v.checkFirst(); ok {
		return v.testNext(c, DoTest)
	}
	if c, ok := v.forced(cs, enough); ok {
		return v.testNext(v.beforeTurning(c), DoTest)
	}
	if c, ok := v.opening(cs, rather); ok {
		return v.testNext(v.beforeTurning(c), DoTest)
	}
	if n, ok := v.afterAll(rather); ok {
		return n
	}
	if n, ok := v.trialNext(a); ok {
		return n
	}
	if !ok || best.rate < slow && len(v.s.repairs) == 0 || best.rate < slowest {
		if n, ok := v.decide(a, rather, best, ok); ok && v.stubborn() {
			return n
		}
		a.Verdict, a.Normal = nil, false
		if c, ok := v.explaining(); ok {
			return v.testNext(c, DoTest)
		}
		if n, ok := v.leave(&a.Proof); ok {
			return n
		}
		if n, ok := v.decide(a, rather, best, ok); ok {
			return n
		}
		if c, ok := v.forced(cs, rather); ok {
			return v.testNext(v.beforeTurning(c), DoTest)
		}
	}
	if ok && best.rate >= giveUp {
		return v.testNext(v.beforeTurning(best), DoTest)
	}
	if n, ok := v.listenAgain(); ok {
		return n
	}
	if c, ok := v.forced(cs, 0.3); ok {
		return v.testNext(v.beforeTurning(c), DoTest)
	}
	if n, ok := v.decide(a, atLast, best, ok); ok {
		return n
	}
	if i := v.odd(); i >= 0 && v.right(0.25) && !v.s.repeated(i) && !v.s.cannot[i] && v.applies(&v.k.tests[i]) {
		return v.testNext(v.candidate(i), DoTest) // before it is called nothing, it is measured again
	}
	if n, ok := v.afterAll(atAll); ok {
		return n
	}
	if c, ok := v.sweep(); ok {
		return v.testNext(c, DoTest)
	}
	if n, ok := v.waitOut(0); ok {
		return n
	}
	return v.stuck(a)
}

// waitOut lets what passes by itself pass, a short-cycle delay that nobody can read or
// an overload that cools, and listens again: what then still stands has another cause.
func (v *view) waitOut(least float64) (Next, bool) {
	hs := v.leading(1, 1)
	if len(hs) == 0 {
		return Next{}, false
	}
	f := hs[0].faults[0]
	i := v.k.testAt["compressor_sound"]
	passes := time.Duration(v.k.faults[f].Passes * float64(time.Minute))
	if passes == 0 || v.marginal[f] < least || v.s.cannot[i] || v.barred("run") || v.s.epoch > 0 || v.s.stoodLonger(passes) || v.s.cameOn > 0 {
		return Next{}, false
	}
	t := &v.k.tests[i]
	if path := v.path(t.State); len(path) > 0 {
		return v.step(path[0], t.ID, t.Name), true
	}
	var since time.Time // where it was not looked at since power or call came back: it is listened to first
	for _, r := range v.s.records {
		if r.segment == v.s.segment && r.running && r.still() {
			since = r.at
			break
		}
	}
	if left := since.Add(passes).Sub(v.now); left > 0 {
		n := v.wait(left, t)
		if say := v.k.faults[f].PassSay; say != "" {
			n.Say, n.Because = say, v.k.faults[f].PassBecause
		}
		return n, true
	}
	return v.testNext(candidate{test: i, before: -1}, DoTest), true
}

// listenAgain waits for a compressor that ran and stands now, and listens again: what
// stopped it, its overload, its delay or its call, may have closed.
func (v *view) listenAgain() (Next, bool) {
	const patience = 30 * time.Minute // an overload on a warm shell: common practice, no source
	i := v.k.testAt["compressor_sound"]
	if !v.s.stands || v.s.heard == 0 || v.s.cannot[i] || v.barred("run") {
		return Next{}, false
	}
	t := &v.k.tests[i]
	if path := v.path(t.State); len(path) > 0 {
		return v.step(path[0], t.ID, t.Name), true
	}
	var since time.Time
	looks := 0
	for _, r := range v.s.records {
		if r.in.Quantity != "compressor_sound" || r.epoch != v.s.epoch {
			continue
		}
		if r.choice == "running" {
			since, looks = time.Time{}, 0
			continue
		}
		looks++
		if since.IsZero() {
			since = r.at
		}
	}
	if looks > 4 || since.IsZero() {
		return Next{}, false
	}
	if left := since.Add(patience).Sub(v.now); left > 0 {
		n := v.wait(left, t)
		n.Say = "It ran, and stands now: leave it calling and stay clear. Its overload or its delay may close within half an hour: tell me when it starts."
		n.Because = "one look at a standing compressor is a moment, and what is read of it then shows nothing"
		return n, true
	}
	return v.testNext(candidate{test: i, before: -1}, DoTest), true
}

// checkFirst picks what is open of the run check of a unit that runs and in which nothing
// is believed wrong: it has to be read in any case, and before the unit is made dead.
func (v *view) checkFirst() (candidate, bool) {
	if len(v.s.repairs) > 0 || !v.right(fairly) || !v.condition("compressor_on") {
		return candidate{}, false
	}
	var p ProofState
	v.runCheck(&p, map[int]bool{})
	c, ok, _ := v.nextProof(&p)
	return c, ok
}

// decide gives the verdict, where one is earned, and what follows from it.
func (v *view) decide(a *Assessment, enough float64, best candidate, more bool) (Next, bool) {
	earned := v.earned(enough)
	if len(earned) == 0 || more && v.second(earned, best) || v.unseen(earned[0]) {
		return Next{}, false
	}
	a.Verdict = v.verdict(earned)
	switch f := earned[0]; {
	case v.vain(f):
		return v.helpNext(f), true
	case v.k.faults[f].Normal:
		a.Normal = true
		n := v.normalNext(f)
		if good := v.k.model.ways[v.k.model.noGood].fault; n.Kind == DoDone && f != good && v.condition("compressor_on") && v.wouldRun(f) {
			a.Verdict = v.verdict([]int{f, good}) // the run check has shown that nothing else is
		}
		return n, true
	}
	return v.repairNext(a.Verdict), true
}

// unseen reports whether a unit with nothing wrong was not seen to run and can't be, as
// where a tripped breaker stays off: then nobody can say that nothing is wrong.
func (v *view) unseen(f int) bool {
	if !v.k.faults[f].Normal || len(v.k.proofs[f]) == 0 {
		return false
	}
	for _, c := range v.k.proofs[f] {
		if o := &v.epochs[v.s.epoch][c.test]; o.in(c) || !v.barred(v.k.tests[c.test].State) && !v.s.cannot[c.test] {
			return false
		}
	}
	return true
}

// second reports whether a second fault is likely enough, and near enough to
// be shown, to be looked for before the first is mended.
func (v *view) second(earned []int, c candidate) bool {
	for f, p := range v.marginal {
		if p < 0.5 || v.k.faults[f].Normal {
			continue
		}
		found := false
		for _, e := range earned {
			found = found || e == f
		}
		if found {
			continue
		}
		for _, t := range v.wanted(f) {
			if t == c.test && len(c.path) == 0 {
				return true
			}
		}
	}
	return false
}

// forced picks the cheapest test that the likeliest fault's verdict waits for.
func (v *view) forced(cs []candidate, least float64) (candidate, bool) {
	f, p := 0, 0.0
	for i, m := range v.marginal {
		if m > p {
			f, p = i, m
		}
	}
	if p < least {
		return candidate{}, false
	}
	var best candidate
	found := false
	for _, t := range v.wanted(f) {
		if v.s.cannot[t] {
			continue
		}
		for _, c := range cs {
			if c.test == t && (!found || c.cost < best.cost) {
				best, found = c, true
			}
		}
		if !found && v.askable(t) { // a gate asks for what the findings alone would not
			best, found = v.candidate(t), true
		}
	}
	return best, found
}

// opening picks the cheapest test on the way to one that is not put before others,
// and by which the faults that are believed would be told apart: alone, none of those
// others tells enough to be chosen.
func (v *view) opening(cs []candidate, least float64) (best candidate, found bool) {
	for i := range v.k.tests {
		t := &v.k.tests[i]
		if t.First == "" || v.s.cannot[i] || v.barred(t.State) || !v.applies(t) || len(v.k.after[i]) > 0 && !v.anyHolds(v.k.after[i]) {
			continue
		}
		if o := v.standing[i]; o != nil && o.done && !o.again {
			continue
		}
		if v.hangsOn(i) < least {
			continue
		}
		for _, t := range v.measures(v.before(nil, t.First)) {
			for _, c := range cs {
				if c.test == t && (!found || c.cost < best.cost) {
					best, found = c, true
				}
			}
		}
	}
	return best, found
}

// sweep goes through what has not been looked at, once what was measured fits
// nothing well: the tests that would confirm the faults not yet tested, in the
// order of their probability for each minute they cost.
func (v *view) sweep() (candidate, bool) {
	var cs []candidate
	var p, cost []float64
	for f := range v.k.faults {
		if !v.fitsUnit(f) || v.k.faults[f].Normal {
			continue
		}
		for _, t := range v.wanted(f) {
			if !v.askable(t) || v.k.tests[t].ProofOnly || v.moot(t) {
				continue
			}
			c := v.candidate(t)
			cs = append(cs, c)
			p = append(p, math.Sqrt(v.plausibleStart(f)*math.Max(v.marginal[f], 1e-6))) // what is believed may itself be misled
			cost = append(cost, c.cost)
		}
	}
	if len(cs) == 0 {
		return candidate{}, false
	}
	at := byRate(p, cost)[0]
	return cs[at], p[at]*reach > cost[at]
}

// moot reports whether nothing was found that makes a test worth asking, though
// it could be: no breaker is reset that was not found tripped.
func (v *view) moot(t int) bool {
	after := v.k.after[t]
	if len(after) == 0 || v.anyHolds(after) {
		return false
	}
	for _, c := range after {
		if !v.s.cannot[c.test] {
			return true
		}
	}
	return false
}

// byRate orders actions by probability over cost, which is the cheapest order
// on average where one action succeeds and each is paid for by itself (Kadane
// and Simon 1977; Heckerman, Breese and Rommelse 1995).
func byRate(p, cost []float64) []int {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[b]/cost[b], p[a]/cost[a]) })
	return order
}

// askable reports whether a test can be asked for though nothing calls for it.
func (v *view) askable(i int) bool {
	t := &v.k.tests[i]
	o := v.standing[i]
	return !v.s.cannot[i] && !v.inVain(i) && !v.hopeless(t) && !v.barred(t.State) && !v.tooEarly(t) && !(t.Sticky && v.s.switched) && !(v.shorted && outdoors(t)) && v.applies(t) && (o == nil || !o.done || o.again || v.cooled(i, o)) && (t.Condition == "" || v.likelyCondition(t.Condition))
}

// modeNext asks for the season where the complaint doesn't tell, and it matters: what a
// running unit shows is read by its season, complaint or not.
func (v *view) modeNext() (Next, bool) {
	o := v.standing[v.k.testAt["complaint"]]
	if v.s.mode() != "" || (o == nil || !o.done) && !v.condition("compressor_on") || v.s.unread[Input{Quantity: "mode", Place: "unit"}] {
		return Next{}, false
	}
	return Next{Kind: DoNameplate, Quantity: "mode", Place: "unit", Minutes: 0.2, Say: "Is it set to cool or to heat?", Because: "each season has its own faults and its own readings"}, true
}

// cautions turns ids into the lines, each once.
// step words one step towards an energy state.
// bleed works out how long the capacitor takes to bleed, from its size, its
// voltage and the resistor.
// testNext words a test, or what has to come before it.
// repairNext leads to the first repair that is not done.
func (v *view) repairNext(d *Verdict) Next {
	r := v.k.repairs[v.k.repairAt[d.Repairs[0]]]
	named, _ := v.k.cat.Repair(r.ID)
	if what := v.blocked(r.State); what != "" {
		return Next{Kind: DoDone, Say: "I would " + named.Name + ", and it can't be done without " + what + ". Leave it safe and off until it can.", Because: d.Because}
	}
	if path := v.path(r.State); len(path) > 0 {
		n := v.step(path[0], "", "")
		n.Say = "To " + named.Name + ": " + strings.ToLower(n.Say[:1]) + n.Say[1:]
		return n
	}
	n := Next{Kind: DoRepair, Repair: r.ID, Minutes: named.Cost, Say: upper(named.Name) + ".", Because: d.Because, Cautions: v.cautions(r.Cautions), Needs: v.needs(r.State)}
	switch {
	case r.ID == "replace_run_capacitor":
		n.Say += v.capacitorSize()
	case v.mended(r.ID):
		n.Say = upper(named.Spoken[0]) + ": that was the repair. Say so once more, and I ask for its proof."
		n.Cautions, n.Minutes = nil, 0.2
	}
	return n
}

// capacitorSize says what the new capacitor must be.
// normalNext ends a call in which nothing is wrong: the delay is waited out and
// the start seen.
func (v *view) normalNext(f int) Next {
	for _, c := range v.k.proofs[f] {
		if o := &v.epochs[v.s.epoch][c.test]; o.in(c) {
			continue
		}
		t := &v.k.tests[c.test]
		if v.s.cannot[c.test] || v.barred(t.State) { // as where a tripped breaker stays off
			continue
		}
		since := v.s.last
		for _, o := range v.epochs[v.s.epoch] {
			if o.done && o.counts && o.at.Before(since) && !o.at.IsZero() {
				since = o.at
			}
		}
		if d := v.s.delayed(); d.After(since) { // it was seen running then, and lasts as long again at most
			since = d
		}
		if left := since.Add(shortCycle).Sub(v.now); left > 0 && t.Operating {
			return v.wait(left, t)
		}
		return v.testNext(v.candidate(c.test), DoProof)
	}
	say := v.k.faults[f].Close
	if say == "" {
		say = upper(v.k.faults[f].Name) + "."
	}
	var p ProofState
	if v.condition("compressor_on") && v.wouldRun(f) {
		v.runCheck(&p, map[int]bool{})
		if c, ok, _ := v.nextProof(&p); ok {
			return v.testNext(c, DoProof)
		}
	}
	return Next{Kind: DoDone, Say: say + " The job can be closed." + v.leftOut(&p), Because: v.shownBy(f)}
}

// delayed is when a short-cycle delay was last seen running.
func (s *state) delayed() (at time.Time) {
	for _, r := range s.records {
		if r.in.Quantity == "delay_state" && r.choice == "running" && r.epoch == s.epoch && r.at.After(at) {
			at = r.at
		}
	}
	return at
}

// wouldRun reports whether a unit in which nothing is wrong is to run as it should by
// now: not while it defrosts.
func (v *view) wouldRun(f int) bool {
	return f == v.k.model.ways[v.k.model.noGood].fault || v.k.faults[f].PutBack != ""
}

// vain reports whether a fault's repair was done twice already.
func (v *view) vain(f int) bool {
	for _, id := range v.k.faults[f].Repairs {
		n := 0
		for _, r := range v.s.repairs {
			if r.id == id {
				n++
			}
		}
		if n >= 2 {
			return true
		}
	}
	return false
}

// mending lists a fault's repairs: in place of one that did not hold, what is done then.
func (v *view) mending(f int) []catalogue.RepairID {
	out := slices.Clone(v.k.faults[f].Repairs)
	for i, id := range out {
		if then := v.k.repairs[v.k.repairAt[id]].Then; then != "" && slices.ContainsFunc(v.s.repairs, func(r repaired) bool { return r.id == id }) {
			out[i] = then
		}
	}
	return out
}

// spent reports whether a dear part was replaced for a fault already: what showed it then
// and shows it still has another cause.
func (v *view) spent(f int) bool {
	const dear = 75 // minutes of work. Common practice, no source.
	return slices.ContainsFunc(v.s.repairs, func(r repaired) bool {
		named, _ := v.k.cat.Repair(r.id)
		return named.Cost >= dear && slices.Contains(v.k.faults[f].Repairs, r.id)
	})
}

// helpNext ends a call in which the same repair has not held twice.
func (v *view) helpNext(f int) Next {
	r, _ := v.k.cat.Repair(v.k.faults[f].Repairs[0])
	return Next{Kind: DoDone, Say: "I would " + r.Name + " a third time, and twice it has not held. Get a second pair of eyes or the maker's help line before more is spent.", Because: v.shownBy(f)}
}

// stuck says honestly that the call can't be settled with what can be done.
func (v *view) stuck(a *Assessment) Next {
	n := Next{Kind: DoDone}
	if good := v.k.model.ways[v.k.model.noGood].fault; v.right(likely) {
		a.Normal = true
		a.Verdict = v.verdict([]int{good})
		n.Say = "I find nothing wrong: what can be tested here is as it should be."
		if odd := v.odd(); odd >= 0 {
			n.Say = "I find nothing wrong but one odd reading: " + v.standing[odd].text + ". Note it."
		}
		if names := v.untested(good); names != "" {
			n.Say += " Not tested: " + names + "."
		}
		n.Say += " Tell the customer to call if it comes back."
		n.Because = "no test that is left would tell more"
		return n
	}
	hs := v.leading(1, 1)
	if len(hs) == 0 {
		return n
	}
	f := hs[0].faults[0]
	n.Say = fmt.Sprintf("I can't settle this with what can be done here. Likeliest is %s, at %d%%", v.nameOf(hs[0].faults), int(math.Round(100*hs[0].p)))
	if lacking := v.lacking(f); len(lacking) > 0 {
		var names []string
		for _, l := range lacking {
			names = append(names, l.Name)
		}
		if more := v.untested(f); more != "" {
			names = append(names, more)
		}
		n.Say += ", but it is not proved: " + strings.Join(names, ", ") + " still lacking"
		n.Because = v.k.gates[v.k.gateAt[v.k.faults[f].First]].Name
	} else {
		n.Because = "no test that is left would tell the causes apart"
		switch names := v.untested(f); {
		case names == "":
		case v.k.faults[f].Normal:
			n.Say += "; not tested: " + names
		default:
			n.Say += ", and what would show it could not be done: " + names
		}
	}
	n.Say += "."
	return n
}
