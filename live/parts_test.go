package live

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

func TestSentences(t *testing.T) {
	for text, want := range map[string][]string{
		"":                          nil,
		"47 A.":                     {"47 A."},
		"It is 0.5 V. Next: look.":  {"It is 0.5 V.", "Next: look."},
		"Fifteen or fifty? Yes! No": {"Fifteen or fifty?", "Yes!", "No"},
		"no stop at the end":        {"no stop at the end"},
	} {
		assert.Equal(t, want, sentences(text), text)
	}
}

// A sine of amplitude a has a level of a²/2 (-3 dB at full scale).
func TestMeter(t *testing.T) {
	var m meter
	sine := func(a float64) []float32 {
		x := make([]float32, audio.FrameSize)
		for i := range x {
			x[i] = float32(a * math.Sin(2*math.Pi*1000*float64(i)/audio.Rate))
		}
		return x
	}
	level := func(x []float32) Level {
		for {
			if l, ok := m.add(x, audio.Rate); ok {
				return l
			}
		}
	}
	l := level(sine(0.5))
	assert.InDelta(t, -9.03, l.RMS, 0.05)
	assert.InDelta(t, -6.02, l.Peak, 0.05)
	assert.False(t, l.Clipped)
	square := sine(3)
	for i, v := range square {
		square[i] = max(-1, min(1, v))
	}
	assert.True(t, level(square).Clipped)
	assert.False(t, level(sine(0.5)).Clipped, "and not for ever")
	silence := make([]float32, audio.FrameSize)
	dead := 0
	for range 50 { // 4.8 s
		if level(silence).Dead {
			dead++
		}
	}
	assert.InDelta(t, 50-3000/96, dead, 2)
	assert.False(t, level(sine(0.01)).Dead)
}

func TestTrimAndLoud(t *testing.T) {
	x := make([]float32, 16000)
	for i := 4000; i < 8000; i++ {
		x[i] = 0.5
	}
	got := trim(x, 16000)
	assert.Len(t, got, 4000+64+1920)
	assert.Zero(t, got[63])
	assert.Equal(t, float32(0.5), got[64])
	assert.Empty(t, trim(make([]float32, 100), 16000))
	assert.Len(t, trim(x[4000:8000], 16000), 4000)
	for gain := 0.1; gain < 7; gain *= 1.3 {
		last := float32(-2)
		for v := float32(-1); v <= 1; v += 0.01 {
			y := loud([]float32{v}, gain)[0]
			require.Less(t, float64(abs(float64(y))), 1.0)
			require.GreaterOrEqual(t, y, last, "the louder, the louder: gain %v, %v", gain, v)
			last = y
		}
	}
}

func TestCacheForgetsTheOldest(t *testing.T) {
	c := cache{clips: map[string]audio.Clip{}}
	clip := audio.Clip{Samples: make([]float32, cacheSize/5)}
	for _, key := range []string{"a", "b", "c", "d", "e"} {
		c.put(key, clip)
	}
	_, ok := c.get("a") // used again, so that b is the oldest
	require.True(t, ok)
	c.put("f", clip)
	_, ok = c.get("b")
	assert.False(t, ok)
	_, ok = c.get("a")
	assert.True(t, ok)
	assert.LessOrEqual(t, c.size, cacheSize)
	c.put("whole book", audio.Clip{Samples: make([]float32, cacheSize)})
	_, ok = c.get("whole book")
	assert.False(t, ok)
}

// The words of what is being said are the own voice; those of another time, of what was
// cut off before it came to them, or of somebody else are not.
func TestOwnWords(t *testing.T) {
	s := New(Config{})
	now := time.Now()
	begin := func() {
		s.recent, s.ranDry = nil, time.Time{}
		s.spoke(1, "Current, compressor's common wire: 47 amps.", now.Add(-5*time.Second), 4*time.Second)
	}
	begin()
	a := &attempt{sound: audio.Utterance{Samples: make([]float32, 2*audio.Rate), End: 2 * time.Second}, end: now.Add(-time.Second)}
	assert.True(t, s.mixed(a))
	assert.True(t, s.echo(a, "Common wire, 47 amps"))
	assert.True(t, s.echo(a, "47 amps"))
	assert.True(t, s.echo(a, "current compressor's common wire 46 amps"), "misheard in one word")
	assert.False(t, s.echo(a, "amps"))
	assert.False(t, s.echo(a, "compressor amps 48"))
	s.fell(1, now.Add(-3*time.Second)) // half of it was out
	a.end = now.Add(-2500 * time.Millisecond)
	assert.False(t, s.echo(a, "47 amps"))
	assert.True(t, s.echo(a, "Current, compressor's"))
	begin()
	a.end = now.Add(2 * time.Second)
	assert.False(t, s.mixed(a))
	assert.False(t, s.echo(a, "Common wire, 47 amps"))
	s.ranDry = now.Add(-time.Second) // it may have come late
	assert.True(t, s.mixed(a))
	assert.True(t, s.echo(a, "Common wire, 47 amps"))
	a.end = now.Add(10 * time.Second)
	assert.False(t, s.mixed(a))
}

// A headset brings nothing back: who wears one talks over the program as he likes.
func TestAHeadsetIsNotMixed(t *testing.T) {
	s := New(Config{})
	now := time.Now()
	a := &attempt{sound: audio.Utterance{Samples: make([]float32, audio.Rate), End: time.Second}, end: now}
	sound, quiet := make([]float32, 4*audio.Rate), make([]float32, audio.FrameSize)
	for i := range sound {
		sound[i] = 0.3
	}
	s.spoke(1, "Next: measure.", now.Add(-3*time.Second), 4*time.Second)
	assert.True(t, s.mixed(a), "not known yet")
	s.own.play(sound, audio.Rate, now.Add(-3*time.Second))
	for i := range 60 {
		s.own.heard(quiet, now.Add(-3*time.Second+time.Duration(i)*frameTime))
	}
	assert.False(t, s.mixed(a))
}

// Sound that comes late catches up; what stays behind the clock was lost.
func TestHolesInTheSound(t *testing.T) {
	var p pace
	at := time.Now()
	for i := range 100 {
		at = at.Add(frameTime)
		late := time.Duration(0)
		if i >= 40 && i < 50 {
			late = 150 * time.Millisecond
		}
		p.frame(at.Add(late))
		assert.Equal(t, late > 0, p.torn(at, time.Second), i)
	}
	at = at.Add(60 * time.Millisecond)
	for range holeFor + 1 {
		at = at.Add(frameTime)
		p.frame(at)
	}
	assert.True(t, p.torn(at.Add(-300*time.Millisecond), time.Second))
	assert.False(t, p.torn(at.Add(5*time.Second), time.Second))
}

func TestTimings(t *testing.T) {
	var list []Timing
	for i := 1; i <= 100; i++ {
		list = append(list, Timing{Pause: time.Duration(i) * time.Millisecond, Out: time.Millisecond})
	}
	var out bytes.Buffer
	require.NoError(t, WriteTimings(&out, list))
	assert.Regexp(t, `end of speech to first sound\s+51\s+96\s+101`, out.String())
	assert.Equal(t, 3*time.Second, Percentile([]time.Duration{3 * time.Second}, 95))
	assert.Zero(t, Percentile(nil, 50))
	out.Reset()
	require.NoError(t, WriteTimings(&out, nil))
	assert.Contains(t, out.String(), "no turn")
}
