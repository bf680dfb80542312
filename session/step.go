package session

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
	"callout/prompts"
)

// turn gathers the entries of one step; each has already happened to the call.
type turn struct {
	call    *Call
	at      time.Time
	records []Record
	err     error
}

func (c *Call) begin(at time.Time) *turn {
	at = at.Round(0) // as the log keeps it: without the monotonic clock, which drifts from the wall's
	if at.Before(c.at) {
		at = c.at // a clock that went back must not undo the order of the log
	}
	c.warnings = nil
	return &turn{call: c, at: at}
}

// emit lets body happen and notes it for the log.
func (t *turn) emit(body joblog.Body) uint64 {
	seq := t.call.seq + 1
	if err := t.call.Apply(seq, t.at, body); err != nil && t.err == nil {
		t.err = err
	}
	t.records = append(t.records, Record{Seq: seq, At: t.at, Body: body})
	return seq
}

// tells is what a line of speech is about: an id, and the entry of the log.
type tells struct {
	of    string
	entry uint64
}

// say adds a phrase of the book that tells of no entry.
func (t *turn) say(id string, args prompts.Args) { t.line(joblog.Spoken, id, args, tells{}) }

// sayOf adds a phrase of the book that tells of x.
func (t *turn) sayOf(id string, args prompts.Args, x tells) { t.line(joblog.Spoken, id, args, x) }

// show adds a phrase for the screen only.
func (t *turn) show(id string, args prompts.Args, x tells) { t.line(joblog.Shown, id, args, x) }

// line adds a phrase of the book. A phrase that can't be filled is a defect in
// the data; it stops the turn rather than staying unsaid.
func (t *turn) line(way joblog.Way, id string, args prompts.Args, x tells) {
	line, err := t.call.know.Book.Line(id, args)
	if err != nil {
		if t.err == nil {
			t.err = fmt.Errorf("session: %w", err)
		}
		return
	}
	t.emit(joblog.Said{Text: line.Text, Way: way, As: joblog.As(line.Priority.String()), Phrase: id, Of: x.of, Entry: x.entry})
}

// put says a question that waits.
func (t *turn) put(q *question) {
	t.emit(joblog.Said{Text: q.Say, Way: joblog.Spoken, As: joblog.AsQuestion, Entry: q.seq})
}

func (t *turn) end() ([]Record, error) { return t.records, t.err }

// Begin opens the job with the safety notice and asks for the complaint.
func (c *Call) Begin(at time.Time) ([]Record, error) {
	t := c.begin(at)
	notice, err := c.know.Book.Line("safety_notice", nil)
	if err != nil {
		return nil, err
	}
	given := t.emit(joblog.Caution{Caution: notice.ID, Say: notice.Text})
	t.sayOf(notice.ID, nil, tells{of: notice.ID, entry: given})
	t.energy(c.job.Energy())
	t.say("job_opened", prompts.Args{"Job": c.id})
	return t.end()
}

// Resume tells where the job stands after its log was read.
func (c *Call) Resume(at time.Time) ([]Record, error) {
	t := c.begin(at)
	t.say("job_resumed", prompts.Args{"Job": c.id, "Entries": c.seq, "Where": ""})
	t.resumed()
	t.warn()
	t.status()
	if q := c.asked(); q != nil {
		t.put(q)
	}
	return t.end()
}

// Tick lets time pass: waits that are over are told. It returns no records when
// nothing is due.
func (c *Call) Tick(at time.Time) ([]Record, error) {
	t := c.begin(at)
	if !c.closed {
		t.age()
	}
	due := false
	for _, timer := range c.running() {
		if timer.Until.After(t.at) {
			break
		}
		due = true
		done := t.emit(joblog.Timer{Timer: timer.Timer, Text: timer.Text, Event: joblog.TimerDone, Until: timer.Until})
		t.sayOf("timer_due", prompts.Args{"What": timer.Text}, tells{of: timer.Timer, entry: done})
	}
	if due && !c.closed {
		t.assess()
	}
	return t.end()
}

// Tell says a phrase of the book that no utterance asked for, such as that the
// microphone is gone. After the job was signed off it says nothing.
func (c *Call) Tell(at time.Time, phrase string, args prompts.Args) ([]Record, error) {
	if c.closed {
		return nil, nil
	}
	t := c.begin(at)
	t.say(phrase, args)
	return t.end()
}

// NextDue is the moment of the earliest running timer; ok is false if none runs.
func (c *Call) NextDue() (due time.Time, ok bool) {
	list := c.running()
	if len(list) == 0 {
		return time.Time{}, false
	}
	return list[0].Until, true
}

// running lists the timers, the earliest first.
func (c *Call) running() []joblog.Timer {
	return slices.SortedFunc(maps.Values(c.timers), func(a, b joblog.Timer) int {
		return cmp.Or(a.Until.Compare(b.Until), cmp.Compare(a.Timer, b.Timer))
	})
}

// ErrClosed is returned for an utterance after the job was signed off.
var ErrClosed = fmt.Errorf("session: the job is closed")

// Hear decides what becomes of one utterance. The first record is always the
// utterance itself, so that nothing heard is lost.
func (c *Call) Hear(u Utterance) ([]Record, error) {
	if c.closed {
		return nil, ErrClosed
	}
	t := c.begin(u.At)
	h := t.emit(joblog.Heard{Source: u.Source, Text: u.Text, LogLikelihood: u.LogLikelihood, Certainty: u.Certainty, Alternatives: u.Alternatives,
		Engine: u.Engine, Mixed: u.Mixed, DurationMS: u.Duration.Milliseconds(), Audio: u.Audio, AudioSHA256: u.AudioSHA256})
	t.age()
	d := c.decide(u)
	switch {
	case u.Echo:
		t.ignore(h, ownVoice)
	case c.deaf && !d.commands("listen"):
		t.ignore(h, notListening)
	case c.mixed > mostMixed && !d.commands("stop"):
		t.ignore(h, "its own voice may be in it, as in those before")
	case d.own:
		t.ignore(h, "it may be its own voice: the question stands")
		t.put(c.asked())
	case d.answer != nil:
		t.answer(h, u, d)
	case len(d.record) == 0 && len(d.ask) == 0:
		t.ignore(h, d.why)
		if !u.Mixed { // else it may be its own voice
			t.notSilent(d)
		}
	default:
		t.take(h, u, d)
	}
	return t.end()
}

// mostMixed is how many utterances in a row that may be the program's own voice it answers:
// else it could talk to itself for ever.
const mostMixed = 3

func (t *turn) ignore(heard uint64, why string) {
	t.emit(joblog.Callout{Heard: heard, Decision: joblog.Ignored, Because: why})
	if len(t.call.warnings) > 0 { // it put what is proved in doubt
		t.warn()
		t.assess()
	}
}

// notSilent answers what was said to callout, has something of the trade in it, and was
// not understood: what is about to be done is awaited, the rest is asked for.
func (t *turn) notSilent(d decision) {
	switch {
	case slices.ContainsFunc(d.meant, func(it intents.Item) bool {
		return it.Declaration != "" && slices.Contains(t.call.next.Declare, string(it.Declaration))
	}):
		t.say("tell_when_done", nil)
	case len(d.meant) == 0 && len(d.named) > 0:
		t.say("understood_part", prompts.Args{"What": d.named})
	}
}

// take records what is sure, asks about the rest, and says what follows.
func (t *turn) take(heard uint64, u Utterance, d decision) {
	if len(d.record) > 0 {
		t.record(heard, d.record, u.Certainty, d.answers)
	}
	for _, ask := range d.ask {
		t.ask(heard, ask, u.Certainty)
	}
	if len(d.ask) > 0 {
		t.warn()
		t.energy(t.call.job.Energy())
	}
	if q := t.call.asked(); q != nil && len(d.ask) > 0 {
		t.put(q)
	}
}

// record keeps what was said: the numbers and declarations in one entry, work
// done and notes in theirs; then does what was asked.
func (t *turn) record(heard uint64, list []intents.Item, certainty float64, answers uint64) {
	c := t.call
	b := callout(heard, joblog.Recorded, list, certainty)
	b.Answers = answers
	named := len(b.Readings)
	replaces := t.replaced(&b)
	entry := t.emit(b)
	if replaces != 0 {
		t.emit(joblog.Retracted{Entry: replaces, By: entry, Why: "corrected"})
	}
	var said, short []string
	for _, it := range list {
		switch {
		case it.Repair != "":
			repair, _ := c.know.Catalogue.Repair(it.Repair)
			t.emit(joblog.Repair{Repair: string(it.Repair), Part: repair.Part, Fault: c.verdict, Callout: entry})
			t.say("repair_noted", prompts.Args{"What": capital(repair.Spoken[0])})
		case it.Note != "":
			t.emit(joblog.Note{Text: it.Note, Callout: entry})
			t.say("note_kept", nil)
		case it.Command == nil && it.Question == nil:
			said, short = append(said, c.words(it)), append(short, c.fewWords(it))
		}
	}
	for _, r := range b.Readings[named:] { // "no, forty five": the number alone was said
		said, short = append(said, c.know.Book.Reading(fromReading(r))), append(short, c.know.Book.Value(fromReading(r)))
	}
	if replaces != 0 {
		t.say("corrected", prompts.Args{"What": join(said)})
	} else if len(said) > 0 {
		t.readBack(said, short)
	}
	t.warn()
	told := len(said) > 0 || len(b.Repairs) > 0
	for _, cmd := range b.Commands {
		told = t.command(cmd, entry) || told
	}
	if q := asksFor(list); q != nil {
		t.reply(*q)
	}
	closing := false
	for _, d := range b.Declarations {
		closing = closing || d.Declaration == "job_done"
	}
	switch {
	case closing:
		t.close(entry)
	case told:
		t.assess()
	}
}

// readBack says what was recorded; in brief the value, and shows the whole.
func (t *turn) readBack(said, short []string) {
	whole, few := capital(join(said)), capital(join(short))
	if t.call.manner == Brief && few != whole {
		t.say("read_back", prompts.Args{"What": few})
		t.show("read_back", prompts.Args{"What": whole}, tells{})
		return
	}
	t.say("read_back", prompts.Args{"What": whole})
}

// fewWords says an item for reading back in brief. What answers the open step needs no
// name; what doesn't is named by its place, or by its quantity where that has one place.
func (c *Call) fewWords(it intents.Item) string {
	switch {
	case it.Reading != nil && string(it.Reading.Quantity) == c.next.Quantity && string(it.Reading.Place) == c.next.Place:
		return c.know.Book.Value(*it.Reading)
	case it.Reading != nil:
		return c.know.Book.ShortReading(*it.Reading)
	case it.Observation != nil && string(it.Observation.Quantity) == c.next.Quantity && string(it.Observation.Place) == c.next.Place:
		q, _ := c.know.Catalogue.Quantity(it.Observation.Quantity)
		v, _ := q.Value(it.Observation.Value)
		return v.Name
	}
	return c.words(it)
}

// replaced finds what a correction mends: "no, forty five" takes the quantity
// and place of the last number, which is struck.
func (t *turn) replaced(b *joblog.Callout) uint64 {
	correct := -1
	for i, cmd := range b.Commands {
		if cmd.Command == "correct" {
			correct = i
		}
	}
	if correct < 0 || len(t.call.stack) == 0 {
		return 0
	}
	last := t.call.stack[len(t.call.stack)-1]
	if n := b.Commands[correct].Number; n != nil && last.last != nil && len(b.Readings) == 0 {
		r := *last.last
		r.Value, r.Qualifier = *n, ""
		b.Readings = append(b.Readings, toReading(r, 1))
	}
	if at := b.Commands[correct].Text; at != "" && last.last != nil && len(b.Readings) == 0 {
		place, ok := t.call.know.Parser.PlaceFor(last.last.Quantity, catalogue.PlaceID(at))
		if !ok {
			return 0
		}
		r := *last.last
		r.Place = place
		b.Readings = append(b.Readings, toReading(r, 1))
	}
	if len(b.Readings)+len(b.Observations) == 0 {
		return 0
	}
	return last.seq
}

// warn tells what does not fit, the hazards first.
func (t *turn) warn() {
	warnings := t.call.warnings
	t.call.warnings = nil
	for _, w := range warnings {
		b := joblog.Caution{Caution: w.ID, Say: w.Text, Broken: w.ID == "contradicts_energy"}
		if w.Seq > 0 {
			b.Entries = []uint64{w.Seq}
		}
		given := t.emit(b)
		t.sayOf("warning", prompts.Args{"Text": w.Text}, tells{of: w.ID, entry: given})
	}
}

// answer settles the question that waits.
func (t *turn) answer(heard uint64, u Utterance, d decision) {
	q := t.call.asked()
	switch {
	case q == nil:
		t.ignore(heard, "no question is open")
	case q.Asks == joblog.Close && *d.answer:
		t.emit(joblog.Callout{Heard: heard, Decision: joblog.Recorded, Answers: q.seq, Commands: []joblog.Command{{Command: "yes"}}})
		t.signOff()
	case *d.answer && q.Asks == joblog.Say:
		t.ignore(heard, "yes is no reading") // and it is asked again
	case *d.answer:
		t.record(heard, items(q.about), 1, q.seq)
	default:
		t.emit(joblog.Callout{Heard: heard, Decision: joblog.Recorded, Answers: q.seq, Commands: []joblog.Command{{Command: "no"}}})
		if q.Asks == joblog.Close {
			t.say("stays_open", nil)
			t.again()
			break
		}
		t.say("refused", nil)
	}
	if q := t.call.asked(); q != nil && !t.call.closed {
		t.put(q)
	}
}

// ask keeps what was considered and the question about it.
func (t *turn) ask(heard uint64, a asking, certainty float64) {
	b := callout(heard, joblog.Asked, a.about, certainty)
	b.Because = a.because
	entry := t.emit(b)
	line, err := t.call.know.Book.Line(a.phrase, a.args)
	if err != nil {
		t.err = fmt.Errorf("session: %w", err)
		return
	}
	t.emit(joblog.Question{Callout: entry, Asks: a.asks, Quantity: string(a.quantity), Place: string(a.place), Say: line.Text, Candidates: b.Readings})
}
