package live

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

// ownErrors are what a recogniser may make of the program's own voice, at the worst: the
// answer to its question, the declaration it asks for, a reading, a repair, a command that
// changes what is recorded.
var ownErrors = []string{"yes", "disconnect is pulled", "compressor amps forty", "locked out", "scratch that", "no", "known source two forty", "replaced the run capacitor",
	"compressor hums", "job done", "skip it", "no forty five", "voltage leg to leg zero", "note it before you leave", "call me in ten minutes"}

// What the loudspeaker says comes back later than the gate knows, since it ran dry: nothing
// of it is recorded, struck or answered, whatever the ear makes of it; what the technician
// says and confirms in silence is.
func TestItsOwnVoiceComingLateIsNotTaken(t *testing.T) {
	for _, lag := range []time.Duration{900 * time.Millisecond, 2 * time.Second, 4 * time.Second} {
		for _, same := range []bool{true, false} {
			synctest.Test(t, func(t *testing.T) {
				n, wrong := 0, 0
				c := begin(t, func(r *room, _ *Config) {
					r.echo, r.lag = 0.3, lag
					r.taken = func(own string) string {
						wrong++
						if same {
							return own
						}
						n++
						return ownErrors[n%len(ownErrors)]
					}
				})
				said := []string{"complaint no cooling", "compressor amps forty seven", "panel is open", "what's next", "where are we", "compressor amps"}
				for _, line := range said {
					time.Sleep(25 * time.Second) // its echo is over, and what came of that
					c.room.say(line)
					c.quietFor(8 * time.Second)
				}
				time.Sleep(time.Minute)
				c.room.mu.Lock()
				c.room.echo = 0
				c.room.mu.Unlock()
				require.ErrorIs(t, c.end(), context.Canceled)
				assert.Greater(t, wrong, 5, "the echo is heard")
				texts := map[uint64]string{}
				kept := 0
				for _, r := range c.log.records {
					switch b := r.Body.(type) {
					case joblog.Heard:
						texts[r.Seq] = b.Text
					case joblog.Callout:
						changes := len(b.Readings)+len(b.Observations)+len(b.Declarations)+len(b.Repairs) > 0 || b.Answers != 0
						if b.Decision == joblog.Recorded && changes {
							kept++
							assert.True(t, slices.Contains(said, texts[b.Heard]), "lag %v: %q was recorded: %+v", lag, texts[b.Heard], b)
						}
					case joblog.Retracted, joblog.Note, joblog.Closed, joblog.Repair:
						assert.Fail(t, "its own voice changed the record", "%T %+v", b, b)
					}
				}
				assert.Positive(t, kept, "and the technician is heard")
			})
		}
	}
}

// Who talks over the program beside a loudspeaker is asked; yes, said once it is silent, is
// taken, and yes said over it is not.
func TestSpeakingOverTheLoudspeakerIsAskedBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, func(r *room, _ *Config) { r.echo = 0.1 })
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(2 * time.Second)
		before := len(c.room.all())
		c.room.say("what can i say")
		for len(c.room.all()) == before {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(time.Second)
		before = len(c.room.all())
		c.room.say("compressor amps forty seven")
		for len(logged[joblog.Question](c.log)) == 0 {
			time.Sleep(10 * time.Millisecond)
		}
		assert.Len(t, recordedReadings(c.log), 0, "not in silence")
		for len(c.room.all()) == before {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(500 * time.Millisecond)
		c.room.say("yes")
		c.quietFor(3 * time.Second)
		assert.Len(t, recordedReadings(c.log), 0, "its echo could have said so")
		c.room.say("yes")
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		assert.Equal(t, []float64{47}, recordedReadings(c.log))
	})
}

func recordedReadings(m *memory) (list []float64) {
	for _, b := range logged[joblog.Callout](m) {
		if b.Decision == joblog.Recorded {
			for _, r := range b.Readings {
				list = append(list, r.Value)
			}
		}
	}
	return list
}
