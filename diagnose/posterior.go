package diagnose

import (
	"cmp"
	"slices"
)

// cureRate is the probability that a repair, done, has mended its fault.
// Common practice, no source.
const cureRate = 0.97

// evidence is one finding as it bears on the belief.
type evidence struct {
	weights []float64 // of the outcome
	heard   float64
	twice   bool
	like    []float64 // by way: its likelihood, seen once
	alone   []float64 // by fault alone: its likelihood
}

// step is one thing that changes the belief.
type step struct {
	kind  stepKind
	at    int // test or repair
	epoch int
	found *evidence
}

type stepKind uint8

const (
	stepFinding  stepKind = iota
	stepAbsent            // an optional part's test can't be done
	stepCameOn            // it stood still, and then ran by itself
	stepHeld              // it stood still for longer than any delay lasts
	stepUnseated          // its disconnect was found loose and put in again
	stepRepair
)

// posterior keeps how a job's last belief came about, so that a new reading
// costs one multiplication of it. It is no part of the state: the steps are
// always taken in the order of the log, and what is kept is used only where
// the same steps led to it.
type posterior struct {
	on    circumstances
	found [][]*evidence // by epoch, then by test
	steps []step
	kept  []milestone
	mass  []float64

	marginal []float64 // by fault
	like     []float64 // scratch
	version  int       // counts the beliefs of this job
}

// milestone is the belief after a number of steps, kept every few and after
// the last finding.
type milestone struct {
	after int
	mass  []float64
}

// between is the number of steps from one milestone to the next. There the
// belief is brought back to a sum of one, so that no product underflows.
const between = 8

// believe works out the exact posterior over every hypothesis: the prior, times
// the likelihood of every finding that counts, epoch by epoch. Between epochs a
// repair moves belief from what it cures to what is left.
func (v *view) believe() {
	p := &v.s.posterior
	v.prior(p)
	v.weighFindings(p)
	steps := v.steps()
	same := 0
	for same < min(len(steps), len(p.steps)) && steps[same] == p.steps[same] {
		same++
	}
	if same < len(steps) || same < len(p.steps) || p.marginal == nil {
		v.advance(p, steps, same)
	}
	v.mass, v.marginal, v.evidence = p.mass, p.marginal, p.found
}

// advance takes the belief from the last steps to these, the first of which are
// the same.
func (v *view) advance(p *posterior, steps []step, same int) {
	for len(p.kept) > 1 && p.kept[len(p.kept)-1].after > same {
		p.kept = p.kept[:len(p.kept)-1]
	}
	last := 0
	for i, x := range steps {
		if x.kind == stepFinding {
			last = i + 1
		}
	}
	near := p.kept[len(p.kept)-1]
	p.mass = append(p.mass[:0], near.mass...)
	for at := near.after; at < len(steps); {
		v.take(steps[at], p)
		if at++; at%between == 0 {
			normalise(p.mass)
		}
		if at%between == 0 || at == last {
			p.keep(at)
		}
	}
	normalise(p.mass)
	p.steps = append(p.steps[:0], steps...)
	v.k.model.sumFaults(p, len(v.k.faults))
	p.version++
}

// keep sets a milestone. The one after the last finding gives way to the next.
func (p *posterior) keep(after int) {
	n := len(p.kept)
	if p.kept[n-1].after%between != 0 {
		n--
	}
	var mass []float64
	if n < cap(p.kept) {
		mass = p.kept[:n+1][n].mass // what was there is not needed any more
	}
	p.kept = append(p.kept[:n], milestone{after, append(mass[:0], p.mass...)})
}

// prior sets the first milestone, where what it hangs on has changed.
func (v *view) prior(p *posterior) {
	if len(p.kept) > 0 && p.on == v.on {
		return
	}
	m := v.k.model
	n := len(m.ways)
	fits := make([]float64, n)
	for i, w := range m.ways {
		f := &v.k.faults[w.fault]
		fits[i] = 1
		switch {
		case f.Mode != "" && v.on.mode == "":
			fits[i] = 0.5
		case f.Mode != "" && f.Mode != v.on.mode,
			f.Phase != "" && f.Phase != v.on.phase,
			f.UnitType != "" && v.on.unit != "" && f.UnitType != v.on.unit,
			f.Metering != "" && v.on.metering != "" && f.Metering != v.on.metering:
			fits[i] = 0
		}
	}
	mass := make([]float64, len(m.priors))
	for i := range fits {
		mass[i] = m.priors[i] * fits[i]
	}
	for j, x := range m.pairs {
		mass[n+j] = m.priors[n+j] * fits[x.a] * fits[x.b]
	}
	normalise(mass)
	*p = posterior{on: v.on, version: p.version, kept: []milestone{{0, mass}}}
}

// weighFindings works out how likely every way made each finding, where the
// finding is not the one of the last time.
func (v *view) weighFindings(p *posterior) {
	rows := v.k.model.rows[v.on.variant]
	for len(p.found) < len(v.epochs) {
		p.found = append(p.found, make([]*evidence, len(v.k.tests)))
	}
	for e, outs := range v.epochs {
		for t := range outs {
			o, old := &outs[t], p.found[e][t]
			if !o.done || !o.counts {
				p.found[e][t] = nil
				continue
			}
			if old != nil && old.heard == o.heard && old.twice == o.twice && slices.Equal(old.weights, o.weights) {
				continue
			}
			x := &evidence{weights: o.weights, heard: o.heard, twice: o.twice, like: make([]float64, len(rows)), alone: make([]float64, len(v.k.faults))}
			for i := range rows {
				x.like[i] = o.once(rows[i][t])
			}
			for f := range x.alone {
				x.alone[f] = v.likelihood(v.alone(f, 1), t, x)
			}
			p.found[e][t] = x
		}
	}
}

// steps lists what changes the belief: in each epoch the findings in the order
// in which they were completed, then what else was seen, then the repairs.
func (v *view) steps() []step {
	var out []step
	for e, outs := range v.epochs {
		begin := len(out)
		for t := range outs {
			if x := v.s.posterior.found[e][t]; x != nil {
				out = append(out, step{stepFinding, t, e, x})
			}
		}
		slices.SortStableFunc(out[begin:], func(a, b step) int { return cmp.Compare(outs[a.at].seq, outs[b.at].seq) })
		if e == 0 { // seen before anything was mended
			out = append(out, v.seen()...)
		}
		for _, r := range v.s.repairs {
			if r.epoch == e {
				out = append(out, step{kind: stepRepair, at: v.k.repairAt[r.id], epoch: e})
			}
		}
	}
	return out
}

// seen lists what bears on the belief beside the findings.
func (v *view) seen() []step {
	var out []step
	for t := range v.s.cannot {
		if v.k.tests[t].Optional || v.s.absent[t] {
			out = append(out, step{kind: stepAbsent, at: t})
		}
	}
	slices.SortFunc(out, func(a, b step) int { return cmp.Compare(a.at, b.at) })
	switch {
	case v.s.cameOn > 0:
		out = append(out, step{kind: stepCameOn})
	case v.s.heldTooLong():
		out = append(out, step{kind: stepHeld})
	}
	if v.s.unseated {
		out = append(out, step{kind: stepUnseated})
	}
	return out
}

// take changes the belief by one step.
func (v *view) take(x step, p *posterior) {
	m := v.k.model
	switch x.kind {
	case stepFinding:
		like := append(p.like[:0], x.found.like...)
		if x.found.twice {
			for i := range like {
				like[i] *= like[i]
			}
		}
		p.like = like
		m.multiply(p.mass, like, m.picks(v.on.variant, x.at))
	case stepAbsent:
		v.absent(p.mass, x.at)
	case stepCameOn, stepHeld, stepUnseated:
		v.weighFaults(p.mass, x.kind)
	case stepRepair:
		m.repair(p.mass, m.cured[x.at])
	}
}

// share is how much of each of a pair's two ways its prediction takes.
var share = [...]struct{ a, b float64 }{first: {1, 0}, second: {0, 1}, both: {0.5, 0.5}}

// multiply takes a finding into the belief, given its likelihood by way.
func (m *model) multiply(mass, like []float64, pick []uint8) {
	n := len(m.ways)
	for i, x := range like {
		mass[i] *= x
	}
	mass = mass[n:][:len(m.pairs)]
	pick = pick[:len(m.pairs)]
	for j, p := range m.pairs {
		s := &share[pick[j]]
		mass[j] *= s.a*like[p.a] + s.b*like[p.b]
	}
}

// repair moves belief to what is left once a repair is done.
func (m *model) repair(mass []float64, cured []bool) {
	n := len(m.ways)
	for i := range cured {
		if cured[i] {
			mass[m.noGood] += cureRate * mass[i]
			mass[i] *= 1 - cureRate
		}
	}
	for j, p := range m.pairs {
		left := m.noGood
		switch a, b := cured[p.a], cured[p.b]; {
		case a && b:
		case a:
			left = int(p.b)
		case b:
			left = int(p.a)
		default:
			continue
		}
		mass[left] += cureRate * mass[n+j]
		mass[n+j] *= 1 - cureRate
	}
}

// sumFaults works out the belief in each fault, alone or in a pair.
func (m *model) sumFaults(p *posterior, faults int) {
	n := len(m.ways)
	by := append(p.like[:0], p.mass[:n]...)
	mass := p.mass[n:]
	for a := range by { // the pairs stand in the order of their first
		var sum float64
		for j := m.from[a]; j < m.from[a+1]; j++ {
			sum += mass[j]
			by[m.pairs[j].b] += mass[j]
		}
		by[a] += sum
	}
	p.like = by
	p.marginal = slices.Grow(p.marginal[:0], faults)[:faults]
	clear(p.marginal)
	for i, w := range m.ways {
		p.marginal[w.fault] += by[i]
	}
}

// fanLevel is the level of profile from which on the outdoor fan may run without the
// compressor.
const fanLevel = 4

// weighFaults weighs each fault by what was seen of the unit as a whole.
func (v *view) weighFaults(mass []float64, kind stepKind) {
	const (
		seldom   = 0.02  // a fault that comes and goes, or a look misjudged
		heated   = 0.3   // a fault that overheats a compressor has opened its overload: common practice, no source
		unheated = 0.05  // any other has
		hardly   = 0.005 // it had no supply, and something else healed as the disconnect was put in
	)
	m := v.k.model
	by := make([]float64, len(m.ways))
	for i, w := range m.ways {
		f := &v.k.faults[w.fault]
		switch kind {
		case stepCameOn: // the unit stood still and then ran with nothing done to it
			by[i] = max(seldom, f.CameOn)
			if v.s.held && f.PutBack == "" && !f.Normal { // what held it says nothing of what else is wrong
				by[i] = 0.5
			}
			if v.s.overloaded && !f.Normal { // an overload opens by itself after a restart against pressure; else something heats it
				by[i] = unheated
				if f.CameOn > 0 {
					by[i] = heated
				}
			}
			switch {
			case v.s.alone && f.CameOnAlone != nil:
				by[i] = max(seldom, *f.CameOnAlone)
			case v.s.alone && f.PutBack != "" && v.k.profiles[v.k.profileAt[f.Profile]].Level < fanLevel:
				by[i] = seldom
			}
		case stepHeld: // or stood still for longer than any delay lasts
			by[i] = max(seldom, 1-2*f.CameOn)
		case stepUnseated: // no supply until its disconnect was put in: something else would hardly have healed by that
			by[i] = hardly
			if f.PutBack != "" && f.Shows["connection_disconnect"] != "" {
				by[i] = 1
			}
		}
		mass[i] *= by[i]
	}
	for j, p := range m.pairs {
		x := min(by[p.a], by[p.b])
		if kind == stepUnseated {
			x = max(by[p.a], by[p.b])
		}
		mass[len(m.ways)+j] *= x
	}
}

// How likely it is that a part can't be tested although it has failed, against one that
// is not fitted: where it is said that it is not fitted, and where only that the test
// can't be done. Common practice, no source.
const (
	notFitted = 0.01
	notThere  = 0.2
)

// absent takes a test that can't be done as a sign that its part is not there, so that
// nothing is wrong with it.
func (v *view) absent(mass []float64, t int) {
	m := v.k.model
	rest := notThere
	if v.s.absent[t] {
		rest = notFitted
	}
	less := make([]bool, len(m.ways))
	for i, w := range m.ways {
		less[i] = v.shownAt(w.fault, t) && top(m.rows[v.on.variant][i][t]) != m.usual[t]
		if less[i] {
			mass[i] *= rest
		}
	}
	for j, p := range m.pairs {
		if less[p.a] || less[p.b] {
			mass[len(m.ways)+j] *= rest
		}
	}
}

// shownAt reports whether a fault is one of the part that a test at rest measures.
func (v *view) shownAt(f, t int) bool {
	test := &v.k.tests[t]
	if _, shows := v.k.faults[f].Shows[test.ID]; shows {
		return test.Optional || !test.Operating || test.Quantity == "control_voltage"
	}
	return false
}

// normalise brings a belief to a sum of one.
func normalise(p []float64) {
	var a, b, c, d float64 // side by side, so that no sum waits for the one before
	rest := p
	for ; len(rest) >= 4; rest = rest[4:] {
		a, b, c, d = a+rest[0], b+rest[1], c+rest[2], d+rest[3]
	}
	for _, x := range rest {
		a += x
	}
	sum := a + b + c + d
	if sum <= 0 {
		return
	}
	scale := 1 / sum
	for i := range p {
		p[i] *= scale
	}
}
