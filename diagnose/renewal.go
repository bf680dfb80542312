package diagnose

import "slices"

// renewed reports whether a repair was done for a fault.
func (v *view) renewed(f FaultID) bool {
	return slices.ContainsFunc(v.s.repairs, func(r repaired) bool { return slices.Contains(r.faults, f) })
}

// trial finds what is to be renewed before a dearer part is judged: the one thing that a
// gate still lacks, that can't be measured here, and that costs little. -1 if none.
func (v *view) trial() (fault int, why *renewal) {
	for i := range v.k.tests { // a test that is not put before it
		t := &v.k.tests[i]
		if t.First == "" || v.s.cannot[i] || v.barred(t.State) || !v.applies(t) || len(v.k.after[i]) > 0 && !v.anyHolds(v.k.after[i]) {
			continue
		}
		if o := v.standing[i]; o != nil && o.done && !o.again {
			continue
		}
		if f, why := v.onlyLack(v.before(nil, t.First)); why != nil && v.hangsOn(i) >= rather {
			return f, why
		}
	}
	for f, p := range v.marginal { // or a verdict
		if p >= rather && v.confirmed(f) {
			if f, why := v.onlyLack(v.lacking(f)); why != nil {
				return f, why
			}
		}
	}
	return -1, nil
}

// onlyLack is the renewal that needs come to, where it is all that they lack.
func (v *view) onlyLack(needs []need) (fault int, why *renewal) {
	if len(needs) != 1 || needs[0].Renew == nil || !v.beyondMeasure(needs[0]) {
		return -1, nil
	}
	why = needs[0].Renew
	return slices.IndexFunc(v.k.faults, func(f Fault) bool { return f.ID == why.Fault }), why
}

// beyondMeasure reports whether none of a need's tests can be done, or was answered in
// vain.
func (v *view) beyondMeasure(n need) bool {
	return !slices.ContainsFunc(n.Measure, func(id TestID) bool {
		i := v.k.testAt[id]
		if o := v.standing[i]; o != nil && o.done && o.counts {
			return true
		}
		return !v.s.cannot[i] && !v.inVain(i) && !v.barred(v.k.tests[i].State)
	})
}

// hangsOn is the belief in the faults whose verdict waits for a test.
func (v *view) hangsOn(i int) (p float64) {
	for f, m := range v.marginal {
		if m > 0.01 && slices.Contains(v.wanted(f), i) {
			p += m
		}
	}
	return p
}

// trialNext leads to such a renewal. Its verdict says what it is: no more than likely.
func (v *view) trialNext(a *Assessment) (Next, bool) {
	f, why := v.trial()
	if f < 0 || v.vain(f) {
		return Next{}, false
	}
	a.Verdict = v.trialVerdict(f, why)
	return v.repairNext(a.Verdict), true
}

func (v *view) trialVerdict(f int, why *renewal) *Verdict {
	d := v.verdict([]int{f})
	d.Name, d.Because, d.By, d.Reasons = why.Name, why.Because, nil, []string{why.Because}
	return d
}
