package session

import (
	"fmt"
	"slices"

	"callout/catalogue"
	"callout/diagnose"
	"callout/joblog"
	"callout/prompts"
)

// assess asks the engine and tells what is new.
func (t *turn) assess() {
	c := t.call
	a := c.job.Assess(t.at)
	t.energy(a.Energy)
	t.contradictions(a)
	t.proofs(a)
	t.findings(a)
	t.verdict(a)
	t.timers(a)
	t.step(a.Next, false)
}

// contradictions names the readings that can't both be, once for each pair.
func (t *turn) contradictions(a diagnose.Assessment) {
	for _, w := range a.Warnings {
		entries := []uint64{w.Seq / eventsPerEntry}
		for _, with := range w.With {
			entries = append(entries, with/eventsPerEntry)
		}
		if w.ID != "contradicts_reading" || t.call.warned[warnKey(w.ID, entries)] {
			continue
		}
		given := t.emit(joblog.Caution{Caution: w.ID, Say: w.Text, Entries: entries})
		t.sayOf("warning", prompts.Args{"Text": w.Text}, tells{of: w.ID, entry: given})
	}
}

// warnKey tells a warning from others: what it warns of, and the entries that don't fit.
func warnKey(id string, entries []uint64) string { return fmt.Sprint(id, " ", entries) }

// step tells what to do next, if it is new or asked for again.
func (t *turn) step(n diagnose.Next, again bool) {
	c := t.call
	b := t.nextOf(n)
	if n.Say == "" || !again && same(b, c.next) {
		return
	}
	t.cautions(n.Cautions, again || c.manner == Teaching)
	same := c.next.Test == b.Test && c.next.Repair == b.Repair && n.Step != ""
	x := tells{of: b.Test, entry: t.emit(b)}
	if n.Kind == diagnose.DoDone {
		t.sayOf("finished", prompts.Args{"Say": n.Say}, x)
		if because := t.unsaid(n); because != "" {
			t.show("reason", prompts.Args{"Text": because}, x) // long, and all of it was said when it was measured
		}
		return
	}
	if c.manner != Brief || again {
		t.sayOf("next", prompts.Args{"Say": n.Say, "Because": t.unsaid(n)}, x)
		return
	}
	say := n.Say
	if same { // what it is for was told with the step before
		say = n.Step
	} else if n.Short != "" {
		say = n.Short
	}
	t.sayOf("next_brief", prompts.Args{"Say": say}, x)
	t.show("next", prompts.Args{"Say": n.Say, "Because": t.unsaid(n)}, x)
}

func (t *turn) nextOf(n diagnose.Next) joblog.Next {
	b := joblog.Next{Test: string(n.Test), Quantity: string(n.Quantity), Place: string(n.Place), Needs: join(n.Needs), Say: n.Say,
		Because: n.Because, Does: n.Kind, Repair: string(n.Repair), WaitSeconds: n.Wait.Seconds()}
	for _, d := range n.Declare {
		b.Declare = append(b.Declare, string(d))
	}
	return b
}

// unsaid is the reason as a sentence, or nothing where this turn gave it already: what the
// verdict rests on is the reason of its repair.
func (t *turn) unsaid(n diagnose.Next) string {
	if t.call.manner == Teaching {
		return sentence(n.Because)
	}
	for _, line := range t.call.turn {
		if line.Phrase == "verdict" && (n.Kind == diagnose.DoRepair || n.Kind == diagnose.DoDone) {
			return ""
		}
	}
	return sentence(n.Because)
}

// cautions says each caution before the step that it belongs to. One that was
// said already in this job is shown, not read out again, unless the step itself
// is asked for again.
func (t *turn) cautions(list []diagnose.Caution, aloud bool) {
	for _, k := range list {
		if t.gave(k.ID) {
			continue
		}
		known := t.call.cautioned[k.ID]
		given := t.emit(joblog.Caution{Caution: k.ID, Say: k.Text})
		way := joblog.Spoken
		switch brief := t.call.manner == Brief; {
		case known && brief && (aloud || t.call.recalled[k.ID] != t.call.energy): // asked for, or the state has changed since
			t.sayOf("caution_short", prompts.Args{"Text": k.Name()}, tells{of: k.ID, entry: given})
			way = joblog.Shown
		case known && !aloud:
			way = joblog.Shown
		}
		t.line(way, "caution", prompts.Args{"Text": k.Text}, tells{of: k.ID, entry: given})
	}
}

// gave reports whether this turn gave the caution already.
func (t *turn) gave(id string) bool {
	return slices.ContainsFunc(t.records, func(r Record) bool {
		k, ok := r.Body.(joblog.Caution)
		return ok && k.Caution == id
	})
}

// same compares two steps by what is to be done; numbers in the wording may
// move, and a wait grows shorter by itself.
func same(a, b joblog.Next) bool {
	return a.Does == b.Does && a.Test == b.Test && a.Quantity == b.Quantity && a.Place == b.Place && a.Repair == b.Repair &&
		slices.Equal(a.Declare, b.Declare) && a.Needs == b.Needs
}

// findings says what the readings mean, each meaning of a reading once. A nameplate value
// can give meaning to an earlier reading.
func (t *turn) findings(a diagnose.Assessment) {
	c := t.call
	for _, f := range a.Findings {
		x := tells{of: findingID(f), entry: f.Seq / eventsPerEntry}
		if !f.Current || f.Text == "" || c.told[x] {
			continue
		}
		if v := a.Verdict; v != nil && slices.Contains(v.By, f.Test) && (faultKey(v.Faults) != c.verdict || x.entry < c.verdictSeq) {
			continue // the verdict comes with it
		}
		way := joblog.Spoken
		q, ok := c.know.Catalogue.Quantity(f.Quantity)
		if q.Kind == catalogue.Rated && t.warned(x.entry) || ok && !q.Kind.Numeric() && f.Plain {
			way = joblog.Shown // the warning has said it, or the read-back what was seen: it need not be said twice
		}
		if c.manner == Brief && (len(c.repairs) > 0 || !t.turns(a)) {
			way = joblog.Shown
		}
		t.line(way, "finding", prompts.Args{"Text": sentence(f.Text)}, x)
	}
}

// turns reports whether another cause is the likeliest now than was told last.
func (t *turn) turns(a diagnose.Assessment) bool {
	return len(a.Causes) > 0 && faultKey(a.Causes[0].Faults) != t.call.leading
}

// findingID names what a reading means: the test, its outcome, and how much of the
// nameplate it was held against.
func findingID(f diagnose.Finding) string { return fmt.Sprint(f.Test, ":", f.Class, ":", f.Rated) }

// warned reports whether this turn warned of what an entry told.
func (t *turn) warned(entry uint64) bool {
	return slices.ContainsFunc(t.records, func(r Record) bool {
		k, ok := r.Body.(joblog.Caution)
		return ok && slices.Contains(k.Entries, entry)
	})
}

func (t *turn) verdict(a diagnose.Assessment) {
	c := t.call
	b := joblog.Assessment{Causes: []joblog.Cause{}, Expected: c.newLimits(a)}
	for _, cause := range a.Causes {
		b.Causes = append(b.Causes, joblog.Cause{Fault: faultKey(cause.Faults), Probability: cause.Probability, Because: join(cause.Because)})
	}
	before := c.verdict
	if a.Verdict != nil {
		b.Verdict, b.Because = faultKey(a.Verdict.Faults), a.Verdict.Because
	}
	x := tells{of: b.Verdict, entry: t.emit(b)}
	switch {
	case a.Verdict != nil && b.Verdict != before:
		because := sentence(a.Verdict.Because)
		if c.manner == Brief && c.verdicts[b.Verdict] {
			because = "" // it was told, and only another one stood between
		}
		t.sayOf("verdict", prompts.Args{"Name": capital(a.Verdict.Name), "Because": because}, x)
		for _, other := range a.Verdict.RuledOut {
			t.show("ruled_out", prompts.Args{"Text": sentence(other)}, x)
		}
		t.cautions(a.Verdict.Cautions, false)
	case a.Verdict == nil && before != "" && !a.Proof.Complete && len(a.Proof.Repairs) == 0:
		t.sayOf("verdict_withdrawn", prompts.Args{"Because": "the last reading does not fit it."}, tells{of: before, entry: x.entry})
	}
}

func (t *turn) proofs(a diagnose.Assessment) {
	c := t.call
	if len(c.repairs) == 0 {
		return
	}
	for _, item := range a.Proof.Items {
		if !item.Done {
			continue
		}
		b := joblog.Proof{Repair: c.repairs[len(c.repairs)-1].seq, Proved: item.OK, Test: string(item.Test), Because: item.Text}
		if c.proofs[proofKey(b)] {
			continue
		}
		phrase := "not_proved"
		if item.OK {
			phrase = "proved"
		}
		way := joblog.Spoken
		if c.manner == Brief && item.OK {
			way = joblog.Shown // its value was read back, and it is as it should be
		}
		t.line(way, phrase, prompts.Args{"Text": sentence(item.Text)}, tells{of: b.Test, entry: t.emit(b)})
	}
}

// proofKey tells a proof from others: of which repair, by which test, and how it came out.
func proofKey(p joblog.Proof) string { return fmt.Sprint(p.Repair, " ", p.Test, " ", p.Proved) }

// timers starts those that the engine wants and drops those it no longer has.
func (t *turn) timers(a diagnose.Assessment) {
	c := t.call
	wanted := map[string]bool{}
	for _, timer := range a.Timers {
		wanted[timer.ID] = true
		if running, ok := c.timers[timer.ID]; ok && running.Until.Equal(timer.Until) {
			continue
		}
		if !timer.Until.After(t.at) {
			continue
		}
		set := t.emit(joblog.Timer{Timer: timer.ID, Text: timer.Text, Event: joblog.TimerStarted, Until: timer.Until.UTC()})
		way := joblog.Shown // spoken only when there is nothing to do but wait
		if a.Next.Kind == diagnose.DoWait {
			way = joblog.Spoken
		}
		t.line(way, "timer_set", prompts.Args{"For": prompts.Duration(timer.Until.Sub(t.at)), "What": timer.Text}, tells{of: timer.ID, entry: set})
	}
	for _, running := range c.running() {
		if !wanted[running.Timer] && running.Timer != reminder {
			t.emit(joblog.Timer{Timer: running.Timer, Text: running.Text, Event: joblog.TimerCancelled, Until: running.Until})
		}
	}
}

func faultKey(list []diagnose.FaultID) string {
	key := ""
	for i, f := range list {
		if i > 0 {
			key += "+"
		}
		key += string(f)
	}
	return key
}

// lastNumber is what a correction would mend.
func (c *Call) lastNumber() (*catalogue.Reading, *catalogue.Observation) {
	if len(c.stack) == 0 {
		return nil, nil
	}
	k := c.stack[len(c.stack)-1]
	return k.last, k.chosen
}
