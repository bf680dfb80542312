package diagnose

// proof works out how far the last repair is proved. Only readings after it
// count.
func (v *view) proof() ProofState {
	var p ProofState
	s := v.s
	if len(s.repairs) == 0 {
		return p
	}
	last := s.repairs[len(s.repairs)-1].epoch
	seen := map[int]bool{}
	p.Complete = true
	for _, r := range s.repairs {
		if r.epoch != last {
			continue
		}
		p.Repairs = append(p.Repairs, r.id)
		for _, c := range v.k.repairs[v.k.repairAt[r.id]].proof {
			t := &v.k.tests[c.test]
			if seen[c.test] || !v.applies(t) {
				continue
			}
			seen[c.test] = true
			item := ProofItem{Test: t.ID, Name: t.Name}
			if o := &v.epochs[s.epoch][c.test]; o.done && !o.again {
				item.Done, item.OK, item.Text = true, o.in(c), o.text
				p.Failed = p.Failed || o.counts && !item.OK
			}
			p.Complete = p.Complete && item.Done && item.OK
			p.Items = append(p.Items, item)
		}
	}
	return p
}

// proofNext asks for the next proof of a repair, or closes the job.
func (v *view) proofNext(p *ProofState) (Next, bool) {
	if len(p.Repairs) == 0 || p.Failed {
		return Next{}, false
	}
	var best candidate
	found, waived := false, false
	for _, item := range p.Items {
		if item.Done {
			waived = waived || !item.OK
			continue
		}
		i := v.k.testAt[item.Test]
		if v.s.cannot[i] {
			waived = true
			continue
		}
		c := v.candidate(i)
		if !found || len(c.path) < len(best.path) {
			best, found = c, true
		}
	}
	if found {
		return v.testNext(best, DoProof), true
	}
	if v.remaining() {
		return Next{}, false // a second fault is left
	}
	if waived {
		return Next{Kind: DoDone, Say: "The repair is done, and not every proof could be taken. Note what is missing before you leave.", Because: "a repair is not done before its proof"}, true
	}
	text := ""
	for _, item := range p.Items {
		if text != "" {
			text += "; "
		}
		text += item.Text
	}
	return Next{Kind: DoDone, Say: "The repair is proved. Close the panel, and the job can be closed.", Because: text}, true
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
