package diagnose

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/diagnose/energy"
	"callout/physics"
)

// candidate is a test that could be done next.
type candidate struct {
	test   int
	cost   float64 // minutes, with the way to its energy state and its hazard
	before int     // the test that must be answered first, or -1
	path   []int
	after  time.Duration // to wait before it
	rate   float64       // how fast it takes doubt away
	left   float64       // expected cost that is left once it is answered
}

// The prices that make a choice, in minutes of a technician's time. Common
// practice, no source. What a question costs decides how many are asked: of 3, 5
// and 8 minutes, 5 brought the simulated calls to their verdict soonest.
const (
	perBit       = 14.0 // what one bit of doubt costs to clear, two tests or three
	asking       = 5.0  // what every question costs beside its reading: the prompt, the way there, the answer
	callBack     = 90.0 // a second visit
	liveRisk     = 1.0  // each reading on a live unit
	fetchMore    = 0.8  // each further reading of one test
	early        = 0.4  // the price of a look at what will have passed later
	turning      = 5.0  // from a unit made safe back to a live one
	slow         = 1.0  // a rate at which testing on costs more than it saves
	slowest      = 0.12 // the same, after a repair, when the technician is about to leave
	tells        = 0.15 // a test that takes less off the expected cost tells nothing
	plateMinutes = 2.0  // a value off the nameplate, its asking with it
	reach        = 30.0 // what finding a fault that nothing points to is worth
	waiting      = 0.2  // a minute of waiting, in which other work can be done
	anyway       = 0.8  // the share of a test's cost that it saves to have done what a verdict waits for
	giveUp       = 0.1  // a rate at which testing on, with nothing settled, is given up
	thereAndBack = 18   // from a live unit to a dead one that is proved and bled, and back again, or the other way round
	stopAndStart = 8    // the same where it is only stopped and started: its delay, and until what runs is steady
	certain      = 0.9  // belief in a condition before it goes without asking
)

// available reports whether a test may be asked for now, its energy state set
// aside.
func (v *view) available(i int) bool {
	t := &v.k.tests[i]
	o := v.standing[i]
	switch {
	case v.shorted && outdoors(t):
		return false
	case t.Sticky && v.s.switched:
		return false
	case v.s.cannot[i], t.ProofOnly, !v.applies(t):
		return false
	case v.hopeless(t), v.barred(t.State):
		return false
	case o != nil && o.done && !o.again && !v.cooled(i, o):
		return false
	case v.unread(i), v.inVain(i):
		return false
	case len(v.k.after[i]) > 0 && !v.anyHolds(v.k.after[i]), v.anyHolds(v.k.unless[i]):
		return false
	case v.tooEarly(t):
		return false
	case t.Condition != "" && !v.likelyCondition(t.Condition):
		return v.opens(t.Condition) >= 0
	}
	return true
}

// likelyCondition reports whether a condition holds, or is as good as certain to:
// then it isn't asked for. What a unit shows that does not run is predicted too, so
// that a reading taken in vain misleads nobody.
func (v *view) likelyCondition(id string) bool {
	known := &v.s.likely[v.k.condAt[id]]
	if !known.known {
		*known = asked{true, v.condition(id) || v.expectsCondition(id)}
	}
	return known.yes
}

// asked is whether a question was put in a look, and its answer.
type asked struct{ known, yes bool }

// expectsCondition reports whether the test that would show a condition is as good as
// certain to.
func (v *view) expectsCondition(id string) bool {
	at := v.opens(id)
	if at < 0 {
		return false
	}
	var p float64
	hs := v.leading(48, 0.997)
	var buf [32]float64
	var mass float64
	for _, h := range hs {
		row := v.row(h, at, buf[:])
		mass += h.p
		for _, c := range v.k.conds[v.k.condAt[id]].any {
			if c.test != at {
				continue
			}
			for i, q := range row {
				if c.mask&(1<<i) != 0 {
					p += h.p * q
				}
			}
		}
	}
	return p >= certain*mass
}

// unread reports whether a test was answered in this state already, and no
// outcome could be made of it: asking again would bring the same.
func (v *view) unread(i int) bool {
	if o := &v.epochs[v.s.epoch][i]; o.done {
		return false
	}
	n, _ := v.s.own(i)
	return n > 0 && len(v.missing(&v.k.tests[i])) == 0
}

// opens finds the cheapest test that could still show a condition to hold, or
// -1 where its tests have been answered and it doesn't.
func (v *view) opens(id string) int {
	at := -1
	for _, c := range v.k.conds[v.k.condAt[id]].any {
		if o := &v.epochs[v.s.epoch][c.test]; o.done && !o.again {
			return -1
		}
		t := &v.k.tests[c.test]
		if !v.s.cannot[c.test] && v.applies(t) && (at < 0 || t.Minutes < v.k.tests[at].Minutes) {
			at = c.test
		}
	}
	return at
}

// outdoors reports whether a test needs the outdoor unit live and whole.
func outdoors(t *Test) bool { return t.State == "live" || strings.HasPrefix(t.State, "run") }

// applies reports whether a test belongs to this kind of unit and season.
func (v *view) applies(t *Test) bool { return t.applies(v.on) }

func (t *Test) applies(on circumstances) bool {
	mode := on.mode
	if mode == "" {
		mode = "cooling"
	}
	switch {
	case t.Mode != "" && t.Mode != mode,
		t.UnitType != "" && on.unit != "" && t.UnitType != on.unit,
		t.Phase != "" && t.Phase != on.phase,
		t.Metering != "" && on.metering == "fixed_orifice":
		return false
	}
	return true
}

func (v *view) condition(id string) bool {
	if v.s.stands && id == "compressor_on" {
		return false
	}
	for _, c := range v.k.conds[v.k.condAt[id]].any {
		if o := &v.epochs[v.s.epoch][c.test]; o.in(c) {
			return true
		}
	}
	return false
}

// cooled reports whether windings that showed an open overload are due to be
// read again.
func (v *view) cooled(i int, o *outcome) bool {
	t := &v.k.tests[i]
	if t.Timers[t.Classes[o.top].ID] != "overload_cooling" || !o.counts {
		return false
	}
	if t.State == "run_kit" {
		return !v.s.repeated(i) // once more: a compressor hangs on it
	}
	return t.Value == "windings" || v.coolWait() == 0 && o.at.Before(v.s.hotSince.Add(physics.OverloadWait)) // a hand is held near again once it can have cooled
}

// coolWait is how long the overload still needs before its windings tell.
func (v *view) coolWait() time.Duration {
	if v.s.hotSince.IsZero() {
		return 0
	}
	return max(0, v.s.coolBy(v.s.epoch).Sub(v.now))
}

// lookAgainIn is how long until a test that showed an open overload is done again. Its
// windings are read every half hour until they are cold: it closes when it will.
func (v *view) lookAgainIn(t *Test, o *outcome) time.Duration {
	left := v.coolWait()
	if t.Value == "windings" {
		left = min(left, max(0, o.at.Add(physics.CoolShellWait).Sub(v.now)))
	}
	return left
}

// restartWait is how long the short-cycle delay may still hold the unit off.
func (v *view) restartWait() time.Duration {
	if v.s.restart.IsZero() || v.s.energy.Outdoor != Live || v.s.energy.Is(energy.CallOff) {
		return 0
	}
	left := v.s.restart.Add(shortCycle).Sub(v.now)
	if left <= 0 || v.undelayed() {
		return 0
	}
	for i := len(v.s.records) - 1; i >= 0; i-- {
		if r := &v.s.records[i]; r.segment == v.s.segment && (r.in.Quantity == "compressor_sound" && r.choice != "silent" || r.in.Quantity == "current" && r.in.Place == "compressor_common" && r.value > liveCurrent) {
			return 0
		}
	}
	return left
}

// undelayed reports whether neither board nor thermostat was found to have a delay.
func (v *view) undelayed() bool {
	i := v.k.testAt["delay"]
	if len(v.standing) == 0 {
		return false
	}
	o := v.standing[i]
	return o != nil && o.done && v.k.tests[i].Classes[o.top].ID == "none"
}

// candidates lists every test that can be done, with what it costs from here.
func (v *view) candidates() []candidate {
	out := v.s.doable[:0]
	for i := range v.k.tests {
		if v.available(i) {
			out = append(out, v.candidate(i))
		}
	}
	v.s.doable = out
	return out
}

func (v *view) candidate(i int) candidate {
	t := &v.k.tests[i]
	if v.onlyPlate(t) {
		return candidate{test: i, before: -1, cost: plateMinutes}
	}
	c := candidate{test: i, before: -1, cost: t.Minutes + asking, path: v.path(t.State)}
	if t.Condition != "" && !v.likelyCondition(t.Condition) {
		if c.before = v.opens(t.Condition); c.before >= 0 {
			c.cost += v.k.tests[c.before].Minutes + asking
		}
	}
	course := v.course(t.State)
	for _, at := range course {
		c.cost += v.k.energy.Steps[at].Minutes
	}
	if t.Soon {
		c.cost *= early
	}
	if v.undoes(course) {
		c.cost += turning // it has to be made safe again later
		if t.Operating && t.State != "indoor_run" {
			c.cost += waiting * shortCycle.Minutes() // the delay begins anew
		}
	}
	if v.k.energy.States[v.k.stateAt[t.State]].Live && t.Tolerance != nil {
		c.cost += liveRisk
	}
	if n := len(v.missing(t)); n > 1 {
		c.cost += fetchMore * float64(n-1)
	}
	if t.Operating && t.State != "indoor_run" {
		if c.after = v.restartWait(); v.from == &v.s.energy {
			c.cost += waiting * c.after.Minutes()
		}
	}
	if o := v.standing[i]; o != nil && o.done && v.cooled(i, o) {
		c.after = max(c.after, v.lookAgainIn(t, o))
		c.cost += waiting * c.after.Minutes()
	}
	return c
}

// missing lists the readings and nameplate values that a test still needs, in
// the order to ask for them.
func (v *view) missing(t *Test) []Input {
	i := v.k.testAt[t.ID]
	m := &v.s.missed[i]
	if m.known {
		return m.list
	}
	out := m.list[:0]
	for _, r := range t.Refs {
		in := Input{Quantity: catalogue.QuantityID(r), Place: "unit"}
		if markedRef(r) && v.s.mark(in.Quantity) == "" && !v.s.unread[in] {
			out = append(out, in)
		}
	}
	if t.AskRef != "" {
		if _, ok := v.s.ref(t.AskRef); !ok && !v.s.withoutRef(t) {
			r := v.k.refs[v.k.refAt[t.AskRef]]
			out = append(out, Input{Quantity: r.Quantity, Place: r.Place})
		}
	}
	for _, id := range t.Wants {
		r := v.k.refs[v.k.refAt[id]]
		if in := (Input{Quantity: r.Quantity, Place: r.Place}); !v.s.knows(r.Quantity, r.Place) && !v.s.unread[in] && v.s.wants(t) {
			out = append(out, in)
		}
	}
	n, last := v.s.own(i)
	o := v.standing[i]
	if redo := o != nil && (o.again || v.cooled(i, o)); redo || n == 0 {
		out = append(out, Input{Quantity: t.Quantity, Place: t.Place})
	}
	for _, in := range v.s.inputs(t) {
		if f, ok := v.s.feed(t, in, v.s.epoch); !ok || t.Value == "windings" && n != 0 && stale(f, *last) {
			out = append(out, Input{Quantity: in.Quantity, Place: in.Place})
		}
	}
	*m = missed{true, out}
	return out
}

// missed is what a test still needs, once it was asked for in a look.
type missed struct {
	known bool
	list  []Input
}

// partCost is what the repair of a fault costs in vain.
func (v *view) partCost(f int) float64 {
	var cost float64
	for _, r := range v.k.faults[f].Repairs {
		if c, ok := v.k.cat.Repair(r); ok {
			cost += c.Cost
		}
	}
	return cost
}

// best picks the test that takes the most off the expected cost for each minute
// it takes itself, looking one test further for the most promising. Stopping
// is no choice while no verdict is earned, so that a small gain is still worth
// its minutes; ok is false where no test would tell anything more.
func (v *view) best(cs []candidate) (c candidate, ok bool) {
	if len(cs) == 0 {
		return candidate{}, false
	}
	l := v.lookAhead(v.leading(48, 0.997))
	now := l.price(&l.all)
	for i := range cs {
		cs[i].left = l.leftNow(cs[i].test)
	}
	telling := cs[:0]
	for _, c := range cs {
		if now-c.left > tells {
			telling = append(telling, c)
		}
	}
	if cs = telling; len(cs) == 0 {
		return candidate{}, false
	}
	v.neededAnyway(cs)
	rate := func(c candidate) float64 { return (now - c.left) / c.cost }
	slices.SortStableFunc(cs, func(a, b candidate) int { return cmp.Compare(rate(b), rate(a)) })
	const deep, wide = 3, 10
	at, most := 0, math.Inf(-1)
	for i := 0; i < min(deep, len(cs)); i++ {
		if r := l.further(cs[i], cs[:min(wide, len(cs))], now); r > most+1e-9 {
			at, most = i, r
			cs[i].rate = r
		}
	}
	return cs[at], true
}

// neededAnyway makes the tests cheaper that a verdict waits for: as likely as
// that verdict is, they will have to be done in any case.
func (v *view) neededAnyway(cs []candidate) {
	owed := make([]float64, len(v.k.tests))
	for f, p := range v.marginal {
		if p < 0.01 {
			continue
		}
		for _, t := range v.owes(f) {
			owed[t] += p
		}
	}
	for i := range cs {
		cs[i].cost *= 1 - anyway*min(owed[cs[i].test], 1)
	}
}

// owes lists the tests that a verdict on a fault can't do without.
func (v *view) owes(f int) []int {
	var out []int
	for _, n := range v.lacking(f) {
		for _, c := range n.all {
			if !v.holds(c) {
				out = append(out, c.test)
			}
		}
		if len(n.any) > 0 && !slices.ContainsFunc(n.any, func(c clause) bool { return c.test != n.any[0].test }) {
			out = append(out, n.any[0].test)
		}
	}
	return append(out, v.confirms(f)...)
}
