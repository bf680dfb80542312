package live

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/joblog"
	"callout/session"
)

const frameTime = audio.FrameSize * time.Second / audio.Rate

// room is a microphone and a loudspeaker in one place, a technician who speaks
// in it, and ears and a voice that know what was spoken. Everything runs on the
// clock of a test bubble.
type room struct {
	mu       sync.Mutex
	frames   int                 // given so far
	words    []spokenWord        // by the technician
	free     int                 // the first frame in which nothing is planned
	echo     float64             // of full scale, of what the loudspeaker plays
	lag      time.Duration       // by which what is played comes out late
	ranDry   int64               // how often the loudspeaker told so
	taken    func(string) string // what the ear makes of the program's own words; nil: the same
	noise    float64
	silent   bool // the microphone gives nothing
	playing  float64
	plays    []played
	texts    map[int]string // by the clip's mark
	marks    int
	gone     bool          // the loudspeaker
	decode   time.Duration // of an utterance
	decodes  int
	earFails error
	quit     chan struct{}
	heardOut func(played) // told when a sentence has ended
}

type spokenWord struct {
	from, to int // frames
	text     string
}

type played struct {
	text       string
	start, end time.Time
	cut        bool
	gain       float64
}

const (
	wordFrames = 7 // 224 ms
	voiceLevel = 0.5
)

// say plans words; "…" is a pause of a tenth of a second. It returns the moment
// at which the last word will have ended.
func (r *room) say(text string) time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	at := max(r.free, r.frames+1)
	for _, w := range strings.Fields(text) {
		if w == "…" {
			at += 3
			continue
		}
		r.words = append(r.words, spokenWord{at, at + wordFrames, w})
		at += wordFrames
	}
	r.free = at
	return time.Now().Add(time.Duration(at-r.frames) * frameTime)
}

// Read gives the next frame when its time has come.
func (r *room) Read(ctx context.Context, frame []float32) (time.Time, error) {
	select {
	case <-ctx.Done():
		return time.Time{}, ctx.Err()
	case <-time.After(frameTime):
	}
	r.mu.Lock()
	for r.silent {
		r.mu.Unlock()
		select {
		case <-ctx.Done():
			return time.Time{}, ctx.Err()
		case <-time.After(frameTime):
		}
		r.mu.Lock()
	}
	defer r.mu.Unlock()
	level := r.noise + r.echo*r.loudness()
	for i := len(r.words) - 1; i >= 0 && i > len(r.words)-40; i-- {
		if w := r.words[i]; w.from <= r.frames && r.frames < w.to {
			level += voiceLevel
		}
	}
	for i := range frame {
		frame[i] = float32(level)
		if i%2 == 1 {
			frame[i] = -frame[i]
		}
	}
	r.frames++
	return time.Now(), nil
}

// loudness is that of what is heard of the loudspeaker now.
func (r *room) loudness() float64 {
	if r.lag == 0 {
		return r.playing
	}
	if p := r.out(); p != nil {
		return p.gain * voiceLevel
	}
	return 0
}

// out is what is heard of the loudspeaker now, nil if nothing.
func (r *room) out() *played {
	at := time.Now().Add(-r.lag)
	for i := range r.plays {
		if p := &r.plays[i]; !at.Before(p.start) && (p.end.IsZero() || at.Before(p.end)) {
			return p
		}
	}
	return nil
}

// Late tells how often the loudspeaker ran dry.
func (r *room) Late() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.ranDry
}

// Hear knows the words whose middle lies in the sound; sound without any is the
// room's own voice, or nothing.
func (r *room) Hear(ctx context.Context, sound audio.Utterance, at time.Time) (session.Utterance, error) {
	select {
	case <-ctx.Done():
		return session.Utterance{}, ctx.Err()
	case <-time.After(r.decode):
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.decodes++
	if r.earFails != nil {
		return session.Utterance{}, r.earFails
	}
	var text []string
	for _, w := range r.words {
		middle := time.Duration(w.from+w.to) * frameTime / 2
		if sound.Start <= middle && middle < sound.End {
			text = append(text, w.text)
		}
	}
	if len(text) == 0 && r.echo > 0 && len(r.plays) > 0 {
		own := r.plays[len(r.plays)-1].text
		if r.taken != nil {
			own = r.taken(own)
		}
		text = append(text, own)
	}
	return session.Utterance{At: at, Source: joblog.Speech, Text: strings.Join(text, " "), Certainty: 1, Duration: sound.Duration(), Engine: "room"}, nil
}

// Score is a detector that hears everything above the noise.
func (r *room) Score(frame []float32) float64 {
	if math.Abs(float64(frame[0])) > r.noise+0.01 {
		return 1
	}
	return 0
}

func (r *room) Reset() {}

// marked is how a clip carries what it says: the signs of its first samples.
const marked = 20

// Synthesise makes a fifth of a second of each word.
func (r *room) Synthesise(_ context.Context, text string, rate int) (audio.Clip, error) {
	time.Sleep(20 * time.Millisecond)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.marks++
	r.texts[r.marks] = text
	n := marked + len(strings.Fields(text))*audio.Rate/5*170/rate
	clip := audio.Clip{Samples: make([]float32, n), Rate: audio.Rate}
	for i := range clip.Samples {
		clip.Samples[i] = voiceLevel
		if i < marked && r.marks>>i&1 == 1 || i >= marked && i%2 == 1 {
			clip.Samples[i] = -voiceLevel
		}
	}
	return clip, nil
}

// PlayTold takes as long as the sound, unless it is cut off.
func (r *room) PlayTold(ctx context.Context, samples []float32, rate int, begun func(time.Time)) error {
	r.mu.Lock()
	if r.gone {
		r.mu.Unlock()
		return fmt.Errorf("room: no loudspeaker")
	}
	mark := 0
	for i := range marked {
		if samples[i] < 0 {
			mark |= 1 << i
		}
	}
	p := played{text: r.texts[mark], start: time.Now(), gain: math.Abs(float64(samples[0])) / voiceLevel}
	r.playing = math.Abs(float64(samples[0]))
	if r.lag > 0 {
		r.ranDry++
	}
	r.plays = append(r.plays, p)
	i, quit := len(r.plays)-1, r.quit
	r.mu.Unlock()
	begun(time.Now())
	select {
	case <-ctx.Done():
	case <-time.After(time.Duration(len(samples)) * time.Second / time.Duration(rate)):
	case <-quit: // the loudspeaker goes away
		r.mu.Lock()
		defer r.mu.Unlock()
		r.playing, r.plays[i].cut, r.plays[i].end = 0, true, time.Now()
		return fmt.Errorf("room: the loudspeaker went away")
	}
	r.mu.Lock()
	r.playing = 0
	r.plays[i].end, r.plays[i].cut = time.Now(), ctx.Err() != nil
	p = r.plays[i]
	r.mu.Unlock()
	if r.heardOut != nil {
		r.heardOut(p)
	}
	return ctx.Err()
}

// spoken lists what was played to its end.
func (r *room) spoken() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	var list []string
	for _, p := range r.plays {
		if !p.cut && !p.end.IsZero() {
			list = append(list, p.text)
		}
	}
	return list
}

// all lists everything that was played, whole or not.
func (r *room) all() []played {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.plays)
}

// busy is whether the technician has words left to say.
func (r *room) busy() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.free > r.frames
}

// memory is a log in memory.
type memory struct {
	mu      sync.Mutex
	records []session.Record
	fail    error
	slow    time.Duration
}

func (m *memory) Append(body joblog.Body, at time.Time) (uint64, error) {
	time.Sleep(m.slow)
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return 0, m.fail
	}
	m.records = append(m.records, session.Record{Seq: uint64(len(m.records) + 1), At: at, Body: body})
	return uint64(len(m.records)), nil
}

func logged[T joblog.Body](m *memory) []T {
	m.mu.Lock()
	defer m.mu.Unlock()
	var list []T
	for _, r := range m.records {
		if b, ok := r.Body.(T); ok {
			list = append(list, b)
		}
	}
	return list
}

// call is one conversation under way in a room.
type call struct {
	t       *testing.T
	room    *room
	log     *memory
	s       *Session
	runner  *session.Runner
	timings []Timing
	notices []string
	ended   chan error
	stop    context.CancelFunc
}

var knowledge = sync.OnceValues(session.LoadKnowledge)

// begin opens a job in a room and starts to listen. It must run in a bubble.
func begin(t *testing.T, set func(*room, *Config)) *call {
	c := &call{t: t, log: &memory{}}
	conv := c.enter(set)
	opened := joblog.Opened{Schema: 1, Program: "test", Job: "test"}
	_, err := c.log.Append(opened, time.Now())
	require.NoError(t, err)
	require.NoError(t, conv.Apply(1, time.Now(), opened))
	c.start(conv, (*session.Runner).Begin)
	return c
}

// resume goes on with the call's log in another room, as after a restart.
func (c *call) resume() *call {
	again := &call{t: c.t, log: c.log}
	conv := again.enter(nil)
	for _, r := range c.log.records {
		require.NoError(c.t, conv.Apply(r.Seq, r.At, r.Body))
	}
	again.start(conv, (*session.Runner).Resume)
	return again
}

func (c *call) enter(set func(*room, *Config)) *session.Call {
	k, err := knowledge()
	require.NoError(c.t, err)
	c.room = &room{noise: 0.02, texts: map[int]string{}, decode: 150 * time.Millisecond, quit: make(chan struct{})}
	cfg := Config{Microphone: c.room, Detector: c.room, Ear: c.room, Voice: c.room, Loudspeaker: c.room, Book: k.Book,
		Timed: func(x Timing) { c.timings = append(c.timings, x) }, Notice: func(n string) { c.notices = append(c.notices, n) }}
	if set != nil {
		set(c.room, &cfg)
	}
	c.s = New(cfg)
	return session.NewCall(k, session.Policy{Ask: 0.35, AskSafety: 0.5, Ignore: 0.05})
}

func (c *call) start(conv *session.Call, open func(*session.Runner, context.Context, time.Time) error) {
	c.runner = session.NewRunner(conv, c.s.TimeLog(c.log), c.s)
	require.NoError(c.t, open(c.runner, c.t.Context(), time.Now()))
	var ctx context.Context
	ctx, c.stop = context.WithCancel(c.t.Context())
	c.ended = make(chan error, 1)
	go func() { c.ended <- c.s.Run(ctx, Of(c.runner)) }()
}

// quietFor waits until nothing has been said by anybody for so long.
func (c *call) quietFor(d time.Duration) {
	for {
		c.room.mu.Lock()
		last := time.Time{}
		busy := c.room.playing > 0 || c.room.free > c.room.frames
		for _, p := range c.room.plays {
			if p.end.After(last) {
				last = p.end
			}
		}
		if t := time.Now().Add(-time.Duration(c.room.frames-c.room.free) * frameTime); t.After(last) {
			last = t
		}
		c.room.mu.Unlock()
		if !busy && time.Since(last) >= d {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// end stops the conversation and returns what Run returned.
func (c *call) end() error {
	c.stop()
	return <-c.ended
}
