package session

import (
	"fmt"
	"slices"
	"time"

	"callout/catalogue"
	"callout/diagnose"
	"callout/diagnose/energy"
	"callout/intents"
	"callout/joblog"
	"callout/prompts"
)

// Knowledge is everything that does not change during a job. Its parts are safe
// for concurrent use, so one Knowledge serves many calls.
type Knowledge struct {
	Catalogue *catalogue.Catalogue
	Parser    *intents.Parser
	Engine    *diagnose.Knowledge
	Book      *prompts.Book
	// Hypotheses are what technicians suspect, by name.
	Hypotheses map[string]hypothesisOf
	unsettling []unsettling
}

// LoadKnowledge reads and checks all the embedded data.
func LoadKnowledge() (*Knowledge, error) {
	c, err := catalogue.Load()
	if err != nil {
		return nil, err
	}
	p, err := intents.New(c)
	if err != nil {
		return nil, err
	}
	e, err := diagnose.Load(c)
	if err != nil {
		return nil, err
	}
	b, err := prompts.Load(c)
	if err != nil {
		return nil, err
	}
	h, err := loadHypotheses()
	if err != nil {
		return nil, err
	}
	u, err := loadUnsettling()
	if err != nil {
		return nil, err
	}
	return &Knowledge{Catalogue: c, Parser: p, Engine: e, Book: b, Hypotheses: h, unsettling: u}, nil
}

// Policy says how sure the ear must be.
type Policy struct {
	// Ask: below this certainty (0..1) a callout is asked back; 0: below the limit that was
	// chosen for the recogniser that heard it, see hearing.AskBelow.
	Ask float64
	// AskSafety: the same for declarations and repairs; they need as much as all else, at
	// least.
	AskSafety float64
	// Ignore: below this certainty an utterance is taken for noise.
	Ignore float64
	// Manner is how much is said, until the technician says otherwise; "" is in full.
	Manner Manner
}

// Manner is how much is said. The log and the screen keep everything in all of them.
type Manner string

// The manners of talking. They are the ids of the commands that choose them.
const (
	// Brief says values, verdicts, steps and hazards, and each reason once.
	Brief Manner = "brief"
	// Full says what readings mean and why each step is taken.
	Full Manner = "full"
	// Teaching says every caution whole and every reason, each time.
	Teaching Manner = "teaching"
)

// Utterance is what the ear or the keyboard brings.
type Utterance struct {
	At            time.Time
	Source        joblog.Source
	Text          string
	Certainty     float64 // 0..1 that Text is what was said; typed text is 1
	LogLikelihood float64
	Alternatives  []joblog.Alternative
	Engine        string
	Duration      time.Duration
	Sound         []float32 // at audio.Rate; nil if typed
	Audio         string    // file name in the job's audio folder, if kept
	AudioSHA256   string
	Cut           bool // the sound broke off in it: what it says is asked back
	Echo          bool // it is the program's own voice
	Mixed         bool // the program spoke meanwhile: it may hold its own voice, and what it says is asked back
}

// Record is one entry to be logged. Seq is the number that the log will give it.
type Record struct {
	Seq  uint64
	At   time.Time
	Body joblog.Body
}

// question is one that waits for its answer.
type question struct {
	seq uint64
	at  time.Time
	joblog.Question
	about joblog.Callout
	step  joblog.Next // that was open when it was put
}

// kept is one thing recorded that can still be struck.
type kept struct {
	seq    uint64
	events []uint64 // what the engine was told
	what   string
	last   *catalogue.Reading
	chosen *catalogue.Observation

	readings []catalogue.Reading
	seen     []catalogue.Observation
}

// Call is the conversation of one job. Not safe for concurrent use.
type Call struct {
	know   *Knowledge
	policy Policy
	job    *diagnose.Job

	seq        uint64
	at         time.Time
	id         string
	deaf       bool // told to stop listening
	manner     Manner
	leading    string            // the likeliest cause as last told
	recalled   map[string]string // the energy state in which each caution was last said
	mixed      int               // utterances in a row that the program spoke in
	closed     bool
	heard      map[uint64]string         // texts by entry, until something was made of them
	considered map[uint64]joblog.Callout // by entry, until their question comes
	open       []question
	stack      []kept
	next       joblog.Next
	nextSeq    uint64 // of the entry that told the next step
	verdict    string
	verdicts   map[string]bool // those told so far
	verdictSeq uint64          // of the entry that gave it
	energy     string
	proofs     map[string]bool // by repair, test and outcome
	limits     map[limitKey]joblog.Expected
	repairs    []repaired
	timers     map[string]joblog.Timer
	ignored    []string
	turn       []joblog.Said // since the last utterance
	lastTurn   []joblog.Said // in answer to the one before
	cautioned  map[string]bool
	warned     map[string]bool                  // by id and entries
	holds      map[catalogue.DeclarationID]bool // the last of each pair of opposites that was declared
	told       map[tells]bool                   // what was said or shown so far
	warnings   []diagnose.Warning               // raised by what was applied since the last turn
}

// repaired is one repair told as done.
type repaired struct {
	seq    uint64
	repair catalogue.RepairID
}

// NewCall begins a call with an empty log.
func NewCall(k *Knowledge, p Policy) *Call {
	return &Call{know: k, policy: p, manner: p.Manner, recalled: map[string]string{}, verdicts: map[string]bool{}, job: k.Engine.NewJob(), heard: map[uint64]string{}, considered: map[uint64]joblog.Callout{},
		proofs: map[string]bool{}, limits: map[limitKey]joblog.Expected{}, timers: map[string]joblog.Timer{}, cautioned: map[string]bool{}, warned: map[string]bool{}, told: map[tells]bool{}, holds: map[catalogue.DeclarationID]bool{}}
}

// Apply lets one entry of the log happen. Entries must come in order.
func (c *Call) Apply(seq uint64, at time.Time, body joblog.Body) error {
	if seq != c.seq+1 {
		return fmt.Errorf("session: entry %d after entry %d", seq, c.seq)
	}
	c.seq, c.at = seq, at
	switch b := body.(type) {
	case joblog.Opened:
		c.id = b.Job
	case joblog.Heard:
		c.heard[seq] = b.Text
		if c.mixed++; !b.Mixed {
			c.mixed = 0
		}
		if len(c.turn) > 0 {
			c.lastTurn, c.turn = c.turn, nil
		}
	case joblog.Callout:
		c.applyCallout(seq, at, b)
		if c.unsettled(b) {
			c.tell(seq, diagnose.Event{Seq: eventSeq(seq, eventsPerEntry-1), At: at, Unsettled: true})
		}
		delete(c.heard, b.Heard)
	case joblog.Question:
		asked := question{seq: seq, at: at, Question: b, about: c.considered[b.Callout], step: c.next}
		c.open = slices.DeleteFunc(c.open, func(q question) bool { return q.about.Heard != asked.about.Heard })
		c.open = append(c.open, asked)
		delete(c.considered, b.Callout)
	case joblog.Retracted:
		c.applyRetracted(b)
	case joblog.Repair:
		c.repairs = append(c.repairs, repaired{seq, catalogue.RepairID(b.Repair)})
		c.tell(seq, diagnose.Event{Seq: eventSeq(seq, 0), At: at, Repair: catalogue.RepairID(b.Repair)})
		r, _ := c.know.Catalogue.Repair(catalogue.RepairID(b.Repair))
		c.stack = append(c.stack, kept{seq: seq, events: []uint64{eventSeq(seq, 0)}, what: r.Spoken[0]})
	case joblog.Energy:
		if b.Resumed {
			c.turn, c.lastTurn = nil, nil // what was said then may not be said again
			c.tell(seq, diagnose.Event{Seq: eventSeq(seq, 0), At: at, Resumed: true})
		}
		c.energy = b.State
	case joblog.Assessment:
		for _, x := range b.Expected {
			c.limits[keyOf(x)] = x
		}
		if c.leading = ""; len(b.Causes) > 0 {
			c.leading = b.Causes[0].Fault
		}
		if c.verdict != b.Verdict {
			c.verdict, c.verdictSeq = b.Verdict, seq
		}
	case joblog.Next:
		c.next, c.nextSeq = b, seq
	case joblog.Caution:
		c.cautioned[b.Caution] = true
		if b.Caution == energy.Lapsed {
			c.turn, c.lastTurn = nil, nil
		}
		c.warned[warnKey(b.Caution, b.Entries)] = true
	case joblog.Timer:
		if b.Event == joblog.TimerStarted {
			c.timers[b.Timer] = b
		} else {
			delete(c.timers, b.Timer)
		}
	case joblog.Proof:
		c.proofs[proofKey(b)] = true
	case joblog.Said:
		c.turn = append(c.turn, b)
		if b.Way == joblog.Spoken && (b.Phrase == "caution" || b.Phrase == "caution_short") {
			c.recalled[b.Of] = c.energy
		}
		if b.Phrase == "verdict" {
			c.verdicts[b.Of] = true
		}
		if b.Of != "" {
			c.told[tells{b.Of, b.Entry}] = true
		}
	case joblog.Closed:
		c.closed = true
	}
	return nil
}

// eventsPerEntry bounds how many things one entry can tell the engine; the last two are for
// what a command says of the open step, and for what the words put in doubt.
const eventsPerEntry = 64

func eventSeq(entry uint64, index int) uint64 { return entry*eventsPerEntry + uint64(index) }

func (c *Call) tell(entry uint64, e diagnose.Event) {
	for _, w := range c.job.Add(e) {
		w.Seq = entry
		c.warnings = append(c.warnings, w)
	}
}

// doubt takes what was asked back for what may be so, until it is told: what it contradicts
// is not proved. Of several readings one is as likely harmless.
func (c *Call) doubt(seq uint64, at time.Time, b joblog.Callout) {
	for i, d := range b.Declarations {
		if i < eventsPerEntry-2 {
			c.tell(seq, diagnose.Event{Seq: eventSeq(seq, i), At: at, Declaration: catalogue.DeclarationID(d.Declaration), Struck: true})
		}
	}
	switch {
	case len(b.Declarations) > 0 || len(b.Readings)+len(b.Observations) != 1:
	case len(b.Readings) == 1:
		r := fromReading(b.Readings[0])
		c.tell(seq, diagnose.Event{Seq: eventSeq(seq, 0), At: at, Reading: &r, Struck: true})
	default:
		o := fromObservation(b.Observations[0])
		c.tell(seq, diagnose.Event{Seq: eventSeq(seq, 0), At: at, Observation: &o, Struck: true})
	}
}

func (c *Call) applyCallout(seq uint64, at time.Time, b joblog.Callout) {
	c.open = slices.DeleteFunc(c.open, func(q question) bool { return q.seq == b.Answers || q.overtaken(b) || q.left(b) })
	switch b.Decision {
	case joblog.Ignored:
		c.ignored = append(c.ignored, c.heard[b.Heard])
		return
	case joblog.Asked:
		c.considered[seq] = b
		c.doubt(seq, at, b)
		return
	}
	k := kept{seq: seq}
	add := func(e diagnose.Event, certainty float64) {
		if len(k.events) == eventsPerEntry-2 {
			return
		}
		e.Seq, e.At, e.Certainty = eventSeq(seq, len(k.events)), at, certainty
		k.events = append(k.events, e.Seq)
		c.tell(seq, e)
	}
	var what []string
	for _, r := range b.Readings {
		reading := fromReading(r)
		add(diagnose.Event{Reading: &reading}, r.Certainty)
		k.last = &reading
		k.readings = append(k.readings, reading)
		what = append(what, c.know.Book.Reading(reading))
	}
	for _, o := range b.Observations {
		seen := fromObservation(o)
		add(diagnose.Event{Observation: &seen}, o.Certainty)
		k.chosen = &seen
		k.seen = append(k.seen, seen)
		what = append(what, c.know.Book.Observation(seen))
	}
	for _, d := range b.Declarations {
		add(diagnose.Event{Declaration: catalogue.DeclarationID(d.Declaration)}, d.Certainty)
		declared, _ := c.know.Catalogue.Declaration(catalogue.DeclarationID(d.Declaration))
		what = append(what, declared.Name)
		c.holds[declared.ID] = true
		delete(c.holds, declared.Opposite)
	}
	for _, cmd := range b.Commands {
		switch catalogue.CommandID(cmd.Command) {
		case "cannot", "skip", "absent":
			if open := c.openStep(catalogue.CommandID(cmd.Command)); open.Cannot != "" || open.Lack != nil {
				open.Seq, open.At = eventSeq(seq, eventsPerEntry-2), at
				c.job.Add(open)
			}
		case "brief", "full", "teaching":
			c.manner = Manner(cmd.Command)
		case "stop_listening":
			c.deaf = true
		case "listen":
			c.deaf = false
		}
	}
	if len(k.events) > 0 {
		k.what = join(what)
		c.stack = append(c.stack, k)
	}
}

// openStep is what the engine is told when the open step can't be done, or its
// part is not there. One that is only skipped is no more than its test.
func (c *Call) openStep(cmd catalogue.CommandID) diagnose.Event {
	n := c.next
	e := diagnose.Event{Cannot: diagnose.TestID(n.Test)}
	switch {
	case cmd == "absent":
		e.Lack = &diagnose.Lack{Absent: true}
		if n.Does == diagnose.DoMakeSafe || n.Does == diagnose.DoNameplate { // a plate that has none says nothing of the part
			e.Lack.Quantity, e.Lack.Place = catalogue.QuantityID(n.Quantity), catalogue.PlaceID(n.Place)
			if len(n.Declare) > 0 {
				e.Lack.Declare = catalogue.DeclarationID(n.Declare[0])
			}
		}
	case cmd == "skip":
	case n.Does == diagnose.DoMakeSafe || n.Does == diagnose.DoEnergise || n.Does == diagnose.DoNameplate:
		e.Lack = &diagnose.Lack{Quantity: catalogue.QuantityID(n.Quantity), Place: catalogue.PlaceID(n.Place)}
		if len(n.Declare) > 0 {
			e.Lack.Declare = catalogue.DeclarationID(n.Declare[0])
		}
	}
	if e.Cannot == "" && e.Lack != nil && e.Lack.Absent {
		return diagnose.Event{}
	}
	return e
}

func (c *Call) applyRetracted(b joblog.Retracted) {
	for i, k := range c.stack {
		if k.seq != b.Entry {
			continue
		}
		for _, e := range k.events {
			// The engine was told of each of them, so it knows them.
			if err := c.job.Retract(e); err != nil {
				c.warnings = append(c.warnings, diagnose.Warning{ID: "bad_event", Seq: b.Entry, Text: err.Error()})
			}
		}
		for j, r := range c.repairs {
			if r.seq == b.Entry {
				c.repairs = append(c.repairs[:j:j], c.repairs[j+1:]...)
				break
			}
		}
		c.stack = append(c.stack[:i:i], c.stack[i+1:]...)
		return
	}
}

// Closed reports whether the job has been signed off.
func (c *Call) Closed() bool { return c.closed }

// Entries is the number of entries so far.
func (c *Call) Entries() uint64 { return c.seq }

// Assess is the engine's view at a moment.
func (c *Call) Assess(now time.Time) diagnose.Assessment { return c.job.Assess(now) }

// Open is the question that waits for an answer, "" if none.
func (c *Call) Open() string {
	if q := c.asked(); q != nil {
		return q.Say
	}
	return ""
}

// asked is the question that waits: the first of those that the last utterance in doubt
// raised, for what was asked last is what an answer answers.
func (c *Call) asked() *question {
	for _, q := range c.open {
		if c.at.Sub(q.at) > waits {
			continue
		}
		if q.about.Heard == c.open[len(c.open)-1].about.Heard {
			return &q
		}
	}
	return nil
}

// choose reports whether one of what was considered is the answer: neither yes nor no is.
func (q *question) choose() bool { return q.Asks == joblog.Which || q.Asks == joblog.Where }

// waits is how long a question stands: what is said after that is no answer to it. A
// question takes some seconds to be spoken, and an answer some more to be thought of.
const waits = 25 * time.Second

// left reports whether what was recorded is another topic than the question's.
func (q *question) left(b joblog.Callout) bool {
	if q.Asks == joblog.Close && slices.ContainsFunc(b.Declarations, func(d joblog.Declaration) bool { return d.Declaration == "job_done" }) {
		return false
	}
	return b.Decision == joblog.Recorded && b.Heard != q.about.Heard && b.Answers != q.seq &&
		len(b.Readings)+len(b.Observations)+len(b.Declarations)+len(b.Repairs) > 0
}

// overtaken reports whether what was recorded leaves nothing of the question: it is the
// reading in question, or the same number for what the step asked when it was put.
func (q *question) overtaken(b joblog.Callout) bool {
	if b.Decision != joblog.Recorded {
		return false
	}
	for _, r := range b.Readings {
		if q.Asks == joblog.Where && r.Quantity == q.Quantity {
			return true
		}
		asked := r.Quantity == q.step.Quantity && r.Place == q.step.Place
		if slices.ContainsFunc(q.about.Readings, func(o joblog.Reading) bool {
			return r.Quantity == o.Quantity && r.Place == o.Place || asked && r.Value == o.Value
		}) {
			return true
		}
	}
	for _, s := range b.Observations {
		if slices.ContainsFunc(q.about.Observations, func(o joblog.Observation) bool { return s.Quantity == o.Quantity && s.Place == o.Place }) {
			return true
		}
	}
	return false
}

// recent is the question that was asked after the step was told, if any: a bare number
// or choice is for what was said last.
func (c *Call) recent() *question {
	if q := c.asked(); q != nil && q.seq > c.nextSeq {
		return q
	}
	return nil
}

// Expects is what a bare number or a bare choice would answer now.
func (c *Call) Expects() (catalogue.QuantityID, catalogue.PlaceID) {
	if q := c.recent(); q != nil && q.Quantity != "" {
		return catalogue.QuantityID(q.Quantity), catalogue.PlaceID(q.Place)
	}
	return catalogue.QuantityID(c.next.Quantity), catalogue.PlaceID(c.next.Place)
}

func join(parts []string) string {
	text := ""
	for i, p := range parts {
		if i > 0 {
			text += "; "
		}
		text += p
	}
	return text
}
