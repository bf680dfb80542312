package live

import (
	"context"
	"errors"
	"slices"
	"time"

	"callout/audio"
	"callout/joblog"
	"callout/session"
)

// At most one warning is given in so long.
const (
	clipWarning = 30 * time.Second
	deadWarning = 10 * time.Minute
)

// frame takes the next stretch of sound.
func (s *Session) frame(ctx context.Context, f frame) error {
	s.measure(f)
	s.pace.frame(f.at)
	s.watchSpeaker(f.at)
	score := s.cfg.Detector.Score(f.samples)
	if !s.own.heard(f.samples, f.at) {
		score = 0
	}
	before := s.seg.Speaking()
	u, ended := s.seg.Push(f.samples, score)
	speaking := s.seg.Speaking()
	if !before && speaking {
		s.mouth.interrupt()
	}
	switch {
	case ended:
		s.close(u, f.at, false)
		return s.settle(ctx)
	case !speaking:
		return nil
	}
	silent := s.seg.Silent()
	switch {
	case silent == 0:
		s.drop()
	case s.trial == nil && silent >= s.cfg.Pauses.Early:
		open, _, _ := s.seg.Open()
		s.trial = s.attempt(open, f.at.Add(-silent))
	case s.trial != nil:
		s.trial.silent = silent
		return s.commit(ctx, f.at)
	}
	return nil
}

func (s *Session) measure(f frame) {
	l, ok := s.meter.add(f.samples, audio.Rate)
	if !ok {
		return
	}
	if s.cfg.Level != nil {
		s.cfg.Level(l)
	}
	if l.Clipped && f.at.Sub(s.warned) >= clipWarning {
		s.warned = f.at
		s.notice("the microphone is too loud and clips: turn it down, or hold it further away")
	}
	if l.Dead && f.at.Sub(s.dead) >= deadWarning {
		s.dead = f.at
		s.notice("the microphone gives nothing but silence: is it muted, or the wrong one?")
	}
}

// attempt gives sound to the recogniser.
func (s *Session) attempt(sound audio.Utterance, end time.Time) *attempt {
	a := &attempt{sound: sound, end: end, needed: s.cfg.Pauses.Other}
	a.ctx, a.cancel = context.WithCancel(context.Background())
	s.waiting = append(s.waiting, a)
	return a
}

// drop forgets the decoding of an utterance that went on.
func (s *Session) drop() {
	if s.trial == nil {
		return
	}
	s.trial.cancel()
	s.waiting = slices.DeleteFunc(s.waiting, func(a *attempt) bool { return a == s.trial })
	s.trial = nil
}

// commit ends the open utterance once its pause is as long as its meaning needs.
func (s *Session) commit(ctx context.Context, now time.Time) error {
	if a := s.trial; a != nil && a.done && a.silent >= a.needed {
		if u, ok := s.seg.Flush(); ok {
			s.close(u, now, false)
		}
	}
	return s.settle(ctx)
}

// close puts an utterance that has ended among those to be settled.
func (s *Session) close(u audio.Utterance, now time.Time, cut bool) {
	a := s.trial
	s.trial = nil
	if a == nil {
		a = s.attempt(u, now)
	}
	a.cut = cut
	s.order = append(s.order, a)
}

// decoded takes the recogniser's answer.
func (s *Session) decoded(ctx context.Context, d decoded) error {
	s.decoding = false
	a := d.attempt
	a.done, a.doneAt, a.heard, a.err, a.took = true, time.Now(), d.heard, d.err, d.took
	a.heard.Source = joblog.Speech
	if a != s.trial {
		if a.err == nil {
			a.needed = s.cfg.Pauses.needed(s.conv.Foresee(a.heard)) // for the timing only
		}
		return s.settle(ctx)
	}
	if a.err == nil {
		a.outlook = s.conv.Foresee(a.heard)
		a.needed = s.cfg.Pauses.needed(a.outlook)
		if a.outlook.ReadBack != "" && !s.voicing && s.cfg.Voice != nil {
			s.voicing = true // so that its sound is there when it is wanted
			s.orders <- order{0, s.mouth.speakable(sentences(a.outlook.ReadBack)[0]), s.mouth.rate}
		}
	}
	a.silent = s.seg.Silent()
	return s.commit(ctx, time.Now())
}

// settle hands over the utterances that are understood, in the order spoken.
func (s *Session) settle(ctx context.Context) error {
	for len(s.order) > 0 && s.order[0].done {
		a := s.order[0]
		s.order = s.order[1:]
		a.cancel()
		if a.err != nil {
			if errors.Is(a.err, context.Canceled) && ctx.Err() != nil {
				return ctx.Err()
			}
			s.notice("the recogniser failed: " + a.err.Error())
		}
		u := a.heard
		if a.err != nil { // logged as heard, without words
			u = session.Utterance{At: a.end, Source: joblog.Speech, Duration: a.sound.Duration(), Sound: a.sound.Samples}
		}
		u.Cut = a.cut || s.pace.torn(a.end, a.sound.Duration())
		u.Mixed, u.Echo = s.mixed(a), s.echo(a, u.Text)
		now := time.Now()
		t := &Timing{Text: u.Text, End: a.end, Took: a.took, committed: now}
		t.Pause = now.Sub(a.end)
		if late := a.doneAt.Sub(a.end.Add(a.needed)); late > 0 {
			t.Pause, t.Decode = t.Pause-late, late
		}
		if err := s.hear(ctx, u, t); err != nil {
			return err
		}
	}
	return nil
}
