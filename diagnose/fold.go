package diagnose

import (
	"fmt"
	"time"

	"callout/catalogue"
	"callout/diagnose/energy"
	"callout/physics"
)

// state is the fold of a job's events: what is known, in which epoch it was
// learnt, and what can hurt. A repair opens a new epoch: what was measured
// before it says what the unit was, not what it is.
type state struct {
	k       *Knowledge
	energy  Energy
	rated   map[Input]record // nameplate numbers and marks
	records []record
	newest  map[Input]int // the last record of an input, counted from 1
	cannot  map[int]bool
	refused map[int]int    // how often it was said of a test that it can't be done
	absent  map[int]bool   // tests of parts that are not fitted
	barred  map[int]bool   // energy steps that can't be done
	unread  map[Input]bool // nameplate values that can't be read
	repairs []repaired
	epoch   int
	segment int // counts changes of power and call
	// settled is how the unit stood when the last finding was made, or a test given
	// up: from there it was chosen what to do next.
	settled Energy

	since      uint64      // the first event of this epoch
	restart    time.Time   // power or the call came back
	hotSince   time.Time   // first sign that the overload may be open
	wasHot     []time.Time // the same of the epochs before
	bledAt     time.Time
	toldLive   int          // one more than the segment in which it was said that it is not known to be dead
	switched   bool         // the breaker was thrown by hand: how it was found is past
	unseated   bool         // it had no supply until the disconnect was found loose, or put in anew
	reseated   uint64       // when the disconnect was put in with no supply seen behind it before
	draws      bool         // it was last heard or read to draw current, since power or call came back
	stands     bool         // the compressor was last heard or read standing
	heard      int          // how often the compressor was heard to run
	ranIn      map[int]bool // the epochs in which it was heard to run by itself
	overloaded bool         // what held it was its overload
	cameOn     uint64       // it stood still and then ran, with nothing done to it: since when
	passed     uint64       // when the compressor last ran after a delay was seen to run
	held       bool         // it is known what held it until then: a delay that was seen to run, or a hot shell
	alone      bool         // it was the compressor alone that stood still: the outdoor fan ran before, or the contactor was in
	trips      []span       // when the breaker was off by itself
	warnings   []Warning
	last       time.Time

	marks int   // how many nameplate values and marks were taken
	fed   []int // by test: how many records could answer or feed it

	// What the last look worked out, no part of the state.
	understood []understood // by epoch
	posterior  posterior
	outs       []outcome  // of the present epoch
	standing   []*outcome // by test
	ranking    ranking
	outlook    lookahead
	rivalry    rivalry
	doable     []candidate
	missed     []missed // by test
	likely     []asked  // by condition
	ways       []wayTo  // by energy state
	courses    []wayTo  // the same, from where it was settled
}

// record is one reading or observation with the circumstances it was made in.
type record struct {
	in        Input
	value     float64
	qualifier catalogue.Qualifier
	choice    catalogue.ValueID
	certainty float64
	seq       uint64
	at        time.Time
	before    int // the record of the same input before it, counted from 1; 0: none
	epoch     int
	segment   int
	stands    bool // the compressor was last heard or read standing
	draws     bool // it was known to draw current
	isolated  bool // the compressor's wires were off
	kit       bool // a start kit was in for a try
	thrown    bool // the breaker had been thrown by hand
	powered   bool // the outdoor unit was not declared off
	running   bool // the unit could have run: powered, and not known to be without a call
	called    bool // not known to be without a call
	starting  bool // the short-cycle delay could still have held it off
	longBack  bool // power or the call had come back for longer than a delay lasts
}

// span is a stretch of events, its ends included; to is 0 while it lasts.
// breaker notes since when the breaker was off by itself: as found, since the
// beginning or since it was last put back.
// ran notes that the compressor runs though the unit was seen standing still.
// stoodStill reports whether the unit was seen standing still with power and
// call, before anything was mended.
// noSupplySeen reports whether the outdoor unit was seen without supply.
// shorted reports whether the breaker tripped at once and nothing was mended
// since: then it is not put back again with the compressor wired.
// tripped reports whether the outdoor unit had no supply at an event because
// its breaker was off by itself: then every reading out there says only that.
type repaired struct {
	id     catalogue.RepairID
	seq    uint64
	at     time.Time
	epoch  int       // the epoch that it ended
	faults []FaultID // what it was done for
}

const shortCycle = 5 * time.Minute // Armstrong 48478A006 p.18; Bard 2100-399; Ducane 2HP13

func newState(k *Knowledge) *state {
	return &state{k: k, energy: k.energy.Start(), settled: k.energy.Start(), rated: map[Input]record{}, newest: map[Input]int{}, ranIn: map[int]bool{}, cannot: map[int]bool{}, refused: map[int]int{}, absent: map[int]bool{}, barred: map[int]bool{}, unread: map[Input]bool{}, fed: make([]int, len(k.tests)),
		missed: make([]missed, len(k.tests)), likely: make([]asked, len(k.conds)), ways: make([]wayTo, len(k.energy.States)), courses: make([]wayTo, len(k.energy.States))}
}

// apply takes one event and returns what does not fit about it.
func (s *state) apply(e Event) []Warning {
	at := len(s.warnings)
	warn := func(id, text string, with ...uint64) {
		s.warnings = append(s.warnings, Warning{ID: id, Seq: e.Seq, With: with, Text: text})
	}
	if e.Certainty <= 0 || e.Certainty > 1 {
		e.Certainty = 1
	}
	if e.At.After(s.last) && !e.Struck {
		s.last = e.At
	}
	was := s.energy
	s.age(e.At, e.Seq)
	switch {
	case e.Struck:
		s.struck(e)
	case e.Resumed:
		s.lapsed(s.k.energy.Lapse(&s.energy), s.k.energy.Lines.Resumed, e.Seq)
	case e.Unsettled:
		s.lapsed(s.k.energy.Lapse(&s.energy), s.k.energy.Lines.Unsettled, e.Seq)
	case e.Reading != nil:
		s.reading(e, *e.Reading, warn)
	case e.Observation != nil:
		s.observation(e, *e.Observation, warn)
	case e.Declaration != "":
		s.declaration(e, warn)
	case e.Repair != "":
		if _, ok := s.k.repairAt[e.Repair]; !ok {
			warn("bad_event", fmt.Sprintf("there is no repair %q", e.Repair))
			break
		}
		s.feel(e)
		s.repairs = append(s.repairs, repaired{id: e.Repair, seq: e.Seq, at: e.At, epoch: s.epoch})
		s.epoch++
		s.stands, s.draws = false, false
		s.since = e.Seq
		s.segment++
		s.wasHot, s.hotSince = append(s.wasHot, s.hotSince), time.Time{}
		if !s.energy.Is(energy.Calling) && !s.energy.Is(energy.CallOff) && s.uncalled() {
			s.k.energy.Declare(&s.energy, "call_off", e.At) // what is to be seen running now needs a call
		}
	case e.Cannot != "":
		if i, ok := s.k.testAt[e.Cannot]; ok {
			s.lacks(i, e.Lack)
		} else {
			warn("bad_event", fmt.Sprintf("there is no test %q", e.Cannot))
		}
	case e.Lack != nil:
		s.lacks(-1, e.Lack)
	}
	s.changed(was, e.At)
	if s.settles(e) {
		s.settled = s.energy
	}
	return s.warnings[at:]
}

// settles reports whether an event is more than a step on the way to a test.
func (s *state) settles(e Event) bool {
	switch {
	case e.Struck:
		return false
	case e.Reading != nil:
		return len(s.k.feeds[Input{Quantity: e.Reading.Quantity, Place: e.Reading.Place}]) > 0
	case e.Declaration != "":
		return false
	}
	return true
}

// changed notes when power or the call came back, and counts the change.
func (s *state) changed(was Energy, at time.Time) {
	now := s.energy
	off := func(e Energy) bool {
		return e.Outdoor != Live || e.Is(energy.CallOff) || e.Indoor != Live || e.Is(energy.Tripped)
	}
	if off(was) && !off(now) {
		s.restart = at
		s.stands, s.draws = false, false
		s.segment++
	}
	if !off(was) && off(now) {
		s.segment++
	}
	if was.Capacitor == Charged && now.Capacitor == Bled {
		s.bledAt = at
	}
}

func (s *state) reading(e Event, r catalogue.Reading, warn func(id, text string, with ...uint64)) {
	if err := s.k.cat.CheckReading(r); err != nil {
		warn("bad_event", err.Error())
		return
	}
	q, _ := s.k.cat.Quantity(r.Quantity)
	if !s.k.cat.Plausible(r) {
		unit, _ := s.k.cat.Unit(q.Unit)
		low, high := q.Range(r.Place)
		warn("implausible", fmt.Sprintf("%s %s for %s is outside %g to %g: read it again. It is not counted.", short(r.Value), unit.Short, q.Name, low, high))
		if r.Value > high { // too much to be true is still not nothing
			s.feel(e)
		}
		return
	}
	s.feel(e)
	if text := s.notDead(r); text != "" {
		warn("not_ready", text)
	}
	if r.Qualifier == catalogue.Nothing {
		r.Value = 0
	}
	if rla, ok := s.ref("rla"); ok && r.Quantity == "current" && r.Place == "compressor_common" && r.Value > 0.3*rla && r.Value < 1.5*rla && !s.energy.Is(energy.StartKit) {
		s.ran(e.Seq)
	}
	s.freed(Lack{Quantity: r.Quantity, Place: r.Place})
	rec := s.record(e, Input{Quantity: r.Quantity, Place: r.Place})
	rec.value, rec.qualifier = r.Value, r.Qualifier
	if r.Quantity == "voltage" && (r.Place == "contactor_line" || r.Place == "disconnect_load") && r.Value > 180 {
		s.supplied()
	}
	if q.Kind == catalogue.Rated {
		if old, ok := s.rated[rec.in]; ok && old.epoch == s.epoch && old.value != rec.value {
			warn("contradicts_reading", fmt.Sprintf("%s was %s and is now %s: I take the later one.", q.Name, short(old.value), short(rec.value)), old.seq)
		}
		s.rated[rec.in] = rec
		s.marks++
		s.circuit(r.Quantity, warn)
	}
	if r.Quantity == "capacitor_voltage" && s.energy.Outdoor != Live {
		return // across one that is bled: it proves that, and says nothing of how it runs
	}
	s.keep(rec)
}

// lift takes back that tests can't be done, where what was seen makes them possible.
func (s *state) lift(o catalogue.Observation) {
	for i := range s.cannot {
		for _, c := range s.k.lifts[i] {
			t := &s.k.tests[c.test]
			if at := t.class(t.outcome(o.Value)); t.Quantity == o.Quantity && t.Place == o.Place && at >= 0 && c.mask&(1<<at) != 0 {
				delete(s.cannot, i)
			}
		}
	}
}

func (s *state) observation(e Event, o catalogue.Observation, warn func(id, text string, with ...uint64)) {
	if err := s.k.cat.CheckObservation(o); err != nil {
		warn("bad_event", err.Error())
		return
	}
	closed := s.energy.Outdoor == Live && !s.energy.Is(energy.Tripped)
	s.feel(e)
	if s.energy.Is(energy.PlugOff) && (o.Quantity == "breaker_reset" || o.Quantity == "breaker_state" && o.Value == "tripped" && closed) {
		said := o.Value // of the breaker without the compressor, whatever it was called
		o = catalogue.Observation{Quantity: "breaker_isolated", Place: "compressor", Value: "trips"}
		if said == "holds" {
			o.Value = said
		}
	}
	if o.Quantity == "breaker_state" && o.Value == "off" && s.energy.Is(energy.SeenTripped) {
		o.Value = "tripped" // its handle stands between: it was seen tripped, and nobody has reset it
	}
	s.lift(o)
	rec := s.record(e, Input{Quantity: o.Quantity, Place: o.Place})
	rec.choice = o.Value
	if o.Quantity == "connection" && o.Place == "disconnect" && o.Value == "loose" && s.epoch == 0 && s.noSupplySeen() && (!s.switched || s.reseated > 0) { // with the breaker off it is only looked at
		s.unseated = true
		s.trips = append(s.trips, span{from: s.since, to: e.Seq}) // it was not seated: what was dead behind it says only that
	}
	s.breaker(e.Seq, o)
	if o.Quantity == "compressor_sound" && o.Value == "running" {
		s.heard++
		s.supplied()
		if !s.energy.Is(energy.StartKit) {
			s.ran(e.Seq)
		}
	}
	if o.Quantity == "contactor_state" && o.Value == "pulled_in" {
		s.pulledIn(e.Seq)
	}
	if q, _ := s.k.cat.Quantity(o.Quantity); q.Kind == catalogue.Marked || o.Quantity == "mode" {
		s.rated[rec.in] = rec
		s.marks++
	}
	s.keep(rec)
}

// keep files a record, and notes the first sign of an open overload.
func (s *state) keep(r record) {
	r.before = s.newest[r.in]
	s.records = append(s.records, r)
	s.newest[r.in] = len(s.records)
	s.moves(r)
	if r.in.Quantity == "compressor_sound" && r.choice == "running" && r.running && !r.kit && !r.isolated {
		s.ranIn[r.epoch] = true
	}
	for _, i := range s.k.feeds[r.in] {
		s.fed[i]++
		if t := &s.k.tests[i]; t.Quantity == r.in.Quantity && t.Place == r.in.Place {
			delete(s.cannot, i) // it could be done after all
		}
	}
	if r.in.Quantity == "start_kit" && r.choice == "silent" {
		s.hotSince = r.at // the stalled starts before it may have opened the overload
	}
	if !s.hotSince.IsZero() {
		if r.choice == "hot" && !r.at.Before(s.hotSince.Add(physics.OverloadWait)) {
			s.hotSince = r.at // it has not cooled
		}
		return
	}
	hot := s.heats(&r)
	if r.in.Quantity == "resistance" && r.in.Place == "common_to_run" && r.qualifier == catalogue.OpenLine {
		hot = true
	}
	if hot {
		s.hotSince = r.at
	}
}

func (s *state) record(e Event, in Input) record {
	return record{
		in: in, certainty: e.Certainty, seq: e.Seq, at: e.At, epoch: s.epoch, segment: s.segment,
		thrown:   s.switched,
		stands:   s.stands,
		draws:    s.draws,
		isolated: s.energy.Is(energy.PlugOff),
		kit:      s.energy.Is(energy.StartKit),
		powered:  s.energy.Outdoor == Live,
		running:  s.energy.Outdoor == Live && !s.energy.Is(energy.CallOff) && s.energy.Indoor == Live,
		called:   !s.energy.Is(energy.CallOff) && s.energy.Indoor == Live,
		starting: !s.restart.IsZero() && e.At.Before(s.restart.Add(shortCycle)),
		longBack: !s.restart.IsZero() && e.At.After(s.restart.Add(shortCycle+time.Minute)),
	}
}

func (s *state) declaration(e Event, warn func(id, text string, with ...uint64)) {
	d, ok := s.k.cat.Declaration(e.Declaration)
	if !ok {
		warn("bad_event", fmt.Sprintf("there is no declaration %q", e.Declaration))
		return
	}
	if d.Safety && e.Certainty < safetySure {
		warn("not_ready", fmt.Sprintf("I did not hear clearly that %s: say it again. Until then I don't count on it.", d.Name))
		return
	}
	s.freed(Lack{Declare: d.ID})
	s.feel(e)
	if d.ID == "breaker_off" || d.ID == "breaker_on" {
		s.switched = true
	}
	if d.ID == "breaker_on" {
		s.closeTrip(e.Seq)
	}
	if d.ID == "disconnect_in" && s.epoch == 0 && !s.switched && s.reseated == 0 && s.noSupplySeen() && !s.tripped(e.Seq) {
		s.reseated = e.Seq
	}
}

// The nameplate, as far as it is known.

func (s *state) knows(q catalogue.QuantityID, p catalogue.PlaceID) bool {
	_, ok := s.rated[Input{Quantity: q, Place: p}]
	return ok
}

func (s *state) mark(q catalogue.QuantityID) catalogue.ValueID {
	return s.rated[Input{Quantity: q, Place: "unit"}].choice
}

// ref gives a nameplate value, or what stands in for it; ok is false where
// neither is known.
func (s *state) ref(id string) (value float64, ok bool) {
	v, _, ok := s.refSaid(id)
	return v, ok
}

func (s *state) refSaid(id string) (value float64, said string, ok bool) {
	at, ok := s.k.refAt[id]
	if !ok {
		return 0, "", false
	}
	r := s.k.refs[at]
	if rec, ok := s.rated[Input{Quantity: r.Quantity, Place: r.Place}]; ok && r.Quantity != "" {
		return rec.value, "", true
	}
	if r.From != "" {
		from := s.k.refs[s.k.refAt[r.From]]
		if rec, ok := s.rated[Input{Quantity: from.Quantity, Place: from.Place}]; ok {
			return rec.value * r.Times, r.Said, true
		}
		if from.Default != 0 {
			return from.Default * r.Times, from.Said, true
		}
		return 0, "", false
	}
	return r.Default, r.Said, r.Default != 0
}

func (s *state) refrigerant() (physics.Refrigerant, error) {
	return physics.ParseRefrigerant(string(s.mark("refrigerant")))
}

func (s *state) metering() catalogue.ValueID { return s.mark("metering_device") }

func (s *state) frequency() physics.Hertz {
	if s.mark("frequency") == "50" {
		return 50
	}
	return 60
}

func (s *state) altitude() physics.Feet {
	return physics.Feet(s.rated[Input{Quantity: "altitude", Place: "unit"}].value)
}

// mode is cooling or heating, or "" while nothing tells.
func (s *state) mode() string {
	if m := s.rated[Input{Quantity: "mode", Place: "unit"}].choice; m != "" {
		return string(m)
	}
	for i := len(s.records) - 1; i >= 0; i-- {
		if r := s.records[i]; r.in.Quantity == "complaint" {
			switch r.choice {
			case "no_heating", "weak_heating":
				return "heating"
			case "no_cooling", "weak_cooling", "freezes", "water", "heat_in_cooling":
				return "cooling"
			}
		}
	}
	return ""
}
