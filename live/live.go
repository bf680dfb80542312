package live

import (
	"context"
	"errors"
	"sync"
	"time"

	"callout/audio"
	"callout/joblog"
	"callout/prompts"
	"callout/session"
)

// Session is one live conversation. Make it with New, hand it to the runner as
// an output, then call Run. Typed, Settle and DeviceChanged are safe for concurrent use;
// Show is called by the runner, on the loop's goroutine or before Run.
type Session struct {
	cfg  Config
	conv Conversation
	log  timedLog

	frames   chan frame
	decodes  chan *attempt
	decodeds chan decoded
	orders   chan order
	voiceds  chan voiced
	plays    chan sounding
	beguns   chan begun
	endeds   chan ended
	posts    chan func(context.Context) error
	over     chan struct{} // closed when Run returns

	// What follows is the loop's.
	seg       *audio.Segmenter
	own       *own
	meter     meter
	mouth     mouth
	trial     *attempt   // decoding of the utterance that is open
	order     []*attempt // utterances that ended, oldest first
	waiting   []*attempt // not yet given to the recogniser
	decoding  bool
	voicing   bool
	early     []string  // phrases to be voiced when there is nothing else to do
	recent    []span    // what was said last
	late      int64     // calls of the sound system that came late
	ranDry    time.Time // when the loudspeaker did, last
	pace      pace
	turn      *Timing
	decision  joblog.Decision
	mine      bool // the turn had a command for the voice
	hush      bool
	warned    time.Time // of clipping
	dead      time.Time // warned of silence
	voiceBad  bool
	lostSound time.Time // when the loudspeaker was found gone
}

// New makes a Session.
func New(cfg Config) *Session {
	cfg.Pauses = cfg.Pauses.WithDefaults()
	if cfg.Rate == 0 {
		cfg.Rate = 170
	}
	s := &Session{cfg: cfg, own: newOwn(),
		frames: make(chan frame, 256), decodes: make(chan *attempt, 1), decodeds: make(chan decoded, 1),
		orders: make(chan order, 1), voiceds: make(chan voiced, 1), plays: make(chan sounding, 1),
		beguns: make(chan begun, 1), endeds: make(chan ended, 1), posts: make(chan func(context.Context) error, 16), over: make(chan struct{}),
		seg: audio.NewSegmenter(audio.SegmentOptions{Pause: cfg.Pauses.Longer}),
	}
	s.mouth = mouth{speakable: func(t string) string { return t }, rate: cfg.Rate, gain: 1}
	if cfg.Book != nil {
		s.mouth.speakable = cfg.Book.Speakable
		for _, id := range cfg.Book.IDs() { // those that need nothing filled in
			if line, err := cfg.Book.Line(id, nil); err == nil {
				s.early = append(s.early, sentences(line.Spoken)...)
			}
		}
	}
	return s
}

// TimeLog puts a clock between the runner and its log.
func (s *Session) TimeLog(l session.Log) session.Log {
	s.log.log = l
	return &s.log
}

// Show takes a record that is in the log: what is to be spoken is queued.
func (s *Session) Show(_ context.Context, r session.Record) error {
	if b, ok := r.Body.(joblog.Callout); ok {
		if s.decision == "" || b.Decision != joblog.Ignored {
			s.decision = b.Decision
		}
		if b.Decision == joblog.Recorded {
			for _, c := range b.Commands {
				s.hush = s.hush || c.Command == "stop"
				s.mine = s.mouth.command(c.Command) || s.mine
			}
		}
	}
	if s.cfg.Voice == nil {
		return nil
	}
	before := len(s.mouth.queue)
	s.mouth.show(r, s.turn)
	if len(s.mouth.queue) > before {
		s.turn = nil
	}
	return nil
}

// Typed takes a line as if it had been spoken.
func (s *Session) Typed(ctx context.Context, text string) {
	s.post(ctx, func(ctx context.Context) error {
		s.mouth.interrupt()
		return s.hear(ctx, session.Utterance{At: time.Now(), Source: joblog.Typed, Text: text, Certainty: 1}, nil)
	})
}

// Settle waits until everything typed so far was taken.
func (s *Session) Settle(ctx context.Context) error {
	done := make(chan struct{})
	s.post(ctx, func(context.Context) error {
		close(done)
		return nil
	})
	select {
	case <-done:
	case <-s.over:
	case <-ctx.Done():
		return ctx.Err()
	}
	return nil
}

// DeviceChanged tells that the microphone went away, or is there again.
func (s *Session) DeviceChanged(ctx context.Context, lost bool, name, why string) {
	s.post(ctx, func(ctx context.Context) error {
		s.pace = pace{}
		if !lost {
			s.notice("microphone: " + name + " is back")
			s.cfg.Detector.Reset()
			return s.conv.Tell(ctx, time.Now(), "microphone_back", nil)
		}
		s.notice("microphone: " + name + " is gone: " + why)
		if u, ok := s.seg.Flush(); ok {
			s.drop() // what was decoded of it was decoded as if it were whole
			s.close(u, time.Now(), true)
		}
		return s.conv.Tell(ctx, time.Now(), "microphone_lost", nil)
	})
}

func (s *Session) post(ctx context.Context, f func(context.Context) error) {
	select {
	case s.posts <- f:
	case <-s.over:
	case <-ctx.Done():
	}
}

func (s *Session) notice(text string) {
	if s.cfg.Notice != nil {
		s.cfg.Notice(text)
	}
}

// Run holds the conversation until the job is closed, ctx is done (it returns
// its cause) or the log can't be written. It may be called once. No goroutine is
// left behind.
func (s *Session) Run(ctx context.Context, c Conversation) error {
	defer close(s.over)
	s.conv = c
	inner, stop := context.WithCancel(ctx)
	var workers sync.WaitGroup
	if s.cfg.Microphone != nil {
		workers.Go(func() { s.listen(inner) })
		workers.Go(func() { s.decode(inner) })
	}
	if s.cfg.Voice != nil {
		workers.Go(func() { s.speak(inner) })
		workers.Go(func() { s.play(inner) })
	}
	err := s.loop(inner)
	if s.trial != nil {
		s.trial.cancel()
	}
	for _, a := range s.order {
		a.cancel()
	}
	if s.mouth.playing {
		s.mouth.cancel()
	}
	stop()
	workers.Wait()
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		return context.Cause(ctx)
	}
	return err
}

func (s *Session) loop(ctx context.Context) error {
	due := time.NewTimer(time.Hour)
	defer due.Stop()
	var failed error // the log's: it is told, then the loop ends
	for {
		s.pump(ctx)
		if (failed != nil || s.conv.Closed()) && len(s.mouth.queue) == 0 && len(s.order) == 0 {
			return failed
		}
		wait := time.Hour
		if at, ok := s.conv.NextDue(); ok && !s.conv.Closed() {
			wait = max(0, time.Until(at))
		}
		due.Reset(wait)
		var err error
		select {
		case <-ctx.Done():
			return ctx.Err()
		case f := <-s.frames:
			err = s.frame(ctx, f)
		case d := <-s.decodeds:
			err = s.decoded(ctx, d)
		case v := <-s.voiceds:
			s.voiced(v)
		case b := <-s.beguns:
			s.begun(b)
		case e := <-s.endeds:
			s.ended(e)
		case f := <-s.posts:
			err = f(ctx)
		case <-due.C:
			err = s.conv.Tick(ctx, time.Now())
		}
		switch {
		case err == nil, errors.Is(err, session.ErrClosed):
		case failed != nil: // told already
		case errors.Is(err, session.ErrLogFailed):
			failed = err
			s.sayFailure(err)
		default:
			return err
		}
	}
}

// sayFailure tells what can't be logged, for the log is what failed.
func (s *Session) sayFailure(err error) {
	s.notice(err.Error())
	if s.cfg.Voice == nil || s.cfg.Book == nil {
		return
	}
	if line, e := s.cfg.Book.Line("log_failed", prompts.Args{"Why": "the disk does not take it"}); e == nil {
		s.mouth.interrupt()
		s.mouth.held = nil
		s.mouth.add(joblog.AsHazard, 0, line.Spoken, nil)
	}
}

// hear hands one utterance to the session and sees to what was being said.
func (s *Session) hear(ctx context.Context, u session.Utterance, t *Timing) error {
	s.turn, s.decision, s.mine, s.hush = t, "", false, false
	last := s.mouth.lastID
	logBefore, start := s.log.took, time.Now()
	err := s.conv.Hear(ctx, u)
	if t != nil {
		t.heard = time.Now()
		t.Log = s.log.took - logBefore
		t.Decide = t.heard.Sub(start) - t.Log
	}
	s.turn = nil
	if s.mouth.lastID > last && !s.mine {
		s.mouth.said = nil // there is something newer to make louder
	}
	switch {
	case s.hush:
		s.mouth.answered(true)
	case s.mine, s.decision == joblog.Ignored, s.decision == "":
		s.mouth.resume()
	default:
		s.mouth.answered(false)
	}
	return err
}
