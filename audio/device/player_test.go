//go:build cgo

package device

import (
	"context"
	"testing"
	"time"

	"github.com/gen2brain/malgo"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// silent is miniaudio's own null backend. The binding's constant is off by one
// (it means "custom"), which this test notices when it is mended upstream.
const silent = malgo.Backend(14)

func TestBindingsNullBackendIsOffByOne(t *testing.T) {
	assert.Equal(t, malgo.Backend(13), malgo.Backend(malgo.BackendNull))
}

func TestPlayTakesAsLongAsTheSound(t *testing.T) {
	p, err := openPlayer([]malgo.Backend{silent}, Choice{})
	require.NoError(t, err)
	assert.NotEmpty(t, p.Name())
	start := time.Now()
	require.NoError(t, p.Play(t.Context(), make([]float32, 4800), 16000)) // 300 ms
	assert.Greater(t, time.Since(start), 250*time.Millisecond)
	require.NoError(t, p.Play(t.Context(), nil, 16000))
	require.NoError(t, p.Close())
	require.NoError(t, p.Close())
}

func TestPlayStopsWithItsContext(t *testing.T) {
	p, err := openPlayer([]malgo.Backend{silent}, Choice{})
	require.NoError(t, err)
	defer p.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	start := time.Now()
	require.ErrorIs(t, p.Play(ctx, make([]float32, 16000*30), 16000), context.DeadlineExceeded)
	assert.Less(t, time.Since(start), 2*time.Second)
}

func TestNoBackendIsNoDevice(t *testing.T) {
	_, err := openPlayer([]malgo.Backend{malgo.BackendSndio}, Choice{})
	require.ErrorIs(t, err, ErrNoDevice)
}

func TestPlayTellsWhenTheFirstSampleIsTaken(t *testing.T) {
	p, err := openPlayer([]malgo.Backend{silent}, Choice{})
	require.NoError(t, err)
	defer p.Close()
	for range 2 { // the second finds the device open
		before, told := time.Now(), []time.Time(nil)
		require.NoError(t, p.PlayTold(t.Context(), make([]float32, 1600), 16000, func(at time.Time) { told = append(told, at) }))
		require.Len(t, told, 1)
		assert.False(t, told[0].Before(before))
		assert.Less(t, told[0].Sub(before), 2*time.Second)
	}
	require.NoError(t, p.Close())
	require.ErrorIs(t, p.Play(t.Context(), make([]float32, 10), 16000), ErrClosed)
}

// The sound system's thread gets every sample once, and a sound that is cut off
// fades to nothing.
func TestFeedGivesEverySampleOnceAndFades(t *testing.T) {
	whole := make([]float32, 1000)
	for i := range whole {
		whole[i] = float32(i + 1)
	}
	f := &feed{calls: make(chan struct{}, 1), gone: make(chan struct{}, 1)}
	s := &sound{samples: whole, first: make(chan struct{}), done: make(chan struct{})}
	f.start(s)
	var got []float32
	for range 7 {
		out := make([]float32, 160)
		out[159] = 99 // what the buffer held before
		f.fill(out)
		got = append(got, out...)
	}
	assert.Equal(t, whole, got[:1000])
	assert.Equal(t, make([]float32, 120), got[1000:])
	<-s.done

	loud := make([]float32, 1000)
	for i := range loud {
		loud[i] = 1
	}
	s = &sound{samples: loud, first: make(chan struct{}), done: make(chan struct{})}
	f.start(s)
	f.fill(make([]float32, 160))
	f.cut(16000) // 80 samples
	out := make([]float32, 160)
	f.fill(out)
	<-s.done
	for i := 1; i < 80; i++ {
		assert.Less(t, out[i], out[i-1])
	}
	assert.Less(t, out[79], float32(0.02))
	assert.Equal(t, make([]float32, 80), out[80:])
}

// A device that takes nothing between two sounds is lost, though nobody told.
func TestFeedThatIsStill(t *testing.T) {
	f := &feed{calls: make(chan struct{}, 1)}
	assert.True(t, f.still(time.Now()), "it never took anything")
	f.fill(make([]float32, 10))
	assert.False(t, f.still(time.Now()))
	assert.True(t, f.still(time.Now().Add(silence)))
}

func TestMicrophoneGivesSoundAtItsPace(t *testing.T) {
	var changes []Change
	m, err := openMicrophone([]malgo.Backend{silent}, Choice{}, func(c Change) { changes = append(changes, c) })
	require.NoError(t, err)
	frame := make([]float32, 512)
	start := time.Now()
	var last time.Time
	for range 10 { // 320 ms
		at, err := m.Read(t.Context(), frame)
		require.NoError(t, err)
		assert.False(t, at.Before(last.Add(-50*time.Millisecond)))
		last = at
	}
	assert.Greater(t, time.Since(start), 200*time.Millisecond)
	assert.Less(t, time.Since(start), 3*time.Second)
	assert.Equal(t, int64(5120), m.Stats().Frames)
	assert.Zero(t, m.Stats().Overruns)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = m.Read(ctx, make([]float32, 16000*30))
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, m.Close())
	require.NoError(t, m.Close())
	require.Len(t, changes, 1)
	assert.False(t, changes[0].Lost)
}

func TestNoMicrophone(t *testing.T) {
	_, err := openMicrophone([]malgo.Backend{malgo.BackendSndio}, Choice{}, nil)
	require.ErrorIs(t, err, ErrNoDevice)
	_, err = openMicrophone([]malgo.Backend{silent}, Choice{Name: "no such thing"}, nil)
	require.ErrorIs(t, err, ErrNoDevice)
	assert.ErrorContains(t, err, "there are:")
}
