package session_test

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/diagnose"
	"callout/joblog"
	"callout/session"
	"callout/session/internal/hazard"
)

// line is one line of a session, with what it means.
type line struct {
	at      time.Time
	text    string
	told    []hazard.Told
	resume  bool     // the program is started anew from its log
	correct *float64 // the number that replaces the last one
	retract bool     // the last thing told is struck
	cannot  bool     // the open step can't be done
	absent  bool     // what the open step asks for is not fitted
	later   time.Duration
}

func (l line) String() string {
	if l.resume {
		return "# the program is started anew at " + l.at.Format(time.RFC3339)
	}
	return "@" + l.at.Format(time.RFC3339) + " " + l.text
}

// finding is one breach, where it came up.
type finding struct {
	hazard.Breach
	line int
	key  string // rule and step: what makes it the same break
	say  string
}

// game is what can be played: a call through its log, or the engine's job alone.
type game interface {
	play(line) ([]finding, error)
	next() hazard.Prompt // the open step
	gave() bool          // whether the last line had it given
}

// callGame plays typed lines through a Call, keeps its log, and starts it anew from
// the log where a line says so.
type callGame struct {
	know   *session.Knowledge
	judge  *hazard.Judge
	ledger *hazard.Ledger
	call   *session.Call
	log    []session.Record
	given  map[string]hazard.Prompt // every prompt so far, by its words
	open   hazard.Prompt
	ids    map[uint64][]hazard.Told // what each utterance told, by its entry
	of     map[uint64]uint64        // the utterance behind each entry
	nextID int
	lines  int
	fresh  bool
}

func newCallGame(k *session.Knowledge, j *hazard.Judge, at time.Time) (*callGame, error) {
	g := &callGame{know: k, judge: j, ledger: hazard.NewLedger(), call: session.NewCall(k, session.Policy{}), given: map[string]hazard.Prompt{},
		ids: map[uint64][]hazard.Told{}, of: map[uint64]uint64{}}
	opened := joblog.Opened{Job: "hazard", Schema: 1, Program: "test"}
	if err := g.call.Apply(1, at, opened); err != nil {
		return nil, err
	}
	g.log = append(g.log, session.Record{Seq: 1, At: at, Body: opened})
	_, err := g.take(g.call.Begin(at))
	return g, err
}

func (g *callGame) next() hazard.Prompt { return g.open }

func (g *callGame) gave() bool { return g.fresh }

func (g *callGame) play(l line) ([]finding, error) {
	g.lines++
	g.fresh = false
	if l.resume {
		call := session.NewCall(g.know, session.Policy{})
		for _, r := range g.log {
			if err := call.Apply(r.Seq, r.At, r.Body); err != nil {
				return nil, err
			}
		}
		g.call = call
		g.ledger.Resume()
		return g.take(g.call.Resume(l.at))
	}
	var all []finding
	if due, ok := g.call.NextDue(); ok && !due.After(l.at) {
		found, err := g.take(g.call.Tick(l.at))
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	records, err := g.call.Hear(session.Utterance{At: l.at, Source: joblog.Typed, Text: l.text, Certainty: 1})
	if err != nil {
		return all, err
	}
	g.hear(l, records)
	found, err := g.take(records, nil)
	return append(all, found...), err
}

// hear lets the ledger have what a line tells. What was struck is struck first, so
// that a correction tells the new number.
func (g *callGame) hear(l line, records []session.Record) {
	told := l.told
	var heard uint64
	for _, r := range records {
		switch b := r.Body.(type) {
		case joblog.Heard:
			heard = r.Seq
		case joblog.Callout:
			g.of[r.Seq] = b.Heard
		case joblog.Repair:
			g.of[r.Seq] = heard
		case joblog.Retracted:
			old := g.ids[g.of[b.Entry]]
			for _, t := range old {
				g.ledger.Strike(t.ID)
			}
			if l.correct != nil && len(old) == 1 && old[0].Reading != nil {
				r := *old[0].Reading
				r.Value, r.Qualifier = *l.correct, ""
				told = []hazard.Told{{Reading: &r}}
			}
		}
	}
	if l.absent {
		told = lacksPart(g.open)
	}
	for _, t := range inAnswer(told, g.open) {
		g.nextID++
		t.ID, t.At = g.nextID, l.at
		g.ids[heard] = append(g.ids[heard], t)
		g.ledger.Tell(t)
	}
}

// take keeps the records of a turn and judges what they tell the technician.
func (g *callGame) take(records []session.Record, err error) ([]finding, error) {
	var found []finding
	var cautions []string
	add := func(list []hazard.Breach, key, say string) {
		for _, b := range list {
			found = append(found, finding{b, g.lines - 1, breakKey(b, key), say})
		}
	}
	now := map[string]bool{} // prompts of this turn, judged already
	for _, r := range records {
		g.log = append(g.log, r)
		switch b := r.Body.(type) {
		case joblog.Caution:
			cautions = append(cautions, b.Say)
		case joblog.Next:
			p := hazard.Prompt{Does: b.Does, Test: b.Test, Quantity: b.Quantity, Place: b.Place, Declare: b.Declare, Repair: b.Repair, Say: b.Say, Cautions: cautions}
			add(g.judge.Check(p, g.ledger, r.At), stepKey(p), b.Say)
			say := plain(b.Say)
			g.given[say], now[say], g.open, g.fresh = p, true, p, true
		case joblog.Energy:
			add(g.ledger.Claims(b.Outdoor == "proved_dead", b.Indoor == "proved_dead", b.Capacitor == "proved", r.At), "", b.State)
		case joblog.Said:
			text := plain(b.Text)
			add(g.ledger.Claims(strings.HasPrefix(text, "power: outdoor unit declared dead and proved dead"), strings.HasPrefix(text, "power:") && strings.Contains(text, "air handler declared dead and proved dead"),
				strings.HasPrefix(text, "power:") && strings.Contains(text, "; capacitor proved bled"), r.At), "", b.Text)
			for say, p := range g.given {
				if !now[say] && strings.HasPrefix(strings.TrimPrefix(text, "next: "), say) {
					p.Cautions = []string{"given before"}
					add(g.judge.Check(p, g.ledger, r.At), "repeated", b.Text)
				}
			}
		}
	}
	return found, err
}

func plain(s string) string { return strings.ToLower(strings.TrimRight(s, ".?! ")) }

// breakKey names a break: the rule and what is lacking; for what only a step itself
// can lack, the step too.
func breakKey(b hazard.Breach, step string) string {
	switch {
	case b.Rule == "probe" || b.Rule == "reset" || b.Rule == "control":
		return b.Rule + ": " + step
	case step == "repeated":
		return b.Rule + " (said again): " + b.What + ": " + b.Because
	}
	return b.Rule + ": " + b.What + ": " + b.Because
}

// stepKey names a step without its numbers.
func stepKey(p hazard.Prompt) string {
	switch {
	case p.Does == "repair":
		return "repair " + p.Repair
	case p.Does == "test" || p.Does == "proof":
		return "test " + p.Test
	}
	return p.Does + " " + strings.Join(p.Declare, "+") + p.Quantity + " " + p.Place
}

// lacksPart is the part that "there is none" is told of, where it matters to a hand: a
// section that a capacitor need not have, or the blower's capacitor.
func lacksPart(open hazard.Prompt) []hazard.Told {
	switch {
	case open.Does != "make_safe":
	case open.Place == "fan_section":
		return []hazard.Told{{Absent: "fan_section"}}
	case asksBlowerCapacitor(open), slices.Contains(open.Declare, "blower_capacitor_bled"):
		return []hazard.Told{{Absent: "blower_capacitor"}}
	}
	return nil
}

// asksBlowerCapacitor reports whether a step asks for the volts across the blower's
// capacitor, under whatever place.
func asksBlowerCapacitor(open hazard.Prompt) bool {
	return open.Does == "make_safe" && (open.Place == "blower_capacitor" || strings.Contains(open.Say, "across the blower's capacitor"))
}

// inAnswer adds what a reading means as the answer to the open step: volts at the blower
// are those across its capacitor where those were asked for, and only there.
func inAnswer(told []hazard.Told, open hazard.Prompt) []hazard.Told {
	for _, t := range told {
		if r := t.Reading; r != nil && r.Quantity == "voltage" && r.Place == "blower" && asksBlowerCapacitor(open) {
			across := *r
			across.Quantity, across.Place = "capacitor_voltage", "blower_capacitor"
			return append(told[:len(told):len(told)], hazard.Told{Reading: &across})
		}
	}
	return told
}

// jobGame plays the same lines as events of the engine's job, with no words between.
type jobGame struct {
	job    *diagnose.Job
	judge  *hazard.Judge
	ledger *hazard.Ledger
	open   hazard.Prompt
	stack  []hazard.Told
	nextID int
	lines  int
}

func newJobGame(k *session.Knowledge, j *hazard.Judge) *jobGame {
	return &jobGame{job: k.Engine.NewJob(), judge: j, ledger: hazard.NewLedger()}
}

func (g *jobGame) next() hazard.Prompt { return g.open }

func (g *jobGame) gave() bool { return true }

func (g *jobGame) strike() (hazard.Told, error) {
	if len(g.stack) == 0 {
		return hazard.Told{}, nil
	}
	last := g.stack[len(g.stack)-1]
	g.stack = g.stack[:len(g.stack)-1]
	g.ledger.Strike(last.ID)
	return last, g.job.Retract(uint64(last.ID))
}

func (g *jobGame) play(l line) ([]finding, error) {
	g.lines++
	told := l.told
	if last := len(g.stack) - 1; l.retract || l.correct != nil && last >= 0 && g.stack[last].Reading != nil {
		last, err := g.strike()
		if err != nil {
			return nil, err
		}
		if l.correct != nil {
			r := *last.Reading
			r.Value, r.Qualifier = *l.correct, ""
			told = []hazard.Told{{Reading: &r}}
		}
	}
	for _, t := range told {
		g.nextID++
		t.ID, t.At = g.nextID, l.at
		g.stack = append(g.stack, t)
		for _, meant := range inAnswer([]hazard.Told{t}, g.open) {
			meant.ID, meant.At = t.ID, l.at
			g.ledger.Tell(meant)
		}
		g.job.Add(diagnose.Event{Seq: uint64(t.ID), At: l.at, Reading: t.Reading, Observation: t.Observation, Declaration: t.Declaration, Repair: t.Repair})
	}
	if (l.cannot || l.absent) && g.open.Test != "" {
		e := diagnose.Event{At: l.at, Cannot: diagnose.TestID(g.open.Test)}
		if l.absent {
			e.Lack = &diagnose.Lack{Absent: true}
			for _, t := range lacksPart(g.open) {
				g.ledger.Tell(t)
			}
			if g.open.Does == diagnose.DoMakeSafe {
				e.Lack.Quantity, e.Lack.Place = catalogue.QuantityID(g.open.Quantity), catalogue.PlaceID(g.open.Place)
				if len(g.open.Declare) > 0 {
					e.Lack.Declare = catalogue.DeclarationID(g.open.Declare[0])
				}
			}
		}
		g.nextID++
		e.Seq = uint64(g.nextID)
		g.job.Add(e)
	}
	a := g.job.Assess(l.at)
	n := a.Next
	p := hazard.Prompt{Does: n.Kind, Test: string(n.Test), Quantity: string(n.Quantity), Place: string(n.Place), Repair: string(n.Repair), Say: n.Say}
	for _, d := range n.Declare {
		p.Declare = append(p.Declare, string(d))
	}
	for _, c := range n.Cautions {
		p.Cautions = append(p.Cautions, c.Text)
	}
	g.open = p
	var found []finding
	list := g.judge.Check(p, g.ledger, l.at)
	for _, b := range list {
		found = append(found, finding{b, g.lines - 1, breakKey(b, stepKey(p)), p.Say})
	}
	for _, b := range g.ledger.Claims(a.Energy.Outdoor == "proved_dead", a.Energy.Indoor == "proved_dead", a.Energy.Capacitor == "proved", l.at) {
		found = append(found, finding{b, g.lines - 1, breakKey(b, ""), fmt.Sprint(a.Energy.Outdoor, " ", a.Energy.Indoor, " ", a.Energy.Capacitor)})
	}
	return found, nil
}

// finds plays lines and reports the first finding with the key, or any if key is "".
func finds(start func() (game, error), lines []line, key string) (finding, bool, error) {
	g, err := start()
	if err != nil {
		return finding{}, false, err
	}
	for _, l := range lines {
		found, err := g.play(l)
		if err != nil {
			return finding{}, false, err
		}
		for _, f := range found {
			if key == "" || f.key == key {
				return f, true, nil
			}
		}
	}
	return finding{}, false, nil
}

// shrink deletes lines for as long as the same break still comes up.
func shrink(start func() (game, error), lines []line, key string) []line {
	for size := (len(lines) + 1) / 2; size > 0; size /= 2 {
		for again := true; again; {
			again = false
			for i := 0; i < len(lines); {
				end := min(i+size, len(lines))
				less := append(append([]line(nil), lines[:i]...), lines[end:]...)
				if _, ok, err := finds(start, less, key); ok && err == nil {
					lines, again = less, true
					continue
				}
				i = end
			}
			again = again && size == 1
		}
	}
	return lines
}

// script writes lines as they would be typed.
func script(f *phrases, lines []line) string {
	var b strings.Builder
	for _, l := range lines {
		if l.text == unworded {
			l.text = f.words(l.told[0])
		}
		fmt.Fprintln(&b, "  "+l.String())
	}
	return b.String()
}
