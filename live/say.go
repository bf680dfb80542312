package live

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"time"
)

// pump gives work to whoever is idle.
func (s *Session) pump(ctx context.Context) {
	if !s.decoding && len(s.waiting) > 0 {
		s.decoding = true
		s.decodes <- s.waiting[0]
		s.waiting = slices.Delete(s.waiting, 0, 1)
	}
	if s.cfg.Voice == nil {
		return
	}
	s.pumpVoice()
	if m := &s.mouth; !m.playing && len(m.queue) > 0 && m.queue[0].voiced && (m.queue[0].whole() || !s.listening()) && time.Since(s.lostSound) >= soundRetry {
		head := m.queue[0]
		var sound context.Context
		sound, m.cancel = context.WithCancel(ctx)
		m.playing, m.cutting = true, false
		head.clip.Samples = loud(head.clip.Samples, m.gain)
		s.plays <- sounding{head.id, head.clip.Samples, head.clip.Rate, sound}
	}
}

const (
	ahead      = 3                      // sentences voiced before their time
	soundRetry = 500 * time.Millisecond // between two tries of a loudspeaker that is gone
)

func (s *Session) pumpVoice() {
	if s.voicing {
		return
	}
	for i, q := range s.mouth.queue {
		if i >= ahead {
			return
		}
		if !q.asked {
			q.asked, s.voicing = true, true
			s.orders <- order{q.id, q.text, s.mouth.rate}
			return
		}
	}
	if len(s.early) > 0 && len(s.mouth.queue) == 0 && !s.listening() {
		s.voicing = true
		s.orders <- order{0, s.early[0], s.mouth.rate}
		s.early = s.early[1:]
	}
}

// listening is whether the technician speaks, or what was said is not yet
// understood: no time to begin a prompt.
func (s *Session) listening() bool { return s.seg.Speaking() || len(s.order) > 0 }

func (s *Session) voiced(v voiced) {
	s.voicing = false
	i := slices.IndexFunc(s.mouth.queue, func(q *sentence) bool { return q.id == v.id })
	if i < 0 {
		return
	}
	q := s.mouth.queue[i]
	if v.err != nil || len(v.clip.Samples) == 0 {
		if v.err != nil && !s.voiceBad {
			s.voiceBad = true
			s.notice("the voice failed, going on in text: " + v.err.Error())
		}
		s.mouth.queue = slices.Delete(s.mouth.queue, i, i+1)
		return
	}
	q.clip, q.voiced = v.clip, true
	if q.turn != nil {
		q.turn.voiced = time.Now()
	}
}

func (s *Session) begun(b begun) {
	if len(s.mouth.queue) == 0 || s.mouth.queue[0].id != b.id {
		return
	}
	q := s.mouth.queue[0]
	s.own.play(q.clip.Samples, q.clip.Rate, b.at)
	length := time.Duration(len(q.clip.Samples)) * time.Second / time.Duration(q.clip.Rate)
	s.spoke(q.id, q.text, b.at, length)
	if t := q.turn; t != nil {
		q.turn = nil
		t.Voice, t.Out = max(0, t.voiced.Sub(t.heard)), b.at.Sub(t.voiced)
		if t.voiced.Before(t.heard) {
			t.Out = b.at.Sub(t.heard)
		}
		if s.cfg.Timed != nil {
			s.cfg.Timed(*t)
		}
	}
}

func (s *Session) ended(e ended) {
	m := &s.mouth
	m.playing, m.cutting = false, false
	m.cancel()
	if len(m.queue) == 0 || m.queue[0].id != e.id {
		return
	}
	q := m.queue[0]
	m.queue = m.queue[1:]
	s.fell(q.id, time.Now())
	switch {
	case e.err == nil:
		m.said = append(m.said, q)
		s.lostSound = time.Time{}
	case errors.Is(e.err, context.Canceled):
		s.own.stop(time.Now())
	default: // the loudspeaker is gone: the sentence is said when it is back
		if s.lostSound.IsZero() {
			s.notice("loudspeaker: " + e.err.Error())
		}
		s.lostSound = time.Now()
		again := m.fresh(q)
		again.failed, again.turn = q.failed+1, q.turn
		if again.failed == 1 { // it may be back already
			s.lostSound = s.lostSound.Add(-soundRetry)
		}
		if q.whole() || again.failed < maxRetries {
			m.queue = slices.Insert(m.queue, 0, again)
		}
	}
}

func cacheKey(text string, rate int) string { return strconv.Itoa(rate) + " " + text }
