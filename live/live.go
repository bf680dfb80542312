package live

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"callout/audio"
	"callout/joblog"
	"callout/prompts"
	"callout/session"
)

// Conversation is the session behind the turn. A session.Runner with its Call
// is one, by Of.
type Conversation interface {
	// Hear logs, decides, and has the answer shown; Tick what is due; Tell a
	// phrase of the book.
	Hear(ctx context.Context, u session.Utterance) error
	Tick(ctx context.Context, at time.Time) error
	Tell(ctx context.Context, at time.Time, phrase string, args prompts.Args) error
	// NextDue is the moment of the earliest running timer.
	NextDue() (time.Time, bool)
	// Foresee says what would become of u, without taking it.
	Foresee(u session.Utterance) session.Outlook
	Closed() bool
}

// Ear turns sound into words; session.Ear is one. It is called from one
// goroutine.
type Ear interface {
	Hear(ctx context.Context, sound audio.Utterance, at time.Time) (session.Utterance, error)
}

// Microphone gives 16 kHz mono sound. Read fills frame and tells when its last
// sample was there; it returns an error only when nothing more will come.
type Microphone interface {
	Read(ctx context.Context, frame []float32) (time.Time, error)
}

// Pauses say how much silence ends an utterance. Zero fields take the defaults.
type Pauses struct {
	Early  time.Duration // decoding starts; 96 ms, longer than the gaps inside most words
	Whole  time.Duration // it means something whole; 320 ms
	Number time.Duration // the same, and one more word would make another number; 550 ms
	Other  time.Duration // it means nothing yet known; 700 ms
	Longer time.Duration // a callout began and its end is missing; 1400 ms
}

func (p Pauses) withDefaults() Pauses {
	for _, d := range []struct {
		v   *time.Duration
		def time.Duration
	}{
		{&p.Early, 96 * time.Millisecond}, {&p.Whole, 320 * time.Millisecond}, {&p.Number, 550 * time.Millisecond},
		{&p.Other, 700 * time.Millisecond}, {&p.Longer, 1400 * time.Millisecond},
	} {
		if *d.v == 0 {
			*d.v = d.def
		}
	}
	return p
}

func (p Pauses) needed(o session.Outlook) time.Duration {
	switch {
	case o.Unfinished:
		return p.Longer
	case o.Whole && o.Grows:
		return p.Number
	case o.Whole:
		return p.Whole
	}
	return p.Other
}

// Config is what a Session works with.
type Config struct {
	Microphone  Microphone // nil: typed only
	Detector    audio.Detector
	Ear         Ear
	Voice       Voice // nil: nothing is spoken
	Loudspeaker Loudspeaker
	Book        *prompts.Book
	Rate        int // words a minute
	Pauses      Pauses
	// Notice is told what a person at the screen should know, Level how loud
	// the microphone is, Timed where a turn's time went. All may be nil; they
	// are called by the loop and must not block.
	Notice func(text string)
	Level  func(Level)
	Timed  func(Timing)
}

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
	early     []string // phrases to be voiced when there is nothing else to do
	recent    []spokenSpan
	turn      *Timing
	decision  joblog.Decision
	mine      bool // the turn had a command for the voice
	hush      bool
	warned    time.Time // of clipping
	dead      time.Time // warned of silence
	voiceBad  bool
	lostSound time.Time // when the loudspeaker was found gone
}

// spokenSpan is when something was said, for knowing the own voice by its words.
type spokenSpan struct {
	from, to time.Time
	words    []string
}

// New makes a Session.
func New(cfg Config) *Session {
	cfg.Pauses = cfg.Pauses.withDefaults()
	if cfg.Rate == 0 {
		cfg.Rate = 170
	}
	s := &Session{cfg: cfg, own: newOwn(),
		frames: make(chan frame, 256), decodes: make(chan *attempt, 1), decodeds: make(chan decoded, 1),
		orders: make(chan order, 1), voiceds: make(chan voiced, 1), plays: make(chan sounding, 1),
		beguns: make(chan begun, 1), endeds: make(chan ended, 1), posts: make(chan func(context.Context) error, 16), over: make(chan struct{}),
		seg: audio.NewSegmenter(audio.SegmentOptions{Pause: cfg.Pauses.Longer}),
	}
	s.mouth = mouth{speakable: func(t string) string { return t }, rate: cfg.Rate, gain: 1, cautions: map[string]bool{}}
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
		for _, text := range sentences(line.Spoken) {
			s.mouth.lastID++
			s.mouth.queue = append(s.mouth.queue, &sentence{id: s.mouth.lastID, text: text, keep: always})
		}
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
	if m := &s.mouth; !m.playing && len(m.queue) > 0 && m.queue[0].voiced && (m.queue[0].keep == always || !s.listening()) && time.Since(s.lostSound) >= soundRetry {
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
	s.recent = append(s.recent, spokenSpan{b.at, b.at.Add(length + ownReach), plainWords(q.text)})
	s.recent = s.recent[max(0, len(s.recent)-8):]
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
		again.failed = q.failed + 1
		if q.keep == always || again.failed < maxRetries {
			m.queue = slices.Insert(m.queue, 0, again)
		}
	}
}

func cacheKey(text string, rate int) string { return strconv.Itoa(rate) + " " + text }

// plainWords are the words of a text in lower case, without punctuation.
func plainWords(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '\'')
	})
}

// Of makes a Conversation of a runner.
func Of(r *session.Runner) Conversation { return runner{r} }

type runner struct{ *session.Runner }

func (r runner) NextDue() (time.Time, bool)                  { return r.Call().NextDue() }
func (r runner) Foresee(u session.Utterance) session.Outlook { return r.Call().Foresee(u) }
func (r runner) Closed() bool                                { return r.Call().Closed() }
