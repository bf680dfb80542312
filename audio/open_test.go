package audio

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// At any moment Open is what Flush gives, and looking changes nothing.
func TestOpenIsWhatFlushWouldGive(t *testing.T) {
	scores := make([]float64, 0, 100)
	for i := range 100 {
		score := 0.0
		if i >= 20 && i < 50 && i%7 != 0 {
			score = 1
		}
		scores = append(scores, score)
	}
	frame := func(i int) []float32 {
		f := make([]float32, FrameSize)
		for k := range f {
			f[k] = float32(i*FrameSize + k)
		}
		return f
	}
	o := SegmentOptions{Pause: 3 * time.Second}
	looked := NewSegmenter(o)
	for n := range scores {
		_, ended := looked.Push(frame(n), scores[n])
		require.False(t, ended)
		u, silent, ok := looked.Open()
		assert.Equal(t, silent, looked.Silent())

		fresh := NewSegmenter(o)
		for i := range n + 1 {
			fresh.Push(frame(i), scores[i])
		}
		want, wantOK := fresh.Flush()
		require.Equal(t, wantOK, ok, n)
		require.Equal(t, want, u, n)
		if ok {
			last := n
			for scores[last] == 0 {
				last--
			}
			assert.Equal(t, time.Duration(n-last)*32*time.Millisecond, silent)
			assert.Equal(t, time.Duration(last+1)*32*time.Millisecond, looked.Last())
		}
	}
}
