package live

import (
	"slices"
	"strings"
	"time"

	"callout/audio"
)

// What the microphone hears while the loudspeaker speaks may be the program itself. The
// gate in own.go keeps most of it out. What gets past the gate is told by its words, and
// whatever is heard meanwhile is asked back, not taken.

const (
	echoTail  = 300 * time.Millisecond // after the loudspeaker took its last sample: room, buffers of the sound system
	dryFor    = 5 * time.Second        // the time of what was spoken isn't known for so long after the loudspeaker ran dry
	echoWords = 2                      // in a row, of what is being said, are the program's own
	echoShare = 0.75                   // of the words of a longer utterance, in their order
	echoLong  = 4                      // words, from which the share counts
	holeAfter = 40 * time.Millisecond  // by which the microphone's sound falls behind the clock: some of it is lost
	holeFor   = 16                     // frames in which it stays behind
)

// span is when a sentence was out, and its words.
type span struct {
	id       int
	from, to time.Time
	length   time.Duration // as it should take
	words    []string
	dry      bool // the loudspeaker ran dry meanwhile
}

// spoke notes that a sentence is out from a moment on.
func (s *Session) spoke(id int, text string, from time.Time, length time.Duration) {
	s.recent = append(s.recent, span{id: id, from: from, to: from.Add(length + echoTail), length: length, words: plainWords(text)})
	s.recent = s.recent[max(0, len(s.recent)-12):]
}

// fell notes that the loudspeaker is silent, and how far the sentence got.
func (s *Session) fell(id int, at time.Time) {
	for i := range s.recent {
		r := &s.recent[i]
		if r.id != id {
			continue
		}
		r.to = at.Add(echoTail)
		if out := at.Sub(r.from); out < r.length { // and one word more, which may have begun
			n := int(float64(len(r.words))*float64(max(0, out))/float64(r.length)) + 2
			r.words = r.words[:min(len(r.words), n)]
		}
	}
}

// watchSpeaker notes when the loudspeaker ran dry: the sound that it has comes out late.
func (s *Session) watchSpeaker(now time.Time) {
	l, ok := s.cfg.Loudspeaker.(interface{ Late() int64 })
	if !ok {
		return
	}
	n := l.Late()
	if n == s.late {
		return
	}
	s.late, s.ranDry = n, now
	for i := range s.recent {
		s.recent[i].dry = s.recent[i].dry || s.dry(s.recent[i])
	}
}

// dry reports whether the loudspeaker ran dry while a sentence was out, or shortly before:
// then it comes later than its time.
func (s *Session) dry(r span) bool {
	return !s.ranDry.IsZero() && s.ranDry.After(r.from.Add(-dryFor)) && s.ranDry.Before(r.to)
}

// sounding reports what was out while an utterance was spoken, from its first sound to its
// last. Where the loudspeaker ran dry, what it said counts for some seconds more.
func (s *Session) sounding(a *attempt) (list []span) {
	from := a.end.Add(-a.sound.Duration()).Add(preRoll)
	for _, r := range s.recent {
		to := r.to
		if r.dry || s.dry(r) {
			to = to.Add(dryFor)
		}
		if r.from.Before(a.end) && to.After(from) {
			list = append(list, r)
		}
	}
	return list
}

// preRoll is the sound that an utterance holds from before its first.
var preRoll = audio.SegmentOptions{}.WithDefaults().PreRoll

// mixed reports whether an utterance may hold the program's own voice: it was speaking
// meanwhile, or had just run dry, and what it says is known to come back, or not known not to.
func (s *Session) mixed(a *attempt) bool {
	list := s.sounding(a)
	late := slices.ContainsFunc(list, func(r span) bool { return r.dry || s.dry(r) }) // an echo at another time isn't learnt
	return late || len(list) > 0 && !s.own.deaf()
}

// echo reports whether an utterance is what was being said meanwhile: two or three of its
// words in a row, or most of a longer one's in their order.
func (s *Session) echo(a *attempt, text string) bool {
	words := plainWords(text)
	if len(words) < echoWords {
		return false
	}
	var said []string
	for _, r := range s.sounding(a) {
		said = append(said, r.words...)
	}
	for i := 0; i+len(words) <= len(said); i++ {
		if slices.Equal(said[i:i+len(words)], words) {
			return true
		}
	}
	return len(words) >= echoLong && float64(common(said, words)) >= echoShare*float64(len(words))
}

// common is the length of the longest sequence of words that two lists have in the same
// order.
func common(a, b []string) int {
	row := make([]int, len(b)+1)
	for _, x := range a {
		diagonal := 0
		for j, y := range b {
			above := row[j+1]
			if x == y {
				row[j+1] = diagonal + 1
			} else {
				row[j+1] = max(above, row[j])
			}
			diagonal = above
		}
	}
	return row[len(b)]
}

// plainWords are the words of a text in lower case, without punctuation.
func plainWords(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '\'')
	})
}

// pace finds holes in the microphone's sound: it lags behind the clock where some of it
// was lost, and catches up where it only came late.
type pace struct {
	start  time.Time
	frames int
	behind time.Duration // the least so far
	late   int           // frames since it was no more than that behind
	hole   time.Time     // when sound was lost last
}

// frame takes a frame that was there at a moment.
func (p *pace) frame(at time.Time) {
	if p.start.IsZero() {
		p.start = at
	}
	behind := at.Sub(p.start) - time.Duration(p.frames)*audio.FrameSize*time.Second/audio.Rate
	p.frames++
	switch {
	case behind < p.behind:
		p.behind, p.late = behind, 0
	case behind-p.behind < holeAfter:
		p.late = 0
	default:
		if p.late++; p.late >= holeFor {
			p.behind, p.late, p.hole = behind, 0, at
		}
	}
}

// torn reports whether sound that ended at a moment and lasted so long may have a hole.
func (p *pace) torn(end time.Time, length time.Duration) bool {
	const found = holeFor * audio.FrameSize * time.Second / audio.Rate
	return p.late > 0 || !p.hole.IsZero() && p.hole.Sub(end) < 2*found && p.hole.After(end.Add(-length))
}
