package diagnose

import (
	"time"

	"callout/catalogue"
	"callout/physics"
)

type span struct{ from, to uint64 }

func (s *state) breaker(seq uint64, o catalogue.Observation) {
	switch {
	case o.Quantity == "breaker_state" && s.switched:
	case o.Quantity == "breaker_state" && o.Value != "on":
		from := uint64(0)
		if n := len(s.trips); n > 0 {
			from = s.trips[n-1].to
		}
		s.closeTrip(seq)
		s.trips = append(s.trips, span{from: max(from, s.since)})
	case o.Quantity == "breaker_reset":
		s.closeTrip(seq)
		if o.Value != "holds" {
			s.trips = append(s.trips, span{from: seq})
		}
	}
}

func (s *state) ran(seq uint64) {
	for i := len(s.records) - 1; i >= 0 && s.records[i].epoch == s.epoch; i-- {
		if r := &s.records[i]; r.in.Quantity == "delay_state" && r.choice == "running" && r.seq > s.passed {
			if s.epoch > 0 {
				s.trips = append(s.trips, span{from: r.seq, to: seq})
			}
			s.passed = seq
		}
	}
	if s.stoodStill() {
		s.cameOn, s.held, s.alone = seq, s.wasHeld(), s.fanAlone() || s.wasIn()
		s.overloaded = s.openedOverload()
		s.trips = append(s.trips, span{from: s.since, to: seq})
	}
}

// moves notes whether the compressor was last found standing, or had clicked off: a
// reading that takes a running compressor, or one that tries, shows nothing then.
func (s *state) moves(r record) {
	if !r.running || r.starting || r.isolated {
		return
	}
	switch {
	case r.in.Quantity == "compressor_sound":
		s.stands = r.choice == "silent" || r.choice == "hum_then_click"
		s.draws = !s.stands
	case r.in.Quantity == "current" && r.in.Place == "compressor_common":
		s.stands = r.value < liveCurrent
		s.draws = !s.stands
	}
}

// early reports whether a finding was made while a short-cycle delay could still
// hold the unit off.
func (s *state) early(o *outcome) bool {
	since := s.restart
	for _, r := range s.records {
		if since.IsZero() || s.restart.IsZero() && r.at.Before(since) {
			since = r.at
		}
	}
	return s.epoch == 0 && o.at.Before(since.Add(shortCycle+time.Minute))
}

// pulledIn notes a contactor that pulls in by itself.
func (s *state) pulledIn(seq uint64) {
	for _, r := range s.records {
		if r.in.Quantity == "contactor_state" && r.choice == "open" && r.running && !r.starting && r.epoch == s.epoch && r.segment == s.segment {
			s.ran(seq)
		}
	}
}

// wasHeld reports whether it was seen what held the unit: a short-cycle delay, or an
// overload that opened. Both come of what went before, whatever else is wrong.
func (s *state) wasHeld() bool {
	for _, r := range s.records {
		if r.epoch == s.epoch && (r.in.Quantity == "delay_state" && r.choice == "running" || r.in.Quantity == "shell_feel" && r.choice == "hot") {
			return true
		}
	}
	return !s.hotSince.IsZero()
}

// openedOverload reports whether the overload was seen open: by its windings, or by a hot
// shell of a compressor that stood.
func (s *state) openedOverload() bool {
	for _, r := range s.records {
		if r.epoch == s.epoch && (r.choice == "hot" && r.in.Quantity == "shell_feel" || r.in.Quantity == "resistance" && r.in.Place == "common_to_run" && r.qualifier == catalogue.OpenLine) {
			return true
		}
	}
	return false
}

// fanAlone reports whether the outdoor fan was seen to run: then no delay and no lack
// of a call held the compressor.
func (s *state) fanAlone() bool {
	for _, r := range s.records {
		if r.in.Quantity == "fan_motion" && r.in.Place == "fan" && r.choice == "running" && r.epoch == s.epoch {
			return true
		}
	}
	return false
}

func (s *state) stoodStill() bool {
	if s.epoch > 0 || s.cameOn > 0 {
		return false
	}
	for _, r := range s.records {
		still := r.choice == "silent" || r.choice == "open" && r.in.Quantity == "contactor_state" || r.choice == "stopped" && r.in.Place == "fan"
		still = still || r.choice == "running" && r.in.Quantity == "delay_state"
		if still && r.running && !r.starting && !s.tripped(r.seq) {
			return true
		}
	}
	return false
}

// wasIn reports whether the contactor was seen in before, by itself or by the fan that
// it feeds: then no delay held the compressor off.
func (s *state) wasIn() bool {
	for _, r := range s.records {
		in := r.choice == "pulled_in" || r.in.Place == "fan" && (r.choice == "running" || r.choice == "slow")
		if in && r.running && r.epoch == s.epoch {
			return true
		}
	}
	return false
}

// heldTooLong reports whether it stood for longer than a short-cycle delay lasts.
func (s *state) heldTooLong() bool { return s.stoodLonger(shortCycle + time.Minute) }

// still reports whether a record shows a unit that stands.
func (r *record) still() bool {
	switch {
	case r.in.Quantity == "current" && r.in.Place == "compressor_common":
		return r.value < liveCurrent && !r.isolated
	case r.in.Quantity == "contactor_state":
		return r.choice == "open"
	}
	return r.choice == "silent" || r.choice == "stopped" && r.in.Place == "fan"
}

// stoodLonger reports whether the unit was seen to stand still, with power and call,
// for longer than a time.
func (s *state) stoodLonger(than time.Duration) bool {
	var from time.Time
	segment := -1
	for _, r := range s.records {
		if !r.still() || !r.running || r.epoch > 0 || s.tripped(r.seq) {
			continue
		}
		if r.segment != segment {
			from, segment = r.at, r.segment
		}
		if r.longBack && than <= shortCycle+time.Minute || r.at.Sub(from) > than-time.Minute && r.at.Sub(from) > shortCycle+time.Minute {
			return true
		}
	}
	return false
}

// supplied notes that the unit has its supply: if it had none until the disconnect
// was pulled and put in again, the disconnect was not seated.
func (s *state) supplied() {
	if s.reseated == 0 || s.unseated || s.epoch > 0 {
		return
	}
	s.unseated = true
	s.trips = append(s.trips, span{from: s.since, to: s.reseated})
}

// hotIn is the first sign, in an epoch, that the overload may be open.
func (s *state) hotIn(epoch int) time.Time {
	if epoch < len(s.wasHot) {
		return s.wasHot[epoch]
	}
	return s.hotSince
}

// coolBy is when an overload that may be open will have cooled, in an epoch; zero where
// nothing says that it may be. A shell that is cool to the hand, of a compressor that
// nothing has heated since, has done most of its cooling before.
func (s *state) coolBy(epoch int) time.Time {
	hot := s.hotIn(epoch)
	if hot.IsZero() {
		return hot
	}
	by := hot.Add(physics.OverloadWait)
	var felt time.Time
	for i := range s.records {
		switch r := &s.records[i]; {
		case r.epoch != epoch:
		case r.in.Quantity == "shell_feel" && r.choice == "cool":
			felt = r.at
		case r.in.Quantity == "shell_feel", s.heats(r):
			return by
		}
	}
	if cool := felt.Add(physics.CoolShellWait); !felt.IsZero() && cool.Before(by) {
		return cool
	}
	return by
}

// heats reports whether a record shows a compressor that takes current and does not turn,
// or a hot one.
func (s *state) heats(r *record) bool {
	if lra, ok := s.ref("lra"); ok && r.in.Quantity == "current" && r.in.Place == "compressor_common" && r.value > 0.6*lra {
		return true
	}
	return r.choice == "hot" || r.choice == "stalled" || r.choice == "hum_then_click"
}

// uncalled reports whether the thermostat was last seen without a call.
func (s *state) uncalled() bool {
	out := false
	for _, r := range s.records {
		if r.in.Quantity == "thermostat_state" {
			out = r.choice == "satisfied" || r.choice == "wrong_mode"
		}
	}
	return out
}

func (s *state) noSupplySeen() bool {
	for _, r := range s.records {
		if r.epoch == s.epoch && r.powered && r.in.Quantity == "voltage" && r.value < 20 && (r.in.Place == "contactor_line" || r.in.Place == "disconnect_load") {
			return true
		}
	}
	return false
}

func (s *state) shorted() bool {
	out := false
	for _, r := range s.records {
		if r.in.Quantity == "breaker_reset" && r.epoch == s.epoch {
			out = r.choice == "trips_at_once"
		}
	}
	return out
}

func (s *state) closeTrip(seq uint64) {
	if n := len(s.trips); n > 0 && s.trips[n-1].to == 0 {
		s.trips[n-1].to = seq
	}
}

func (s *state) tripped(seq uint64) bool {
	for _, t := range s.trips {
		if seq >= t.from && (t.to == 0 || seq < t.to) {
			return true
		}
	}
	return false
}
