package device

import (
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What comes out is what went in, in order; what did not fit is counted.
func TestRingKeepsOrderAndCountsWhatItDrops(t *testing.T) {
	r := newRing(100)
	rng := rand.New(rand.NewPCG(1, 2))
	var next, want float32
	var put, dropped, got int
	for range 5000 {
		in := make([]float32, rng.IntN(60))
		room := 100 - r.waiting()
		for i := range in {
			in[i] = next
			if i < room {
				next++
			}
		}
		r.write(in)
		put += len(in)
		dropped += max(0, len(in)-room)
		out := make([]float32, rng.IntN(60))
		if r.take(out) {
			got += len(out)
			for _, v := range out {
				require.Equal(t, want, v)
				want++
			}
		}
	}
	assert.Positive(t, dropped)
	assert.Equal(t, int64(dropped), r.dropped.Load())
	assert.Equal(t, put-dropped, got+r.waiting())
}

func TestRingBetweenTwoThreads(t *testing.T) {
	const n = 200_000
	r := newRing(4096)
	var w sync.WaitGroup
	w.Go(func() {
		block := make([]float32, 160)
		for sent := 0; sent < n; {
			if r.waiting() > 4096-160 {
				<-r.wake // any token will do; the reader empties fast
				continue
			}
			for i := range block {
				block[i] = float32(sent + i)
			}
			r.write(block)
			sent += len(block)
		}
	})
	out := make([]float32, 100)
	for got := 0; got+len(out) <= n; {
		if !r.take(out) {
			select {
			case r.wake <- struct{}{}:
			default:
			}
			continue
		}
		for i, v := range out {
			require.Equal(t, float32(got+i), v)
		}
		got += len(out)
	}
	w.Wait()
	assert.Zero(t, r.dropped.Load())
}

func TestFind(t *testing.T) {
	list := []Info{{Name: "Built-in", ID: "01"}, {Name: "USB Headset", ID: "02", Default: true}, {Name: "USB Camera", ID: "03"}}
	for _, c := range []struct {
		want Choice
		name string
		err  string
	}{
		{Choice{}, "USB Headset", ""},
		{Choice{Name: "built"}, "Built-in", ""},
		{Choice{Name: "usb headset"}, "USB Headset", ""},
		{Choice{Name: "gone", ID: "03"}, "USB Camera", ""},
		{Choice{Name: "camera", ID: "77"}, "USB Camera", ""},
		{Choice{Name: "usb"}, "", "fits several: \"USB Headset\", \"USB Camera\""},
		{Choice{Name: "radio"}, "", "there are: \"Built-in\""},
	} {
		got, err := Find(list, c.want)
		if c.err != "" {
			require.ErrorIs(t, err, ErrNoDevice)
			assert.ErrorContains(t, err, c.err)
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, c.name, got.Name)
	}
	_, err := Find(nil, Choice{})
	require.ErrorIs(t, err, ErrNoDevice)
	first, err := Find(list[:1], Choice{})
	require.NoError(t, err)
	assert.Equal(t, "Built-in", first.Name)
}
