package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// shownBy gives the findings that confirm a fault, in words.
func (v *view) shownBy(f int) string {
	text, _ := v.confirmedBy(f)
	return text
}

// confirmedBy gives the findings that confirm a fault, in words, and their tests.
func (v *view) confirmedBy(f int) (text string, by []TestID) {
	for _, all := range v.k.confirm[f] {
		if !v.allShown(all) {
			continue
		}
		for _, c := range all {
			if v.standing[c.test] == nil {
				continue // the part is not fitted
			}
			if text != "" {
				text += ", and "
			}
			text += v.standing[c.test].text
			by = append(by, v.k.tests[c.test].ID)
		}
		return text, by
	}
	return "", nil
}

// testimony is a finding, and how likely it is together with each of the rivals.
type testimony struct {
	test  int
	o     *outcome
	joint []float64
}

// reason is a testimony, and how many times likelier it is with a set of faults
// than with everything else that is believed.
type reason struct {
	*testimony
	ratio float64
}

// rivalry is the scratch of weigh.
type rivalry struct {
	of      int // which of the job's beliefs
	against []hypothesis
	heard   []testimony
	joint   []float64
	mine    []bool
	reasons []reason
}

// weigh measures how much each finding speaks for a set of faults. What it
// gives is good until the next call.
func (v *view) weigh(has func(faultSet) bool) []reason {
	r := &v.s.rivalry
	hs := v.against()
	r.mine = r.mine[:0]
	var pw, po float64
	for _, h := range hs {
		mine := has(h.faults)
		r.mine = append(r.mine, mine)
		if mine {
			pw += h.p
		} else {
			po += h.p
		}
	}
	if pw <= 0 || po <= 0 {
		return nil
	}
	heard := v.testimonies()
	r.reasons = r.reasons[:0]
	for k := range heard {
		var with, without float64
		for i, p := range heard[k].joint {
			if r.mine[i] {
				with += p
			} else {
				without += p
			}
		}
		if without > 0 {
			r.reasons = append(r.reasons, reason{&heard[k], (with / pw) / (without / po)})
		}
	}
	return r.reasons
}

// strongest puts those that speak for it in order.
func strongest(all []reason) []reason {
	all = slices.DeleteFunc(all, func(r reason) bool { return r.ratio < 1.1 })
	slices.SortStableFunc(all, func(a, b reason) int { return cmp.Compare(b.ratio, a.ratio) })
	return all
}

// testimonies works out once how the rivals explain every finding.
func (v *view) testimonies() []testimony {
	r := &v.s.rivalry
	hs := v.against()
	if len(r.heard) > 0 {
		return r.heard
	}
	leading := len(v.leading(believed, 0.999))
	r.joint = r.joint[:0]
	for e, found := range v.evidence {
		for t, x := range found {
			if x == nil {
				continue
			}
			for i, h := range hs {
				like := 0.0
				if i < leading {
					like = v.likelihood(h, t, x)
				} else {
					like = x.alone[h.faults[0]]
				}
				r.joint = append(r.joint, h.p*like)
			}
			r.heard = append(r.heard, testimony{test: t, o: &v.epochs[e][t]})
		}
	}
	for i := range r.heard {
		r.heard[i].joint = r.joint[i*len(hs) : (i+1)*len(hs)]
	}
	return r.heard
}

// believed is how many of the leading hypotheses a finding is weighed between.
const believed = 30

// against lists what a finding is weighed between: what is believed, and behind
// it, where nothing else is believed any more, the prior.
func (v *view) against() []hypothesis {
	r := &v.s.rivalry
	if r.of == v.s.posterior.version {
		return r.against
	}
	*r = rivalry{v.s.posterior.version, append(r.against[:0], v.leading(believed, 0.999)...), r.heard[:0], r.joint[:0], r.mine, r.reasons}
	for i, f := range v.k.faults {
		if v.marginal[i] < 1e-3 && v.fitsUnit(i) {
			r.against = append(r.against, v.alone(i, f.Prior*1e-6))
		}
	}
	return r.against
}

func (v *view) reasons(faults []int, most int) []string {
	var out []string
	for _, r := range strongest(v.weigh(func(s faultSet) bool { return s.hasAll(faults) })) {
		if len(out) >= most {
			break
		}
		out = append(out, r.o.text)
	}
	if len(out) == 0 { // every rival shows the same: what a healthy unit would not
		for _, r := range v.unlikeHealthy(faults, most) {
			out = append(out, r.o.text)
		}
	}
	return out
}

// unlikeHealthy lists the findings that speak for a set of faults against a
// unit without fault, the strongest first.
func (v *view) unlikeHealthy(faults []int, most int) []reason {
	var buf [32]float64
	var list []reason
	good := v.k.model.ways[v.k.model.noGood].fault
	for _, h := range v.leading(30, 0.999) {
		if !h.faults.hasAll(faults) || len(h.faults) != len(faults) || len(faults) == 1 && faults[0] == good {
			continue
		}
		for t, o := range v.standing {
			if o == nil || !o.done || !o.counts {
				continue
			}
			ratio := o.likelihood(v.row(h, t, buf[:])) / max(o.likelihood(v.k.model.rows[v.on.variant][v.k.model.noGood][t]), 1e-6)
			if ratio > 1.5 {
				list = append(list, reason{&testimony{test: t, o: o}, ratio})
			}
		}
		break
	}
	slices.SortStableFunc(list, func(a, b reason) int { return cmp.Compare(b.ratio, a.ratio) })
	return list[:min(most, len(list))]
}

func (s faultSet) hasAll(faults []int) bool {
	for _, f := range faults {
		if !slices.Contains(s, f) {
			return false
		}
	}
	return true
}

// ruledOut names the likely causes that the findings have excluded, each with
// the finding that spoke most against it.
func (v *view) ruledOut(faults []int) []string {
	type out struct {
		f int
		p float64
	}
	var list []out
	for f := range v.k.faults {
		if v.marginal[f] < 0.01 && !v.k.faults[f].Normal && v.fitsUnit(f) {
			list = append(list, out{f, v.plausibleStart(f)})
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].p > list[j].p })
	var text []string
	for _, x := range list {
		if len(text) >= 4 {
			break
		}
		worst, why := 0.5, ""
		for _, r := range v.weigh(func(s faultSet) bool { return len(s) == 1 && s[0] == x.f }) {
			if r.ratio < worst && v.k.tests[r.test].ID != "complaint" && v.excludes(r.test, x.f) {
				worst, why = r.ratio, r.o.text
			}
		}
		if why != "" {
			text = append(text, fmt.Sprintf("%s: %s", v.k.faults[x.f].Name, why))
		}
	}
	return text
}

// excludes reports whether the finding of a test is not what a fault shows on
// it. What another fault shows there says nothing against one that leaves the
// test as it is on a healthy unit.
func (v *view) excludes(t, f int) bool {
	const seldom = 0.2
	var buf [32]float64
	o := v.standing[t]
	row := v.row(v.alone(f, 1), t, buf[:])
	if o == nil || !o.done || o.likelihood(row) > seldom {
		return false
	}
	healthy := v.k.model.rows[v.on.variant][v.k.model.noGood][t]
	return o.likelihood(healthy) > seldom || top(row) != top(healthy)
}

func (v *view) fitsUnit(f int) bool {
	x := &v.k.faults[f]
	return (x.Mode == "" || v.on.mode == "" || x.Mode == v.on.mode) && (x.UnitType == "" || v.on.unit == "" || x.UnitType == v.on.unit) && (x.Phase == "" || x.Phase == v.on.phase)
}

// plausibleStart is how likely a fault was from the complaint and what was seen
// from outside, before anything was measured.
func (v *view) plausibleStart(f int) float64 {
	var buf [32]float64
	h := v.alone(f, 1)
	p := v.k.faults[f].Prior
	for _, id := range []TestID{"complaint", "outdoor_fan", "compressor_sound", "compressor_current"} {
		t := v.k.testAt[id]
		if o := &v.epochs[0][t]; o.done && o.counts {
			p *= o.likelihood(v.row(h, t, buf[:]))
		}
	}
	return p
}

// wouldChange says which reading would change the engine's mind.
func (v *view) wouldChange(f int) string {
	var buf, mine [32]float64
	hs := slices.Clip(v.leading(30, 0.9999))
	for i := range v.k.faults { // rivals that are out of sight by now
		if v.marginal[i] < 1e-5 && v.fitsUnit(i) {
			hs = append(hs, v.alone(i, v.plausibleStart(i)*1e-6))
		}
	}
	const unlikely = 0.05
	var most float64
	var test, class int
	var rival hypothesis
	for i := range v.k.tests {
		o := v.standing[i]
		if o == nil || !o.done || !o.counts || v.k.tests[i].ID == "complaint" {
			continue
		}
		own := v.row(v.alone(f, 1), i, mine[:])
		swing := 0.1 + o.likelihood(own) // the findings that carry the verdict come first
		for _, h := range hs {
			if slices.Contains(h.faults, f) {
				continue
			}
			heavy := math.Sqrt(h.p)
			for c, q := range v.row(h, i, buf[:]) {
				if c == o.top || own[c] > unlikely || q <= own[c] {
					continue
				}
				score := math.Log(q/own[c]) * heavy * swing
				if score > most || score == most && i == test && c < class {
					most, test, class, rival = score, i, c, h
				}
			}
		}
	}
	if most == 0 {
		return ""
	}
	return fmt.Sprintf("If %s were %s, I would think of this instead: %s.", v.k.tests[test].Name, words(v.k.tests[test].Classes[class].ID), v.nameOf(rival.faults))
}

func words(id ClassID) string {
	out := []byte(id)
	for i := range out {
		if out[i] == '_' {
			out[i] = ' '
		}
	}
	return string(out)
}

func (v *view) nameOf(faults []int) string {
	name := ""
	for _, f := range faults {
		if name != "" {
			name += ", and "
		}
		name += v.k.faults[f].Name
	}
	return name
}

// causes lists the leading hypotheses.
func (v *view) causes(most int) []Cause {
	var out []Cause
	for _, h := range v.leading(most, 0.999) {
		c := Cause{Name: v.nameOf(h.faults), Probability: h.p, Because: v.reasons(h.faults, 3)}
		for _, f := range h.faults {
			c.Faults = append(c.Faults, v.k.faults[f].ID)
		}
		out = append(out, c)
	}
	return out
}

// findings lists what every reading meant, oldest first.
func (v *view) findings() []Finding {
	var out []Finding
	for e := range v.epochs {
		for t := range v.epochs[e] {
			o := &v.epochs[e][t]
			if !o.done || o.text == "" {
				continue
			}
			f := Finding{Seq: o.seq, Test: v.k.tests[t].ID, Quantity: v.k.tests[t].Quantity, Text: o.text, Rated: v.rated(&v.k.tests[t]), Sure: o.sure, Current: v.standing[t] == o}
			if o.counts {
				f.Plain = !strings.Contains(v.k.tests[t].Classes[o.top].Say, ": ")
				f.Class = v.k.tests[t].Classes[v.k.tests[t].whole(o.top)].ID
			}
			out = append(out, f)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Seq < out[j].Seq })
	return out
}
