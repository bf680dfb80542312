package diagnose

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/diagnose/energy"
	"callout/physics"
)

// outcome is what one test showed in one epoch: how much each of its classes
// is meant, given the instrument's tolerance.
type outcome struct {
	done     bool
	counts   bool // it bears on the belief; false where readings contradict or a table refuses
	again    bool // it has to be measured again
	weights  []float64
	top      int
	sure     bool
	twice    bool    // seen or read twice alike: no misjudgement
	heard    float64 // how surely it was heard
	seq      uint64
	at       time.Time
	segment  int
	epoch    int
	text     string
	conflict string
	with     []uint64
}

// likelihood of the outcome, where row is what is predicted.
func (o *outcome) likelihood(row []float64) float64 {
	like := o.once(row)
	if o.twice {
		like *= like
	}
	return like
}

// once is the likelihood of one look. Uncertain readings count as if they might
// have been anything.
func (o *outcome) once(row []float64) float64 {
	var sum float64
	for c, w := range o.weights {
		sum += w * row[c]
	}
	return o.heard*sum + (1-o.heard)/float64(len(row))
}

// in reports whether the outcome is one of the clause's.
func (o *outcome) in(c clause) bool { return o.done && o.counts && c.mask&(1<<o.top) != 0 }

// nearly reports whether the outcome lies within the instrument's tolerance of
// one of the clause's.
func (o *outcome) nearly(c clause) bool { return o.done && o.counts && o.share(c) > 0.1 }

// share is how much of the outcome, by the instrument's tolerance, is one of the clause's.
func (o *outcome) share(c clause) float64 {
	var sum float64
	for i, w := range o.weights {
		if c.mask&(1<<i) != 0 {
			sum += w
		}
	}
	return sum
}

// ambient readings describe the house and the weather, and outlive a repair.
func ambient(in Input) bool {
	switch in.Place {
	case "outdoor_air":
		return true
	case "return_air":
		return true
	}
	return false
}

// usable reports whether a record can answer a test. What is left to see once
// it has stopped, such as frost, counts in any state.
func (s *state) usable(t *Test, r *record) bool {
	switch {
	case t.Sticky:
		return !r.thrown
	case t.Condition == "compressor_on" && r.stands, t.Condition == "compressor_powered" && !r.draws && r.value < liveCurrent:
		return false
	case t.State == "any":
		return true
	case t.Isolated && !r.isolated:
		return false
	case t.State == "isolated":
		return r.isolated && r.powered
	case t.State == "run_kit":
		return r.kit && r.running && !r.isolated
	case t.State == "indoor_run":
		return r.called
	case !s.k.energy.States[s.k.stateAt[t.State]].Live:
		return true
	case t.Operating: // with a start kit in, it is not the unit by itself that shows
		return r.running && !r.isolated && !r.kit
	}
	return r.powered && !r.isolated
}

// answering goes through the records that can answer a test in one epoch, the
// latest first, with their places, counted from 1.
func (s *state) answering(t *Test, epoch int) iter.Seq2[int, record] {
	return func(yield func(int, record) bool) {
		at := []int{s.newest[Input{Quantity: t.Quantity, Place: t.Place}]} // the next of each input, counted from 1
		for _, in := range t.Also {
			at = append(at, s.newest[Input{Quantity: in.Quantity, Place: in.Place}])
		}
		for {
			n := 0
			for i := range at {
				if at[i] > at[n] {
					n = i
				}
			}
			if at[n] == 0 {
				return
			}
			place := at[n]
			r := &s.records[place-1]
			at[n] = r.before
			if r.epoch != epoch || !s.usable(t, r) {
				continue
			}
			out := *r
			if n > 0 && t.Also[n-1].Factor != 0 {
				out.value *= t.Also[n-1].Factor
			}
			if !yield(place, out) {
				return
			}
		}
	}
}

// own finds the last record of a test's own quantity in this epoch, and counts
// up to two of them.
func (s *state) own(i int) (n int, last *record) {
	if s.fed[i] == 0 {
		return 0, nil
	}
	t := &s.k.tests[i]
	for at := s.newest[Input{Quantity: t.Quantity, Place: t.Place}]; at > 0 && n < 2; at = s.records[at-1].before {
		r := &s.records[at-1]
		if r.epoch != s.epoch || !s.usable(t, r) {
			continue
		}
		if n++; n == 1 {
			last = r
		}
	}
	return n, last
}

// feed finds the latest record of a further input.
func (s *state) feed(t *Test, in Input, epoch int) (record, bool) {
	key := Input{Quantity: in.Quantity, Place: in.Place}
	if q, _ := s.k.cat.Quantity(in.Quantity); q.Kind == catalogue.Rated {
		r, ok := s.rated[key]
		return r, ok
	}
	for at := s.newest[key]; at > 0; at = s.records[at-1].before {
		r := &s.records[at-1]
		if (r.epoch == epoch || r.epoch < epoch && ambient(key)) && (ambient(key) || s.usable(t, r)) {
			return *r, true
		}
	}
	switch {
	case in.Quantity == "wet_bulb":
		return s.wetBulb(t, epoch)
	case in.Or != "":
		return s.feed(t, Input{Quantity: in.Quantity, Place: in.Or}, epoch)
	}
	return record{}, false
}

// wetBulbFrom is what a wet bulb is worked out from.
var wetBulbFrom = [2]Input{{Quantity: "relative_humidity", Place: "return_air"}, {Quantity: "temperature", Place: "return_air"}}

// wetBulb works the wet bulb out from humidity, where that was given instead.
func (s *state) wetBulb(t *Test, epoch int) (record, bool) {
	rh, ok := s.feed(t, wetBulbFrom[0], epoch)
	dry, ok2 := s.feed(t, wetBulbFrom[1], epoch)
	if !ok || !ok2 {
		return record{}, false
	}
	air, err := physics.AirFromRH(physics.Fahrenheit(dry.value), physics.Percent(rh.value), s.altitude())
	if err != nil {
		return record{}, false
	}
	rh.value = float64(air.WetBulb())
	return rh, true
}

// inputs lists the further readings that a test needs on this unit.
func (s *state) inputs(t *Test) []Input {
	if t.Value == "superheat" && (s.metering() != "fixed_orifice" || s.mode() == "heating") && len(t.Inputs) > 1 {
		return t.Inputs[:1]
	}
	if n := len(t.Inputs); t.Value == "windings" && s.unread[t.Inputs[n-1]] {
		return t.Inputs[:n-1]
	}
	return t.Inputs
}

// answered is how much a complaint of a dead unit still tells of what else is wrong, once
// it is known what held the unit. Common practice, no source.
const answered = 0.3

// outcomeOf works out what test i showed in an epoch.
func (s *state) outcomeOf(i, epoch int) outcome {
	t := &s.k.tests[i]
	recs, all := s.latest(i, epoch)
	if len(all) == 0 {
		return outcome{}
	}
	o := s.agree(t, recs, all)
	if t.ID == "complaint" && s.held && (slices.Contains([]ClassID{"no_output", "outdoor_unit_dead", "nothing_runs"}, t.Classes[o.top].ID)) {
		o.heard = min(o.heard, answered)
	}
	if (epoch == 0 && o.seq < s.cameOn || o.seq < s.passed && t.Soon) && (t.Soon || t.Timers[t.Classes[o.top].ID] != "") {
		o.counts, o.conflict = false, "" // it was so at that time, and has passed
		return o
	}
	if outdoors(t) && o.counts && s.tripped(o.seq) {
		o.counts, o.again = false, !s.energy.Is(energy.Tripped)
		o.conflict = ""
	}
	return o
}

// latest lists the records of an epoch that answer test i, and their outcomes,
// oldest first: as many as the outcome hangs on, however long the job is.
func (s *state) latest(i, epoch int) (recs []record, all []outcome) {
	t := &s.k.tests[i]
	most := 3 // what came before the last three changes nothing
	switch {
	case len(t.Inputs) > 0:
		most = 1 // what is put together from several readings is taken as it stands last
	case t.Highest:
		most = math.MaxInt
	}
	skip := outdoors(t) && s.anyUntripped(t, epoch, most) // of when the breaker was off by itself, where there are others
	moment := outdoors(t) && s.momentary(t, epoch)
	highest := 0
	for at, r := range s.answering(t, epoch) {
		if skip && s.tripped(r.seq) || moment && still(&r) {
			continue
		}
		if t.Highest {
			if len(recs) == 0 || r.value >= recs[0].value {
				recs, highest = []record{r}, at
			}
			continue
		}
		if o := s.classified(i, at, r, epoch); o.done {
			recs, all = append(recs, r), append(all, o)
		}
		if len(all) == 1 && s.ends(t, all[0]) {
			most = math.MaxInt // it may be the end of a sequence that began at any time
		}
		if len(all) == most || len(t.Inputs) > 0 {
			break
		}
	}
	if t.Highest && len(recs) > 0 {
		if o := s.classified(i, highest, recs[0], epoch); o.done {
			all = append(all, o)
		}
	}
	slices.Reverse(recs)
	slices.Reverse(all)
	return recs, all
}

// ends is whether an outcome is the end of one of a test's known sequences.
func (s *state) ends(t *Test, o outcome) bool {
	return o.counts && slices.ContainsFunc(t.Then, func(then Sequence) bool { return t.whole(o.top) == t.class(then.To) })
}

// anyUntripped reports whether one of the records that can answer a test, or
// the last of them where no more than one is asked for, was made when the
// breaker was not off by itself.
func (s *state) anyUntripped(t *Test, epoch, most int) bool {
	for _, r := range s.answering(t, epoch) {
		if !s.tripped(r.seq) {
			return true
		}
		if most == 1 {
			break
		}
	}
	return false
}

// classified is classify, worked out once for each record while nothing changes
// that it hangs on beside the record.
func (s *state) classified(i, at int, r record, epoch int) outcome {
	if len(s.k.tests[i].Inputs) > 0 || epoch >= len(s.understood) {
		return s.classify(i, r, epoch)
	}
	u := &s.understood[epoch]
	if u.read == nil {
		u.read = map[reply]outcome{}
	}
	key := reply{i, at}
	o, ok := u.read[key]
	if !ok {
		o = s.classify(i, r, epoch)
		u.read[key] = o
	}
	return o
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// classify reads one record as an outcome of a test.
func (s *state) classify(i int, r record, epoch int) outcome {
	t := &s.k.tests[i]
	o := outcome{done: true, counts: true, sure: true, heard: r.certainty, seq: r.seq, at: r.at, segment: r.segment, epoch: epoch, weights: make([]float64, len(t.Classes))}
	if r.qualifier == catalogue.Unsteady {
		o.heard = math.Min(o.heard, 0.6)
	}
	if r.starting && t.Operating && (t.State != "indoor_run" || t.Soon) {
		o.heard = math.Min(o.heard, 0.1) // the delay may still hold it off
	}
	only := func(id ClassID) outcome {
		o.top = t.class(id)
		if o.top < 0 {
			return outcome{}
		}
		o.weights[o.top] = 1
		o.text = s.fill(t, t.Classes[o.top].Say, r, nil)
		return o
	}
	q, _ := s.k.cat.Quantity(r.in.Quantity)
	switch {
	case !q.Kind.Numeric() && t.outcome(r.choice) == "":
		o.counts, o.text = false, t.Untold
		return o
	case !q.Kind.Numeric():
		return only(t.outcome(r.choice))
	case t.Ohms != nil:
		if r.qualifier == catalogue.OpenLine || r.value > 10 {
			return only(t.Ohms.Open)
		}
		return only(t.Ohms.Closed)
	case r.qualifier == catalogue.OpenLine && t.OpenLine != "":
		return only(t.OpenLine)
	}
	if r.value == 0 && r.qualifier != catalogue.OpenLine && t.Value == "" && t.Classes[0].ID == "none" {
		return only("none") // nothing is nothing, whatever the nameplate says
	}
	if _, known := s.ref(t.AskRef); t.AskRef != "" && !known && r.qualifier != catalogue.OpenLine {
		switch {
		case s.blind(t, &o, r):
			return o
		case !s.withoutRef(t):
			return outcome{} // it waits for the nameplate
		}
		o.counts = false
		o.text = s.amount(t, r.value) + ", and no " + s.k.refs[s.k.refAt[t.AskRef]].label(s) + " to hold it against: it tells nothing by itself"
		return o
	}
	in := sumInput{v: []float64{open(r)}, job: s, refs: s.ref}
	if len(t.Refs) > 0 {
		in.own = t.Refs[0]
	}
	beyond := false
	for _, need := range s.inputs(t) {
		f, ok := s.feed(t, need, epoch)
		if !ok && need.Most != 0 {
			f, ok, beyond = record{value: need.Most, certainty: 1}, true, true
		}
		if !ok || t.Value == "windings" && stale(f, r) {
			return outcome{}
		}
		in.v = append(in.v, open(f))
		o.heard = math.Min(o.heard, f.certainty)
		if f.seq > o.seq {
			o.seq, o.at = f.seq, f.at
		}
	}
	for _, id := range t.Refs {
		if in := (Input{Quantity: catalogue.QuantityID(id), Place: "unit"}); markedRef(id) && s.mark(in.Quantity) == "" && !(guessedRef(id) && s.unread[in]) {
			return outcome{}
		}
	}
	cool := s.coolBy(epoch)
	in.cold = !cool.IsZero() && !o.at.Before(cool)
	res := sumResult{x: in.v[0]}
	if t.Value != "" {
		res = sums[t.Value](in)
	}
	if res.text == nil {
		res.text = map[string]string{}
	}
	for j := 1; j < len(in.v) || j == 1; j++ {
		res.text["in0"] = ohms(in.v[0])
		if j < len(in.v) {
			res.text[fmt.Sprintf("in%d", j)] = ohms(in.v[j])
		}
	}
	if res.refused != "" {
		o.counts = false
		if n, _ := s.own(i); res.misread && n < 3 {
			o.again = true // it is read once or twice more, and then left
		}
		o.text = res.refused
		return o
	}
	if res.class != "" {
		o.top = t.class(res.class)
		for c := range o.weights {
			o.weights[c] = res.unsure / float64(max(len(o.weights)-1, 1))
		}
		o.weights[o.top] = 1 - res.unsure
		o.sure = res.unsure < 0.1
	} else if !s.spread(t, &o, res.x, r.value) {
		return outcome{}
	}
	if beyond && !t.beyond(&o) {
		return outcome{}
	}
	say := t.Classes[o.top].Say
	if beyond {
		say = t.Beyond
	}
	o.text = s.fill(t, say, r, res.text)
	return o
}

// beyond makes the last outcome of one that was held against the most that an
// unknown input can be. It reports false where that is not shown.
func (t *Test) beyond(o *outcome) bool {
	last := t.whole(len(t.Classes) - 1)
	set := t.family(last)
	if t.within(o.weights, set) < 0.9 {
		return false
	}
	share := 1 / float64(1+t.parts(last)) // how far beyond is not known
	for c := range o.weights {
		o.weights[c] = 0
		if set&(1<<c) != 0 {
			o.weights[c] = share
		}
	}
	o.top = last
	return true
}

// stale reports whether a reading is too old to be put together with another:
// windings cool, and leads move.
func stale(old, young record) bool {
	return old.segment != young.segment && old.seq < young.seq || young.at.Sub(old.at) > 30*time.Minute
}

func open(r record) float64 {
	if r.qualifier == catalogue.OpenLine {
		return math.Inf(1)
	}
	return r.value
}

// spread shares one number among the ordered classes by the instrument's
// tolerance. It reports false where an end depends on an unknown nameplate
// value.
func (s *state) spread(t *Test, o *outcome, x, reading float64) bool {
	sigma := t.Tolerance.Abs + t.Tolerance.Percent/100*math.Abs(x)
	if t.Value != "" {
		sigma = t.Tolerance.Abs
	}
	below := 0.0
	for c := range t.Classes {
		cum := 1.0
		if end, ok := s.end(t, c); !ok {
			return false
		} else if !math.IsInf(end, 1) {
			cum = cumulative((end - x) / math.Max(sigma, 1e-9))
		}
		o.weights[c] = math.Max(0, cum-below)
		below = math.Max(below, cum)
	}
	var whole float64 // of the likeliest outcome with its parts
	for c := range t.Classes {
		if in := t.within(o.weights, t.family(c)); t.Classes[c].In == "" && in > whole {
			o.top, whole = c, in
		}
	}
	for c := range t.Classes {
		if t.whole(c) == t.whole(o.top) && o.weights[c] > o.weights[o.top] {
			o.top = c
		}
	}
	o.sure = whole > 0.9
	return true
}

// end is the upper end of a class, +Inf for the last.
func (s *state) end(t *Test, c int) (float64, bool) {
	if t.Classes[c].To == nil {
		return math.Inf(1), true
	}
	end := *t.Classes[c].To
	if of := t.Classes[c].Of; of != "" {
		v, ok := s.ref(of)
		if !ok {
			return 0, false
		}
		end *= v
	}
	return end, true
}

// cumulative is the normal distribution's, ends included in the lower class.
func cumulative(z float64) float64 {
	if z >= 0 && z < 1e-12 {
		z = 1e-12
	}
	return 0.5 * math.Erfc(-z/math.Sqrt2)
}
