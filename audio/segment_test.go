package audio_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

// frame is filled with its number, so that an utterance shows which frames it holds.
func frame(n int) []float32 {
	f := make([]float32, audio.FrameSize)
	for i := range f {
		f[i] = float32(n)
	}
	return f
}

// span is an utterance in frames: first, and one past the last.
type span struct{ from, to int }

func segment(t *testing.T, o audio.SegmentOptions, scores string) []span {
	t.Helper()
	s := audio.NewSegmenter(o)
	var got []span
	add := func(u audio.Utterance, ok bool) {
		if !ok {
			return
		}
		n := len(u.Samples) / audio.FrameSize
		from := int(u.Samples[0])
		for i := range n {
			require.EqualValues(t, from+i, u.Samples[i*audio.FrameSize], "frames in order, none missing")
		}
		require.Equal(t, 32*time.Millisecond*time.Duration(from), u.Start)
		require.Equal(t, 32*time.Millisecond*time.Duration(from+n), u.End)
		require.Equal(t, u.End-u.Start, u.Duration())
		got = append(got, span{from, from + n})
	}
	for i, c := range scores {
		add(s.Push(frame(i), float64(c-'0')/10))
	}
	add(s.Flush())
	return got
}

func TestSegmenter(t *testing.T) {
	ms := time.Millisecond
	o := audio.SegmentOptions{MinSpeech: 64 * ms, Pause: 128 * ms, PreRoll: 64 * ms, PostRoll: 32 * ms, Max: 640 * ms}
	for _, tt := range []struct {
		name   string
		scores string
		want   []span
	}{
		{"nothing", "", nil},
		{"silence", "0000000000", nil},
		{"speech, with its rolls", "0000099900000", []span{{3, 9}}},
		{"speech from the start", "999000000", []span{{0, 4}}},
		{"speech to the end", "00000999", []span{{3, 8}}},
		{"a click is dropped", "00000900000999000000", []span{{9, 15}}},
		{"a short pause is no end", "0009990009990000000", []span{{1, 13}}},
		{"a pause ends it", "0009990000999000000", []span{{1, 7}, {8, 14}}},
		{"a threshold of a half", "0004440005550000000", []span{{7, 13}}},
		{"too long: cut where it is weakest", "0099999999999999997999999990000000", []span{{0, 19}, {19, 28}}},
	} {
		t.Run(tt.name, func(t *testing.T) { assert.Equal(t, tt.want, segment(t, o, tt.scores)) })
	}
}

// Whatever the scores: utterances follow each other without overlap, hold every run of
// speech that is long enough, and are no longer than the limit.
func TestSegmenterProperties(t *testing.T) {
	o := audio.SegmentOptions{Max: 2 * time.Second}
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 1))
		s := audio.NewSegmenter(o)
		covered := make([]bool, 600)
		spoken := make([]bool, len(covered))
		end := 0
		add := func(u audio.Utterance, ok bool) {
			if !ok {
				return
			}
			from, n := int(u.Samples[0]), len(u.Samples)/audio.FrameSize
			require.GreaterOrEqual(t, from, end, "seed %d: overlap", seed)
			require.LessOrEqual(t, n, 63+10, "seed %d: too long", seed)
			end = from + n
			for i := from; i < end; i++ {
				covered[i] = true
			}
		}
		loud := false
		for i := range covered {
			if r.IntN(12) == 0 {
				loud = !loud
			}
			score := 0.3 * r.Float64()
			if loud {
				score = 0.6 + 0.4*r.Float64()
			}
			spoken[i] = loud
			add(s.Push(frame(i), score))
		}
		add(s.Flush())
		run := 0
		for i := range spoken {
			if !spoken[i] {
				run = 0
				continue
			}
			if run++; run >= 4 { // 120 ms
				require.True(t, covered[i], "seed %d: speech at frame %d is lost", seed, i)
			}
		}
	}
}

// speechLike is noise in the band of speech, switched at the rate of syllables.
func speechLike(r *rand.Rand, n int) []float32 {
	s := make([]float32, n)
	var y float64
	for i := range s {
		y = 0.8*y + 0.2*r.NormFloat64()
		s[i] = float32(0.3 * y * (1 + math.Sin(2*math.Pi*4*float64(i)/audio.Rate)))
	}
	return s
}

func TestSplitFindsSpeechInNoise(t *testing.T) {
	for _, noise := range []float64{0, 0.001, 0.01, 0.05} {
		r := rand.New(rand.NewPCG(3, 4))
		samples := make([]float32, 8*audio.Rate)
		for i := range samples {
			samples[i] = float32(noise*r.NormFloat64() + 0.3*noise*math.Sin(2*math.Pi*60*float64(i)/audio.Rate))
		}
		for _, at := range []int{1, 4} { // seconds
			for i, s := range speechLike(r, audio.Rate) {
				samples[at*audio.Rate+i] += s
			}
		}
		var d audio.Energy
		d.Prime(samples)
		us := audio.Split(samples, &d, audio.SegmentOptions{})
		require.Len(t, us, 2, "noise %v", noise)
		for i, at := range []float64{1, 4} {
			assert.InDelta(t, at-0.3, us[i].Start.Seconds(), 0.15, "noise %v", noise)
			assert.InDelta(t, at+1.3, us[i].End.Seconds(), 0.15, "noise %v", noise)
		}
	}
}

func TestSplitOfSilenceIsNothing(t *testing.T) {
	var d audio.Energy
	assert.Empty(t, audio.Split(make([]float32, 3*audio.Rate+7), &d, audio.SegmentOptions{}))
	assert.Empty(t, audio.Split(nil, &d, audio.SegmentOptions{}))
}

// A floor that moved, as when the outdoor unit starts, is learnt again within seconds.
func TestEnergyFollowsTheFloor(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var d audio.Energy
	score := 0.0
	for i := range 20 * audio.Rate / audio.FrameSize {
		level := 0.002
		if i > 60 {
			level = 0.02
		}
		f := make([]float32, audio.FrameSize)
		for k := range f {
			f[k] = float32(level * r.NormFloat64())
		}
		score = d.Score(f)
		if i == 70 {
			assert.Greater(t, score, 0.5, "a sudden noise is heard")
		}
	}
	assert.Less(t, score, 0.1)
}

// A drop-out of the sound system, and a fan that starts, are no speech for long.
func TestEnergyBearsDropOutsAndAFanThatStarts(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	noise := func(level float64) []float32 {
		f := make([]float32, audio.FrameSize)
		for i := range f {
			f[i] = float32(level * rng.NormFloat64())
		}
		return f
	}
	e := &audio.Energy{}
	frames, speech := 0, 0
	push := func(f []float32, n int) {
		for range n {
			frames++
			if e.Score(f) >= 0.5 {
				speech++
			}
		}
	}
	for range 60 { // two seconds of fan each, with two frames missing
		push(make([]float32, audio.FrameSize), 2)
		for range 60 {
			push(noise(0.03), 1)
		}
	}
	assert.Less(t, speech, frames/50)
	speech = 0
	for range 100 {
		push(noise(0.001), 1)
	}
	for range 200 { // 30 dB louder
		push(noise(0.03), 1)
	}
	assert.Less(t, speech, 80)
	voice := 0
	for range 20 {
		if e.Score(noise(0.1)) >= 0.5 {
			voice++
		}
	}
	assert.Greater(t, voice, 15, "and a voice 10 dB above the fan is heard")
}
