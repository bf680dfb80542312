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

// Three words in a row of what is being said are the own voice; fewer, or words
// of another time, are not.
func TestOwnWords(t *testing.T) {
	s := New(Config{})
	now := time.Now()
	s.recent = []spokenSpan{{now.Add(-5 * time.Second), now, plainWords("Current, compressor's common wire: 47 amps.")}}
	a := &attempt{sound: audio.Utterance{Samples: make([]float32, 2*audio.Rate)}, end: now.Add(-time.Second)}
	assert.True(t, s.echo(a, "Common wire, 47 amps"))
	assert.False(t, s.echo(a, "47 amps"))
	assert.False(t, s.echo(a, "compressor amps 48"))
	a.end = now.Add(10 * time.Second)
	assert.False(t, s.echo(a, "Common wire, 47 amps"))
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
