package session

import (
	"fmt"
	"math"
	"slices"
	"time"

	"callout/catalogue"
	"callout/diagnose"
	"callout/joblog"
	"callout/prompts"
)

// reminder is the timer of "call me in ten minutes".
const reminder = "reminder"

// command does what was asked and reports whether the assessment may have
// changed by it.
func (t *turn) command(cmd joblog.Command, entry uint64) bool {
	c := t.call
	switch catalogue.CommandID(cmd.Command) {
	case "repeat":
		if len(c.lastTurn) == 0 {
			t.say("nothing_said", nil)
		}
		if t.stale() {
			t.energy(c.job.Energy())
			t.again()
			break
		}
		for _, line := range c.lastTurn {
			if line.Way == joblog.Spoken || line.As == joblog.AsHazard { // what was only shown can be read
				line.Way = joblog.Spoken
				t.emit(line)
			}
		}
	case "why":
		t.why()
	case "next":
		t.again()
	case "status":
		t.status()
	case "how_long":
		t.howLong()
	case "skip", "cannot", "absent":
		open := c.openStep(catalogue.CommandID(cmd.Command))
		switch {
		case open.Cannot == "" && open.Lack == nil:
			t.say("no_test_open", nil)
			return false
		case open.Lack == nil:
			t.say("cannot_noted", nil)
		case open.Lack.Absent:
			t.say("absent_noted", nil)
		case c.next.Does == diagnose.DoNameplate:
			t.say("unread_noted", nil)
		default:
			t.say("barred_noted", nil)
		}
		return true
	case "retract":
		return t.retract(entry)
	case "remind":
		t.remind(cmd)
	case "brief", "full", "teaching":
		t.say(cmd.Command, nil)
	case "hold":
		t.say("holding", nil)
	case "stop_listening":
		t.say("stopped_listening", nil)
	case "listen":
		t.say("listening", nil)
	case "ignored":
		if len(c.ignored) == 0 {
			t.say("nothing_ignored", nil)
		} else {
			t.say("ignored", prompts.Args{"What": tail(c.ignored, 5)})
		}
	case asks:
	case "done_already":
		t.doneAlready()
	case "help":
		t.say("help", nil)
	case "correct":
		switch n := len(c.stack); {
		case cmd.Number == nil && cmd.Text == "":
		case n == 0:
			t.say("nothing_to_retract", nil)
		case c.stack[n-1].last == nil:
			t.say("nothing_to_correct", nil)
		}
	}
	return false
}

// doneAlready asks what came of a step that was done before callout asked for it.
func (t *turn) doneAlready() {
	n := t.call.next
	switch {
	case n.Quantity != "":
		t.say("done_value", prompts.Args{"What": capital(t.call.know.Book.Named(catalogue.QuantityID(n.Quantity), catalogue.PlaceID(n.Place)))})
	case len(n.Declare) > 0:
		var names []string
		for _, d := range n.Declare {
			declared, _ := t.call.know.Catalogue.Declaration(catalogue.DeclarationID(d))
			names = append(names, declared.Name)
		}
		t.say("done_declare", prompts.Args{"What": join(names)})
	default:
		t.say("no_test_open", nil)
	}
}

// why speaks the reason and shows the chain down to formula and source.
func (t *turn) why() {
	chain := t.call.job.Why(t.at)
	if len(chain) == 0 {
		t.say("no_lead", nil)
		return
	}
	t.say("reason", prompts.Args{"Text": sentence(chain[0])})
	for _, line := range chain[1:] {
		t.show("reason", prompts.Args{"Text": sentence(line)}, tells{})
	}
}

// stale reports whether the step that was told is not the step any more, so that it
// is not said again: what was proved then may not be proved now.
func (t *turn) stale() bool {
	a := t.call.job.Assess(t.at)
	return t.call.next.Say != "" && !same(t.nextOf(a.Next), t.call.next) || energyText(a.Energy) != t.call.energy
}

// again says the open step once more, its cautions before it.
func (t *turn) again() { t.step(t.call.job.Assess(t.at).Next, true) }

func (t *turn) status() {
	c := t.call
	a := c.job.Assess(t.at)
	t.say("energy", prompts.Args{"Text": energyText(a.Energy)})
	var values []string
	for _, k := range c.stack {
		values = append(values, k.what)
	}
	if len(values) > 0 {
		last := slices.Clone(tail(values, 8))
		last[0] = capital(last[0])
		t.say("values_so_far", prompts.Args{"What": last})
	}
	if done := a.Proof.Repairs; len(done) > 0 {
		in := 0
		for _, item := range a.Proof.Items {
			if item.Done && item.OK {
				in++
			}
		}
		repair, _ := c.know.Catalogue.Repair(done[len(done)-1])
		t.say("proof_status", prompts.Args{"What": capital(repair.Spoken[0]), "In": in, "Of": len(a.Proof.Items)})
	}
	switch {
	case a.Verdict != nil:
		t.say("verdict", prompts.Args{"Name": capital(a.Verdict.Name), "Because": sentence(a.Verdict.Because)})
	case len(a.Causes) > 0:
		t.say("leading", prompts.Args{"Percent": fmt.Sprintf("%.0f%%", 100*a.Causes[0].Probability), "Name": a.Causes[0].Name})
	default:
		t.say("no_lead", nil)
	}
	t.again()
}

func (t *turn) howLong() {
	list := t.call.running()
	if len(list) == 0 {
		t.say("no_timer", nil)
	}
	for _, timer := range list {
		t.say("timer_left", prompts.Args{"What": capital(timer.Text), "For": prompts.Duration(timer.Until.Sub(t.at))})
	}
}

func (t *turn) retract(entry uint64) bool {
	c := t.call
	if len(c.stack) == 0 {
		t.say("nothing_to_retract", nil)
		return false
	}
	last := c.stack[len(c.stack)-1]
	t.emit(joblog.Retracted{Entry: last.seq, By: entry, Why: "struck by the technician"})
	t.say("retracted", prompts.Args{"What": last.what})
	t.warn()
	return true
}

func (t *turn) remind(cmd joblog.Command) {
	if cmd.Number == nil || *cmd.Number <= 0 || *cmd.Number > 24*60 || math.IsNaN(*cmd.Number) {
		t.say("ask_again", nil)
		return
	}
	wait := time.Duration(*cmd.Number * float64(time.Minute))
	set := t.emit(joblog.Timer{Timer: reminder, Text: "you asked me to call", Event: joblog.TimerStarted, Until: t.at.Add(wait).UTC()})
	t.sayOf("timer_set", prompts.Args{"For": prompts.Duration(wait), "What": "your call"}, tells{of: reminder, entry: set})
}

// close signs the job off, or asks first where something is still open.
func (t *turn) close(entry uint64) {
	c := t.call
	a := c.job.Assess(t.at)
	why := ""
	switch {
	case len(c.repairs) > 0 && !a.Proof.Complete:
		why = "The repair is not proved yet."
	case a.Verdict == nil && len(c.repairs) == 0:
		why = "There is no verdict yet."
	}
	if why == "" || slices.ContainsFunc(c.open, func(q question) bool { return q.Asks == joblog.Close }) {
		t.signOff()
		return
	}
	line, err := c.know.Book.Line("not_closed", prompts.Args{"Why": why})
	if err != nil {
		t.err = fmt.Errorf("session: %w", err)
		return
	}
	t.emit(joblog.Question{Callout: 0, Asks: joblog.Close, Say: line.Text})
	t.put(c.asked())
}

func (t *turn) signOff() {
	c := t.call
	a := c.job.Assess(t.at)
	b := joblog.Closed{Verdict: c.verdict, Proved: len(c.repairs) > 0 && a.Proof.Complete}
	var text string
	switch {
	case b.Proved:
		b.Outcome, text = "proved", "Repair proved."
	case len(c.repairs) > 0:
		b.Outcome, text = "repair_unproved", "The repair was not proved."
	case a.Normal:
		b.Outcome, text = "no_fault", "No fault found."
	case c.verdict != "":
		b.Outcome, text = "verdict_only", "Verdict given, nothing repaired."
	default:
		b.Outcome, text = "no_verdict", "Left without a verdict."
	}
	b.Text = text
	t.say("closed", prompts.Args{"Entries": c.seq + 2, "Outcome": text})
	t.emit(b)
}

func tail(list []string, n int) []string {
	if len(list) > n {
		return list[len(list)-n:]
	}
	return list
}
