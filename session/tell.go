package session

import (
	"fmt"
	"slices"
	"strings"

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
		entry := w.Seq / eventsPerEntry
		if w.ID != "contradicts_reading" || t.call.warned[warnKey(entry, w.Text)] {
			continue
		}
		given := t.emit(joblog.Caution{Caution: w.ID, Say: w.Text, Entries: []uint64{entry}})
		t.sayOf("warning", prompts.Args{"Text": w.Text}, tells{of: w.ID, entry: given})
	}
}

func warnKey(entry uint64, text string) string { return fmt.Sprint(entry, " ", text) }

// step tells what to do next, if it is new or asked for again.
func (t *turn) step(n diagnose.Next, again bool) {
	c := t.call
	b := t.nextOf(n)
	if n.Say == "" || !again && same(b, c.next) {
		return
	}
	t.cautions(n.Cautions, again)
	x := tells{of: b.Test, entry: t.emit(b)}
	if n.Kind == diagnose.DoDone {
		t.sayOf("finished", prompts.Args{"Say": n.Say}, x)
		if because := t.unsaid(n.Because); because != "" {
			t.show("reason", prompts.Args{"Text": because}, x) // long, and all of it was said when it was measured
		}
		return
	}
	t.sayOf("next", prompts.Args{"Say": n.Say, "Because": t.unsaid(n.Because)}, x)
}

func (t *turn) nextOf(n diagnose.Next) joblog.Next {
	b := joblog.Next{Test: string(n.Test), Quantity: string(n.Quantity), Place: string(n.Place), Needs: join(n.Needs), Say: n.Say,
		Because: n.Because, Does: n.Kind, Repair: string(n.Repair), WaitSeconds: n.Wait.Seconds()}
	for _, d := range n.Declare {
		b.Declare = append(b.Declare, string(d))
	}
	return b
}

// unsaid is the reason as a sentence, or nothing if this turn gave it already.
func (t *turn) unsaid(reason string) string {
	text := sentence(reason)
	for _, said := range t.call.turn {
		if strings.Contains(said.Text, text) {
			return ""
		}
	}
	return text
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
		if known && !aloud {
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
		fmt.Sprint(a.Declare) == fmt.Sprint(b.Declare) && a.Needs == b.Needs
}

// findings says what the readings mean, each meaning once. A nameplate value can
// give meaning to an earlier reading.
func (t *turn) findings(a diagnose.Assessment) {
	c := t.call
	for _, f := range a.Findings {
		text := sentence(f.Text)
		if !f.Current || text == "" || c.wasTold(text) {
			continue
		}
		if v := a.Verdict; v != nil && faultKey(v.Faults) != c.verdict && strings.Contains(sentence(v.Because), text) {
			continue // the verdict comes with it
		}
		if t.gave("overfused") && f.Quantity == "overcurrent_fitted" || t.gave("wire_small") && f.Quantity == "min_circuit_ampacity" {
			t.show("finding", prompts.Args{"Text": text}, tells{}) // the warning has said it
			continue
		}
		if q, ok := c.know.Catalogue.Quantity(f.Quantity); ok && !q.Kind.Numeric() && !strings.Contains(text, ": ") {
			t.show("finding", prompts.Args{"Text": text}, tells{}) // what was seen was read back: it need not be said twice
			continue
		}
		t.say("finding", prompts.Args{"Text": text})
	}
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
		t.sayOf("verdict", prompts.Args{"Name": capital(a.Verdict.Name), "Because": sentence(a.Verdict.Because)}, x)
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
		b := joblog.Proof{Repair: c.repairs[len(c.repairs)-1].seq, Proved: item.OK, Because: item.Text}
		if c.proofs[proofKey(b)] {
			continue
		}
		phrase := "not_proved"
		if item.OK {
			phrase = "proved"
		}
		t.sayOf(phrase, prompts.Args{"Text": sentence(item.Text)}, tells{entry: t.emit(b)})
	}
}

func proofKey(p joblog.Proof) string { return fmt.Sprint(p.Repair, p.Proved, p.Because) }

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
