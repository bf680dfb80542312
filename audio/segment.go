package audio

import (
	"time"
)

// SegmentOptions say where an utterance begins and ends. Zero fields take the defaults.
type SegmentOptions struct {
	Threshold float64       // score from which a frame is speech; 0.5
	MinSpeech time.Duration // speech shorter than this is a click; 120 ms
	Pause     time.Duration // silence that ends an utterance; 700 ms
	PreRoll   time.Duration // sound kept before the first speech frame; 300 ms
	PostRoll  time.Duration // sound kept after the last one; 300 ms
	Max       time.Duration // longest utterance; 25 s
}

// WithDefaults fills the zero fields.
func (o SegmentOptions) WithDefaults() SegmentOptions {
	if o.Threshold == 0 {
		o.Threshold = 0.5
	}
	for _, d := range []struct {
		v   *time.Duration
		def time.Duration
	}{
		{&o.MinSpeech, 120 * time.Millisecond}, {&o.Pause, 700 * time.Millisecond},
		{&o.PreRoll, 300 * time.Millisecond}, {&o.PostRoll, 300 * time.Millisecond},
		{&o.Max, 25 * time.Second},
	} {
		if *d.v == 0 {
			*d.v = d.def
		}
	}
	return o
}

// frames is the number of frames that cover d.
func frames(d time.Duration) int {
	per := FrameSize * time.Second / Rate
	return int((d + per - 1) / per)
}

// Segmenter cuts a stream of frames into utterances. It counts frames and reads no clock.
// It is not safe for concurrent use.
type Segmenter struct {
	threshold                              float64
	minSpeech, pause, pre, post, maxFrames int

	sound  []float32 // from frame first on
	scores []float64 // of the same frames
	first  int       // number of the first frame held
	next   int       // number of the frame to come

	speaking bool
	begin    int // first speech frame of the open utterance
	last     int // last speech frame of the open utterance
	spoken   int // speech frames in it
}

// NewSegmenter makes a Segmenter.
func NewSegmenter(o SegmentOptions) *Segmenter {
	o = o.WithDefaults()
	return &Segmenter{
		threshold: o.Threshold, minSpeech: max(1, frames(o.MinSpeech)), pause: max(1, frames(o.Pause)),
		pre: frames(o.PreRoll), post: frames(o.PostRoll), maxFrames: max(2, frames(o.Max)),
	}
}

// Speaking reports whether an utterance is open: speech began and its pause is not over.
func (s *Segmenter) Speaking() bool { return s.speaking && s.spoken >= s.minSpeech }

// Push takes the next frame of FrameSize samples with its detector's score, and returns
// an utterance when this frame ends one.
func (s *Segmenter) Push(frame []float32, score float64) (Utterance, bool) {
	s.sound = append(s.sound, frame...)
	s.scores = append(s.scores, score)
	n := s.next
	s.next++
	if score >= s.threshold {
		if !s.speaking {
			s.speaking, s.begin, s.spoken = true, n, 0
		}
		s.last = n
		s.spoken++
	}
	switch {
	case !s.speaking:
		s.keep(s.next - s.pre)
	case n-s.last >= s.pause:
		return s.close(s.last)
	case n-s.begin+1+s.pre >= s.maxFrames:
		return s.cut()
	}
	return Utterance{}, false
}

// Flush ends the stream and returns the open utterance, if there is one.
func (s *Segmenter) Flush() (Utterance, bool) {
	if !s.speaking {
		return Utterance{}, false
	}
	return s.close(s.last)
}

// cut ends an utterance that is too long at its weakest frame in the last quarter; the
// rest begins the next one.
func (s *Segmenter) cut() (Utterance, bool) {
	weakest := s.next - 1
	for n := s.next - 1; n > s.next-s.maxFrames/4; n-- {
		if s.scores[n-s.first] < s.scores[weakest-s.first] {
			weakest = n
		}
	}
	from := max(s.first, s.begin-s.pre)
	u := s.utterance(from, weakest+1)
	s.keep(weakest + 1)
	s.begin, s.spoken = weakest+1, s.minSpeech-1 // the end of speech counts, however short
	if s.last >= s.begin {
		s.spoken = s.minSpeech
	}
	s.last = max(s.last, s.begin)
	return u, true
}

func (s *Segmenter) close(last int) (Utterance, bool) {
	enough := s.spoken >= s.minSpeech
	u := Utterance{}
	if enough {
		u = s.utterance(max(s.first, s.begin-s.pre), min(s.next, last+1+s.post))
	}
	s.speaking = false
	s.keep(s.next - s.pre)
	return u, enough
}

func (s *Segmenter) utterance(from, to int) Utterance {
	a, b := (from-s.first)*FrameSize, (to-s.first)*FrameSize
	return Utterance{
		Samples: append([]float32(nil), s.sound[a:b]...),
		Start:   duration(from*FrameSize, Rate),
		End:     duration(to*FrameSize, Rate),
	}
}

// keep drops the frames before from.
func (s *Segmenter) keep(from int) {
	if drop := from - s.first; drop > 0 {
		s.sound = append(s.sound[:0], s.sound[drop*FrameSize:]...)
		s.scores = append(s.scores[:0], s.scores[drop:]...)
		s.first = from
	}
}

// Split cuts a whole recording at Rate into utterances. A last part shorter than a frame
// is filled with silence.
func Split(samples []float32, d Detector, o SegmentOptions) []Utterance {
	s := NewSegmenter(o)
	var us []Utterance
	frame := make([]float32, FrameSize)
	for at := 0; at < len(samples); at += FrameSize {
		clear(frame[copy(frame, samples[at:]):])
		if u, ok := s.Push(frame, d.Score(frame)); ok {
			us = append(us, u)
		}
	}
	if u, ok := s.Flush(); ok {
		us = append(us, u)
	}
	return us
}
