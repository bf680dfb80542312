package diagnose

import (
	"fmt"
	"time"

	"callout/physics"
)

// still reports whether a record shows a compressor that stands.
func still(r *record) bool {
	return r.in.Quantity == "compressor_sound" && r.choice == "silent" || r.in.Quantity == "current" && r.in.Place == "compressor_common" && r.value < liveCurrent
}

// momentary reports whether looks at a compressor that stands, of one that was heard to run
// in the same epoch, are to be left out: one look is a moment and no state. What ran once
// can run, and what stops it after is its overload, its call or its delay. Three in a row
// are a state.
func (s *state) momentary(t *Test, epoch int) bool {
	if len(t.Inputs) > 0 || t.Place != "compressor" && t.Place != "compressor_common" {
		return false
	}
	row := 0
	for _, r := range s.answering(t, epoch) {
		if s.tripped(r.seq) {
			continue
		}
		if !still(&r) {
			return s.ranIn[r.epoch]
		}
		if row++; row >= 3 {
			return false
		}
	}
	return false
}

// agree makes one outcome of repeated ones: a known sequence is one finding;
// readings that agree are one; readings that don't are named and not averaged,
// until the last two agree.
func (s *state) agree(t *Test, recs []record, all []outcome) outcome {
	last := all[len(all)-1]
	if len(all) == 1 || !last.counts {
		return last
	}
	for _, then := range t.Then {
		from, to := t.class(then.From), t.class(then.To)
		for j := range all[:len(all)-1] {
			if (t.whole(all[j].top) == from || all[j].top == from) && t.whole(last.top) == to && all[j].counts {
				kept := all[j]
				kept.seq, kept.at, kept.segment = last.seq, last.at, last.segment
				for _, r := range recs {
					if r.seq == all[j].seq {
						kept.text = s.fill(t, then.Say, r, map[string]string{"v2": s.amount(t, recs[len(recs)-1].value)})
					}
				}
				return kept
			}
		}
	}
	before := all[len(all)-2]
	if t.whole(before.top) == t.whole(last.top) && before.counts {
		last.twice = true
		return last
	}
	if t.whole(before.top) == t.whole(last.top) || before.segment != last.segment || t.Sticky {
		return last
	}
	if t.changed(last.at.Sub(before.at)) {
		return last
	}
	if len(all) >= 3 && t.whole(all[len(all)-3].top) == t.whole(last.top) {
		last.with = []uint64{before.seq}
		return last // two against one
	}
	last.counts, last.again = false, true
	last.with = []uint64{before.seq}
	last.conflict = fmt.Sprintf("%s, and before that %s: they can't both be. A misreading, a slipped lead, or a fault that comes and goes? Measure it again.", upper(last.text), before.text)
	return last
}

// changed reports whether another look after some time is news: an overload has cooled since,
// a defrost has ended.
func (t *Test) changed(after time.Duration) bool {
	return t.Timers != nil && after >= physics.OverloadWait/2 || t.Changes > 0 && after.Minutes() >= t.Changes
}
