package audio

import "time"

// Open gives what Flush would end now, and how long it has been silent at its
// end, without ending it; ok is false while no utterance is open that is long
// enough to be one. The samples are a copy.
func (s *Segmenter) Open() (u Utterance, silent time.Duration, ok bool) {
	if !s.Speaking() {
		return Utterance{}, 0, false
	}
	return s.utterance(max(s.first, s.begin-s.pre), min(s.next, s.last+1+s.post)), s.silent(), true
}

// Silent is how long an open utterance has been silent at its end, 0 if none is
// open.
func (s *Segmenter) Silent() time.Duration {
	if !s.Speaking() {
		return 0
	}
	return s.silent()
}

func (s *Segmenter) silent() time.Duration { return duration((s.next-1-s.last)*FrameSize, Rate) }

// Last is the end of the last frame of speech so far, on the clock of Utterance.
func (s *Segmenter) Last() time.Duration { return duration((s.last+1)*FrameSize, Rate) }
