package live

import (
	"context"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

// A day of eight hours, call after call, on a clock that runs ahead: readings,
// chatter, questions, interruptions, a microphone and a loudspeaker that come and
// go. Every utterance is in a log once, with what became of it; memory does not
// grow from call to call, and no goroutine is left.
func TestADayOfCalls(t *testing.T) {
	lines := []string{
		"complaint no cooling", "nameplate LRA eighty four", "nameplate RLA seventeen point six", "outdoor fan is running", "compressor hums",
		"compressor amps seventy two", "line voltage two thirty nine", "what's next", "why", "where are we", "did you see the game last night",
		"scratch that", "compressor amps forty", "louder", "softer", "repeat", "note customer has a dog", "call me in ten minutes", "how long", "suction pressure fifty",
		"compressor amps", "yes", "no", "hand me that wrench", "disconnect is pulled", "stop",
	}
	const day = 8 * time.Hour
	var heap []uint64
	spoken, heardInAll, calls := 0, 0, 0
	synctest.Test(t, func(t *testing.T) {
		goroutines := runtime.NumGoroutine()
		rng := rand.New(rand.NewPCG(8, 64))
		for start := time.Now(); time.Since(start) < day; calls++ {
			c := begin(t, func(r *room, _ *Config) { r.echo = []float64{0, 0.02, 0.1}[calls%3] })
			c.quietFor(2 * time.Second)
			said := 0
			for end := time.Now().Add(time.Duration(20+rng.IntN(20)) * time.Minute); time.Now().Before(end); {
				c.room.say(lines[rng.IntN(len(lines))])
				said++
				switch rng.IntN(10) {
				case 0: // over the prompt
					time.Sleep(time.Duration(1500+rng.IntN(3000)) * time.Millisecond)
				case 1:
					c.s.DeviceChanged(t.Context(), true, "headset", "it gives no sound")
					time.Sleep(5 * time.Second)
					c.s.DeviceChanged(t.Context(), false, "headset", "")
					fallthrough
				default:
					c.quietFor(2 * time.Second)
					time.Sleep(time.Duration(rng.IntN(40)) * time.Second)
				}
				// An utterance ends before the next one begins.
				for c.room.busy() {
					time.Sleep(100 * time.Millisecond)
				}
				time.Sleep(2 * time.Second)
			}
			c.quietFor(3 * time.Second)
			require.ErrorIs(t, c.end(), context.Canceled)
			heard := logged[joblog.Heard](c.log)
			decided := map[uint64]int{}
			for _, b := range logged[joblog.Callout](c.log) {
				decided[b.Heard]++
			}
			for _, r := range c.log.records {
				if b, ok := r.Body.(joblog.Heard); ok {
					require.GreaterOrEqual(t, decided[r.Seq], 1, "something became of %q", b.Text)
				}
			}
			for _, h := range heard {
				require.NotEmpty(t, strings.TrimSpace(h.Text))
			}
			require.Len(t, heard, said, "call %d", calls)
			spoken, heardInAll = spoken+said, heardInAll+len(heard)
			synctest.Wait()
			for range 200_000 { // one that has ended, or runs a finalizer, may not be gone yet on a busy machine
				if runtime.NumGoroutine() <= goroutines {
					break
				}
				runtime.Gosched()
			}
			require.LessOrEqual(t, runtime.NumGoroutine(), goroutines, "one is left after call %d; fewer is one of the runtime's own that ended", calls)
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			heap = append(heap, m.HeapAlloc)
		}
	})
	require.Greater(t, calls, 10)
	assert.Equal(t, spoken, heardInAll)
	// The first calls warm caches; after that the heap stays where it is.
	assert.Less(t, float64(heap[len(heap)-1]), 1.3*float64(heap[2])+1<<20, "heap after each call: %v", heap)
	t.Logf("%d calls, %d utterances, all in the logs; heap after the third call %.1f MB, after the last %.1f MB", calls, spoken, float64(heap[2])/1e6, float64(heap[len(heap)-1])/1e6)
}
