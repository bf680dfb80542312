package live

import (
	"context"
	"time"

	"callout/audio"
	"callout/session"
)

// frame is one stretch of the microphone's sound.
type frame struct {
	samples []float32
	at      time.Time // its last sample was there
}

// listen brings frames until ctx is done.
func (s *Session) listen(ctx context.Context) {
	for {
		f := frame{samples: make([]float32, audio.FrameSize)}
		var err error
		if f.at, err = s.cfg.Microphone.Read(ctx, f.samples); err != nil {
			if ctx.Err() == nil {
				s.post(ctx, func(context.Context) error {
					s.notice("the microphone can't be read: " + err.Error())
					return nil
				})
			}
			return
		}
		send(ctx, s.frames, f)
	}
}

// attempt is one decoding of one utterance.
type attempt struct {
	sound  audio.Utterance
	end    time.Time // of speech
	silent time.Duration
	cut    bool // the microphone went away in it

	ctx     context.Context
	cancel  context.CancelFunc
	done    bool
	doneAt  time.Time
	heard   session.Utterance
	err     error
	outlook session.Outlook
	took    time.Duration
	needed  time.Duration // of silence, for this text
}

// decoded is the event that an attempt has ended.
type decoded struct {
	*attempt
	heard session.Utterance
	err   error
	took  time.Duration
}

func (s *Session) decode(ctx context.Context) {
	if s.cfg.Warm != nil {
		if err := s.cfg.Warm(ctx); err != nil && ctx.Err() == nil {
			s.post(ctx, func(context.Context) error {
				s.notice("the recogniser failed: " + err.Error())
				return nil
			})
		}
	}
	for a := range receive(ctx, s.decodes) {
		start := time.Now()
		u, err := s.cfg.Ear.Hear(a.ctx, a.sound, a.end)
		send(ctx, s.decodeds, decoded{a, u, err, time.Since(start)})
	}
}

// order is one sentence for the voice.
type order struct {
	id   int // 0: for the cache only
	text string
	rate int
}

func (s *Session) speak(ctx context.Context) {
	c := cache{clips: map[string]audio.Clip{}}
	for o := range receive(ctx, s.orders) {
		start := time.Now()
		key := cacheKey(o.text, o.rate)
		clip, ok := c.get(key)
		var err error
		if !ok {
			if clip, err = s.cfg.Voice.Synthesise(ctx, o.text, o.rate); err == nil {
				clip.Samples = trim(clip.Samples, clip.Rate)
				c.put(key, clip)
			}
		}
		send(ctx, s.voiceds, voiced{o.id, clip, err, time.Since(start)})
	}
}

// sounding is one sentence for the loudspeaker.
type sounding struct {
	id      int
	samples []float32
	rate    int
	ctx     context.Context
}

func (s *Session) play(ctx context.Context) {
	for p := range receive(ctx, s.plays) {
		err := s.cfg.Loudspeaker.PlayTold(p.ctx, p.samples, p.rate, func(at time.Time) { send(ctx, s.beguns, begun{p.id, at}) })
		send(ctx, s.endeds, ended{p.id, err})
	}
}

func send[T any](ctx context.Context, to chan<- T, v T) {
	select {
	case to <- v:
	case <-ctx.Done():
	}
}

// receive yields what comes in until ctx is done.
func receive[T any](ctx context.Context, from <-chan T) func(func(T) bool) {
	return func(yield func(T) bool) {
		for {
			select {
			case v := <-from:
				if !yield(v) {
					return
				}
			case <-ctx.Done():
				return
			}
		}
	}
}

const (
	trimBelow = 0.003                  // of full scale, -50 dB
	trimHead  = 4 * time.Millisecond   // left before the first sound
	trimTail  = 120 * time.Millisecond // left after the last: the pause between sentences
)

// trim takes off the silence that a voice puts around a sentence.
func trim(samples []float32, rate int) []float32 {
	first, last := 0, len(samples)-1
	for first < len(samples) && samples[first] < trimBelow && samples[first] > -trimBelow {
		first++
	}
	for last > first && samples[last] < trimBelow && samples[last] > -trimBelow {
		last--
	}
	if first >= len(samples) {
		return nil
	}
	head, tail := int(trimHead*time.Duration(rate)/time.Second), int(trimTail*time.Duration(rate)/time.Second)
	return samples[max(0, first-head):min(len(samples), last+1+tail)]
}
