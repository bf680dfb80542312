package live

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"time"

	"callout/audio"
	"callout/joblog"
	"callout/session"
)

// Voice turns a text into mono sound at a speed in words a minute. It is called
// from a goroutine of its own, one call at a time.
type Voice interface {
	Synthesise(ctx context.Context, text string, rate int) (audio.Clip, error)
}

// Loudspeaker plays mono samples. PlayTold returns when they were heard, or
// with the context's error once a sound that ctx cut off is silent; it calls
// begun with the moment at which the first sample was taken.
type Loudspeaker interface {
	PlayTold(ctx context.Context, samples []float32, rate int, begun func(time.Time)) error
}

// sentence is one piece of speech, from the queue to the loudspeaker.
type sentence struct {
	id     int
	text   string
	as     joblog.As
	entry  uint64 // of the log, that it tells
	clip   audio.Clip
	voiced bool
	asked  bool // the voice was given it
	failed int  // times that the loudspeaker failed with it
	cut    int  // times that it was cut off
	turn   *Timing
}

// mouth is what is to be said. Only the loop touches it; the goroutines of
// voice and loudspeaker get copies and send events.
type mouth struct {
	speakable func(string) string
	rate      int     // words a minute
	gain      float64 // 1 is as synthesised
	lastID    int
	queue     []*sentence // the first may be playing
	playing   bool
	cutting   bool // the one that plays was told to stop
	cancel    context.CancelFunc
	held      []*sentence // cut off or overtaken, waiting for what the technician says
	kept      []*sentence // told to hold, until "go on"
	said      []*sentence // of this turn, spoken to the end; for louder, slower

	step uint64 // the entry of the step that is in force, 0 before the first
}

var sentenceEnd = regexp.MustCompile(`[.?!]["')]?\s+`)

// sentences cuts a text after each full stop, question and exclamation mark
// that a space follows.
func sentences(text string) []string {
	var list []string
	for len(text) > 0 {
		end := sentenceEnd.FindStringIndex(text)
		if end == nil {
			break
		}
		list = append(list, strings.TrimSpace(text[:end[1]]))
		text = text[end[1]:]
	}
	if text = strings.TrimSpace(text); text != "" {
		list = append(list, text)
	}
	return list
}

// show takes a record of the session and queues what is to be spoken. What was
// spoken over and is settled by the record is not said again.
func (m *mouth) show(r session.Record, turn *Timing) {
	switch b := r.Body.(type) {
	case joblog.Next: // there is a newer one
		m.settled(joblog.AsStep, m.step)
		m.step = r.Seq
	case joblog.Callout:
		if b.Answers != 0 {
			m.settled(joblog.AsQuestion, b.Answers)
		}
	case joblog.Said:
		if b.Way != joblog.Spoken {
			return
		}
		if b.As == joblog.AsQuestion && b.Entry != 0 {
			m.settled(b.As, b.Entry) // it is put again
		}
		m.add(b.As, b.Entry, m.speakable(b.Text), turn)
	}
}

// add queues a text, sentence by sentence. The first sentence of a turn is timed.
func (m *mouth) add(as joblog.As, entry uint64, spoken string, turn *Timing) {
	for _, text := range sentences(spoken) {
		m.lastID++
		m.queue = append(m.queue, &sentence{id: m.lastID, text: text, as: as, entry: entry, turn: turn})
		turn = nil
	}
}

// settled drops what is kept back of the step or question of an entry.
func (m *mouth) settled(as joblog.As, entry uint64) {
	over := func(s *sentence) bool { return s.as == as && s.entry == entry }
	m.held, m.kept = slices.DeleteFunc(m.held, over), slices.DeleteFunc(m.kept, over)
}

// whole reports whether a sentence is not cut off, whoever speaks: a hazard, and a
// line of an old log that does not tell what it is.
func (s *sentence) whole() bool { return s.as == joblog.AsHazard || s.as == "" }

// again reports whether a sentence that was spoken over is said once more after the
// answer: a step, and a question that waits.
func (s *sentence) again() bool {
	return s.as == joblog.AsStep || s.as == joblog.AsQuestion && s.entry != 0
}

// mostCut is how often a sentence is cut off: what cuts it again may be its own echo, and
// it would never be said.
const mostCut = 3

// interrupt stops what may be stopped, and keeps it back.
func (m *mouth) interrupt() {
	var stay []*sentence
	for i, s := range m.queue {
		switch {
		case s.whole(), s.cut >= mostCut:
			stay = append(stay, s)
		case i == 0 && m.playing:
			if !m.cutting {
				m.cutting = true
				s.cut++
				m.cancel()
				m.held = append(m.held, s)
			}
			stay = append(stay, s) // leaves the queue once it is silent
		default:
			m.held = append(m.held, s)
		}
	}
	m.queue = stay
}

// answered tells that the technician got an answer to what was spoken over the
// prompt: what must still be said follows it. Hush drops that, too.
func (m *mouth) answered(hush bool) {
	for _, s := range m.held {
		if s.again() && !hush {
			m.queue = append(m.queue, m.fresh(s))
		}
	}
	m.held = nil
}

// resume says again what was spoken over by mistake: it was no callout.
func (m *mouth) resume() {
	held := make([]*sentence, 0, len(m.held)+len(m.queue))
	for _, s := range m.held {
		held = append(held, m.fresh(s))
	}
	m.held = nil
	n := 0
	if m.playing {
		n = 1
	}
	m.queue = slices.Insert(m.queue, n, held...)
}

// fresh is s to be said from its start.
func (m *mouth) fresh(s *sentence) *sentence {
	m.lastID++
	return &sentence{id: m.lastID, text: s.text, as: s.as, entry: s.entry, cut: s.cut}
}

// revoice forgets the sound of what waits, after the voice or its speed changed.
func (m *mouth) revoice() {
	for i, s := range m.queue {
		if i > 0 || !m.playing {
			m.queue[i] = m.fresh(s)
		}
	}
}

const (
	louderBy   = 1.6 // 4 dB
	mostGain   = 6.0
	leastGain  = 0.15
	slowerBy   = 0.85
	mostRate   = 380
	leastRate  = 90
	maxRetries = 40
)

// command does what is asked of the voice. It reports whether the command was
// one for the voice.
func (m *mouth) command(id string) (mine bool) {
	switch id {
	case "stop":
		m.interrupt()
		m.held = nil
		return true
	case "hold":
		m.interrupt()
		m.kept = append(m.kept, m.held...)
		m.held = nil
		return true
	case "go_on":
		for _, s := range append(m.kept, m.held...) {
			m.queue = append(m.queue, m.fresh(s))
		}
		m.kept, m.held = nil, nil
		return true
	case "louder":
		m.gain = min(mostGain, m.gain*louderBy)
	case "softer":
		m.gain = max(leastGain, m.gain/louderBy)
	case "slower":
		m.rate = max(leastRate, int(float64(m.rate)*slowerBy))
	case "faster":
		m.rate = min(mostRate, int(float64(m.rate)/slowerBy))
	default:
		return false
	}
	m.revoice()
	if len(m.held) == 0 && len(m.queue) == 0 { // let it be heard
		for _, s := range m.said {
			m.queue = append(m.queue, m.fresh(s))
		}
	}
	return true
}

// loud brings samples to the gain. Above full scale they bend, so that a loud
// voice grows dull before it rattles.
func loud(samples []float32, gain float64) []float32 {
	if gain == 1 {
		return samples
	}
	out := make([]float32, len(samples))
	for i, s := range samples {
		v := float64(s) * gain
		if a := abs(v); a > 0.7 {
			v = v / a * (0.7 + 0.3*(a-0.7)/(a-0.7+0.3))
		}
		out[i] = float32(v)
	}
	return out
}

func abs(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}

// voiced is an event: the voice has a sentence's sound.
type voiced struct {
	id   int
	clip audio.Clip
	err  error
	took time.Duration
}

// begun and ended are events of the loudspeaker.
type begun struct {
	id int
	at time.Time
}

type ended struct {
	id  int
	err error
}

// cache keeps the sound of sentences that are said often.
type cache struct {
	order []string
	clips map[string]audio.Clip
	size  int
}

const cacheSize = 60 * 22050 * 4 // samples: about four minutes

func (c *cache) get(key string) (audio.Clip, bool) {
	clip, ok := c.clips[key]
	if ok {
		i := slices.Index(c.order, key)
		c.order = append(slices.Delete(c.order, i, i+1), key)
	}
	return clip, ok
}

func (c *cache) put(key string, clip audio.Clip) {
	if _, ok := c.clips[key]; ok || len(clip.Samples) > cacheSize/4 {
		return
	}
	c.clips[key] = clip
	c.order = append(c.order, key)
	c.size += len(clip.Samples)
	for c.size > cacheSize {
		c.size -= len(c.clips[c.order[0]].Samples)
		delete(c.clips, c.order[0])
		c.order = c.order[1:]
	}
}
