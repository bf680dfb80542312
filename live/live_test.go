package live

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
	"callout/prompts"
	"callout/session"
)

func TestMain(m *testing.M) {
	_, _ = knowledge() // outside any bubble
	m.Run()
}

func contains(list []string, part string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, part) })
}

func TestACalloutIsReadBackSoon(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(2 * time.Second)
		c.room.say("compressor amps forty seven")
		c.quietFor(2 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		assert.True(t, contains(c.room.spoken(), "47 amps"), c.room.spoken())
		require.Len(t, c.timings, 2)
		for _, x := range c.timings {
			// The pause of a whole callout, then only the loudspeaker: it was decoded
			// and voiced while the pause ran.
			assert.Less(t, x.Total(), 400*time.Millisecond, x)
			assert.GreaterOrEqual(t, x.Pause, 320*time.Millisecond, x)
			assert.Zero(t, x.Decode, x)
			assert.LessOrEqual(t, x.Voice, 20*time.Millisecond, x)
		}
	})
}

func TestASlowRecogniserIsWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, func(r *room, _ *Config) { r.decode = 900 * time.Millisecond })
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		require.Len(t, c.timings, 1)
		x := c.timings[0]
		assert.InDelta(t, 1.0, (x.Pause + x.Decode).Seconds(), 0.05, "decoding began after 96 ms")
		assert.InDelta(t, 0.68, x.Decode.Seconds(), 0.05)
		assert.InDelta(t, 0.9, x.Took.Seconds(), 0.01)
	})
}

// How long is waited depends on what was said so far.
func TestAnUtteranceEndsByWhatItMeans(t *testing.T) {
	for _, c := range []struct {
		said string
		want []string // what is logged as heard
	}{
		{"compressor amps … … … … … … … … … forty seven", []string{"compressor amps forty seven"}},      // 0.9 s in the middle
		{"compressor amps forty … … … … seven", []string{"compressor amps forty seven"}},                // 0.4 s
		{"compressor amps forty seven … … … … … amps", []string{"compressor amps forty seven", "amps"}}, // 0.5 s
		{"so … … … … … … compressor amps forty seven", []string{"so compressor amps forty seven"}},
		{"compressor amps … … … … … … … … … … … … … … … … … … forty seven", []string{"compressor amps", "forty seven"}}, // 1.7 s
	} {
		synctest.Test(t, func(t *testing.T) {
			k := begin(t, nil)
			k.quietFor(2 * time.Second)
			k.room.say("complaint no cooling")
			k.quietFor(2 * time.Second)
			k.room.say(c.said)
			k.quietFor(3 * time.Second)
			require.ErrorIs(t, k.end(), context.Canceled)
			var heard []string
			for _, h := range logged[joblog.Heard](k.log)[1:] {
				heard = append(heard, h.Text)
			}
			assert.Equal(t, c.want, heard)
		})
	}
}

// A technician who speaks over a prompt stops it, is heard, and is told the step
// again, unless there is a new one.
func TestSpeakingOverAPromptStopsIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(2 * time.Second)
		c.room.say("what can i say") // a long answer
		before := len(c.room.all())
		for len(c.room.all()) == before {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(time.Second)
		spoke := time.Now()
		c.room.say("note fan is loud today")
		time.Sleep(500 * time.Millisecond)
		cut := c.room.all()[before]
		assert.True(t, cut.cut)
		assert.Less(t, cut.end.Sub(spoke), 250*time.Millisecond)
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		notes := logged[joblog.Note](c.log)
		require.Len(t, notes, 1)
		assert.Equal(t, "fan is loud today", notes[0].Text)
		assert.True(t, contains(c.room.spoken(), "Note kept"))
	})
}

// What was spoken over by mistake, by chatter or a bang, is said again from the
// start of the sentence.
func TestAPromptGoesOnAfterChatter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		before := len(c.room.all())
		c.room.say("what can i say")
		for len(c.room.all()) == before {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(time.Second)
		c.room.say("did you see the game")
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		first := c.room.all()[before]
		assert.True(t, first.cut)
		assert.Equal(t, first.text, c.room.all()[before+1].text)
		assert.False(t, c.room.all()[before+1].cut)
	})
}

// A caution is said to its end, whoever speaks.
func TestACautionIsNeverCutOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		time.Sleep(500 * time.Millisecond) // the safety notice has begun
		for range 4 {
			c.room.say("stop … … … … … … … … … …")
			time.Sleep(2 * time.Second)
		}
		c.quietFor(2 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		notice := logged[joblog.Caution](c.log)[0].Say
		k, _ := knowledge()
		for _, want := range sentences(k.Book.Speakable(notice)) {
			assert.Contains(t, c.room.spoken(), want)
		}
		for _, p := range c.room.all() {
			if strings.Contains(k.Book.Speakable(notice), p.text) {
				assert.False(t, p.cut, p.text)
			}
		}
		assert.NotEmpty(t, logged[joblog.Heard](c.log), "and what was said meanwhile was heard")
		assert.False(t, contains(c.room.spoken(), "Give me the complaint"), "stop drops the rest")
	})
}

// Each hazard of the book is said to its end, whoever speaks, with no record beside it
// that tells what it is.
func TestEveryHazardSurvivesBeingSpokenOver(t *testing.T) {
	k, err := knowledge()
	require.NoError(t, err)
	args := prompts.Args{"Text": "Outdoor unit live and nothing of it is proved. Keep your hands off it", "Why": "the disk is full and takes no more of it."}
	hazards := 0
	for _, id := range k.Book.IDs() {
		line, err := k.Book.Line(id, args)
		if err != nil || line.Priority != prompts.Hazard {
			continue
		}
		hazards++
		synctest.Test(t, func(t *testing.T) {
			c := begin(t, nil)
			c.quietFor(2 * time.Second)
			before := len(c.room.all())
			c.s.post(t.Context(), func(ctx context.Context) error { return c.s.conv.Tell(ctx, time.Now(), id, args) })
			for len(c.room.all()) == before {
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(200 * time.Millisecond)
			c.room.say("stop")
			c.quietFor(3 * time.Second)
			require.ErrorIs(t, c.end(), context.Canceled)
			assert.NotEmpty(t, logged[joblog.Heard](c.log), "%s: and what was said meanwhile was heard", id)
			for i, want := range sentences(line.Spoken) {
				require.Greater(t, len(c.room.all()), before+i, id)
				got := c.room.all()[before+i]
				assert.Equal(t, want, got.text, id)
				assert.False(t, got.cut, "%s: %q is cut off", id, got.text)
			}
		})
	}
	assert.GreaterOrEqual(t, hazards, 6)
}

// An ordinary line that contains the words of a caution or of the step is what its
// phrase says it is, and is dropped when somebody speaks over it.
func TestALineIsWhatItsPhraseSays(t *testing.T) {
	m := mouth{speakable: func(t string) string { return t }}
	step := joblog.Next{Does: "test", Say: "Measure the compressor current."}
	m.show(session.Record{Seq: 3, Body: joblog.Caution{Caution: "live", Say: "Meter leads only."}}, nil)
	m.show(session.Record{Seq: 4, Body: step}, nil)
	said := func(seq uint64, text string, as joblog.As, entry uint64) {
		m.show(session.Record{Seq: seq, Body: joblog.Said{Text: text, Way: joblog.Spoken, As: as, Entry: entry}}, nil)
	}
	said(5, "Left alone: meter leads only. Measure the compressor current.", joblog.AsReadBack, 0)
	said(6, "Next: measure the compressor current.", joblog.AsStep, 4)
	said(7, "Fifteen or fifty?", joblog.AsQuestion, 2)
	said(8, "Power: outdoor unit live.", joblog.AsHazard, 0)
	m.interrupt()
	texts := func(list []*sentence) (all []string) {
		for _, s := range list {
			all = append(all, s.text)
		}
		return all
	}
	assert.Equal(t, []string{"Power: outdoor unit live."}, texts(m.queue))
	m.show(session.Record{Seq: 10, Body: joblog.Callout{Heard: 9, Decision: joblog.Recorded, Answers: 2}}, nil)
	m.answered(false)
	assert.Equal(t, []string{"Power: outdoor unit live.", "Next: measure the compressor current."}, texts(m.queue), "the question was answered")
	m.interrupt()
	m.show(session.Record{Seq: 12, Body: step}, nil)
	m.answered(false)
	assert.Equal(t, []string{"Power: outdoor unit live."}, texts(m.queue), "there is a newer step")
}

// What was being said when the technician asks to wait is said when he says go on.
func TestHoldOnAndGoOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(2 * time.Second)
		before := len(c.room.all())
		c.room.say("what can i say")
		for len(c.room.all()) == before {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(300 * time.Millisecond)
		first := c.room.all()[before]
		c.room.say("hold on")
		c.quietFor(3 * time.Second)
		assert.True(t, contains(c.room.spoken(), "Holding"))
		held := len(c.room.spoken())
		time.Sleep(2 * time.Minute)
		assert.Len(t, c.room.spoken(), held, "and waits as long as it takes")
		c.room.say("go on")
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		assert.Contains(t, c.room.spoken()[held:], first.text)
	})
}

func TestLouderSlowerAndStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(2 * time.Second)
		before := len(c.room.all())
		last := c.room.all()[before-1]
		c.room.say("louder")
		c.quietFor(2 * time.Second)
		require.Greater(t, len(c.room.all()), before, "it lets itself be heard")
		again := c.room.all()[len(c.room.all())-1]
		assert.Equal(t, last.text, again.text)
		assert.Greater(t, again.gain, 1.3)
		c.room.say("slower")
		c.quietFor(2 * time.Second)
		slow := c.room.all()[len(c.room.all())-1]
		assert.Greater(t, slow.end.Sub(slow.start), again.end.Sub(again.start)*11/10)
		c.room.say("repeat")
		c.quietFor(2 * time.Second)
		assert.Equal(t, last.text, c.room.all()[len(c.room.all())-1].text)
		before = len(c.room.all())
		c.room.say("what can i say")
		for len(c.room.all()) == before {
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(300 * time.Millisecond)
		c.room.say("stop")
		c.quietFor(3 * time.Second)
		assert.Len(t, c.room.all(), before+1, "and not a word more")
		require.ErrorIs(t, c.end(), context.Canceled)
	})
}

// The own voice, however loud it comes back, is never taken for a callout, and
// one who speaks above it is heard.
func TestTheOwnVoiceIsNoCallout(t *testing.T) {
	for _, echo := range []float64{0, 0.01, 0.1, 0.3, 0.9} {
		synctest.Test(t, func(t *testing.T) {
			c := begin(t, func(r *room, _ *Config) { r.echo = echo })
			c.quietFor(2 * time.Second)
			for _, line := range []string{"complaint no cooling", "compressor amps forty seven", "what's next"} {
				c.room.say(line)
				c.quietFor(2 * time.Second)
			}
			assert.Len(t, logged[joblog.Heard](c.log), 3, "echo %v", echo)
			for _, p := range c.room.all() {
				assert.False(t, p.cut, "echo %v cuts %q", echo, p.text)
			}
			before := len(c.room.all())
			c.room.say("what can i say")
			for len(c.room.all()) == before {
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(1200 * time.Millisecond)
			c.room.say("stop")
			c.quietFor(3 * time.Second)
			require.ErrorIs(t, c.end(), context.Canceled)
			if echo <= 0.1 { // 20 dB below the technician and less
				assert.True(t, c.room.all()[before].cut, "echo %v", echo)
			}
		})
	}
}

func TestTimersSpeak(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.room.say("call me in ten minutes")
		set := time.Now()
		c.quietFor(3 * time.Second)
		for !contains(c.room.spoken(), "Time is up") {
			require.Less(t, time.Since(set), 11*time.Minute)
			time.Sleep(time.Second)
		}
		assert.InDelta(t, 10*60, time.Since(set).Seconds(), 8)
		require.ErrorIs(t, c.end(), context.Canceled)
	})
}

func TestTheMicrophoneGoesAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(2 * time.Second)
		c.room.say("compressor amps forty seven")
		time.Sleep(750 * time.Millisecond) // "compressor amps forty"
		c.room.mu.Lock()
		c.room.silent = true
		c.room.mu.Unlock()
		time.Sleep(500 * time.Millisecond)
		c.s.DeviceChanged(t.Context(), true, "headset", "it gives no sound")
		time.Sleep(20 * time.Second)
		heard := logged[joblog.Heard](c.log)
		require.Len(t, heard, 2)
		assert.Equal(t, "compressor amps forty", heard[1].Text)
		assert.Empty(t, slices.DeleteFunc(logged[joblog.Callout](c.log), func(b joblog.Callout) bool { return len(b.Readings) == 0 || b.Decision != joblog.Recorded }),
			"half a number is asked about, not kept")
		assert.True(t, contains(c.room.spoken(), "cannot hear you"))
		c.room.mu.Lock()
		c.room.silent, c.room.words, c.room.free = false, c.room.words[:3], 0
		c.room.mu.Unlock()
		c.s.DeviceChanged(t.Context(), false, "headset", "")
		time.Sleep(time.Second)
		c.quietFor(3 * time.Second)
		assert.True(t, contains(c.room.spoken(), "hear you again"))
		c.room.say("compressor amps forty seven")
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		callouts := logged[joblog.Callout](c.log)
		last := callouts[len(callouts)-1]
		require.Len(t, last.Readings, 1)
		assert.Equal(t, 47.0, last.Readings[0].Value)
	})
}

// What could not be said because the loudspeaker was gone is said when it is
// back.
func TestTheLoudspeakerGoesAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		time.Sleep(300 * time.Millisecond)
		c.room.mu.Lock()
		c.room.gone = true
		c.room.mu.Unlock()
		close(c.room.quit)
		time.Sleep(5 * time.Second)
		assert.Empty(t, c.room.spoken())
		c.room.mu.Lock()
		c.room.gone, c.room.quit = false, make(chan struct{})
		c.room.mu.Unlock()
		time.Sleep(time.Second)
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		k, _ := knowledge()
		var want []string
		for _, s := range logged[joblog.Said](c.log) {
			if s.Way == joblog.Spoken {
				want = append(want, sentences(k.Book.Speakable(s.Text))...)
			}
		}
		assert.Equal(t, want, c.room.spoken())
		assert.Len(t, c.notices, 1)
	})
}

func TestALogThatFailsIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, nil)
		c.quietFor(2 * time.Second)
		c.log.mu.Lock()
		c.log.fail = errors.New("disk full")
		c.log.mu.Unlock()
		c.room.say("complaint no cooling")
		err := <-c.ended
		require.ErrorContains(t, err, "disk full")
		assert.True(t, contains(c.room.spoken(), "cannot write the job log"))
		assert.False(t, contains(c.room.spoken(), "omplaint:"), "nothing is advised that is not kept")
		c.stop()
	})
}

func TestARecogniserThatFailsLosesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, func(r *room, _ *Config) { r.earFails = errors.New("out of memory") })
		c.quietFor(2 * time.Second)
		c.room.say("complaint no cooling")
		c.quietFor(3 * time.Second)
		require.ErrorIs(t, c.end(), context.Canceled)
		heard := logged[joblog.Heard](c.log)
		require.Len(t, heard, 1)
		assert.Empty(t, heard[0].Text)
		assert.Positive(t, heard[0].DurationMS)
		assert.True(t, contains(c.notices, "out of memory"))
	})
}

func TestTypingIsAsGoodAsSpeaking(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := begin(t, func(_ *room, cfg *Config) { cfg.Microphone, cfg.Voice = nil, nil })
		c.s.Typed(t.Context(), "complaint no cooling")
		c.s.Typed(t.Context(), "compressor amps forty seven")
		c.s.Typed(t.Context(), "job done")
		c.s.Typed(t.Context(), "job done")
		require.NoError(t, <-c.ended, "the job is closed")
		assert.Len(t, logged[joblog.Closed](c.log), 1)
		assert.Equal(t, joblog.Typed, logged[joblog.Heard](c.log)[0].Source)
		c.stop()
	})
}

// A wait survives the program: after a restart it is told when it is over, and at
// once if it was over meanwhile.
func TestTimersSurviveARestart(t *testing.T) {
	for _, away := range []time.Duration{3 * time.Minute, 30 * time.Minute} {
		synctest.Test(t, func(t *testing.T) {
			c := begin(t, nil)
			c.quietFor(2 * time.Second)
			c.room.say("call me in ten minutes")
			set := time.Now()
			c.quietFor(3 * time.Second)
			require.ErrorIs(t, c.end(), context.Canceled)
			time.Sleep(away)
			again := c.resume()
			for !contains(again.room.spoken(), "Time is up") {
				require.Less(t, time.Since(set), away+12*time.Minute)
				time.Sleep(time.Second)
			}
			if away < 10*time.Minute {
				assert.InDelta(t, 600, time.Since(set).Seconds(), 10)
			}
			assert.True(t, contains(again.room.spoken(), "goes on"))
			require.ErrorIs(t, again.end(), context.Canceled)
			done := 0
			for _, b := range logged[joblog.Timer](again.log) {
				if b.Event == joblog.TimerDone {
					done++
				}
			}
			assert.Equal(t, 1, done)
		})
	}
}
