//go:build whisper && cgo

package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/intents/hearing"
	"callout/internal/scene"
	"callout/joblog"
	"callout/live"
	"callout/session"
)

// reading is what a line of the call must put into the log.
type reading struct {
	line     string
	quantity string
	value    float64
	answer   string // a part of what is said back, as the recogniser writes it
}

// TestAWholeCallThroughTheSoundServer: a technician speaks a call beside a
// running fan into the real microphone path, hears the answers, interrupts, has
// the microphone taken away and the program killed, and the log is right. The
// microphone also hears callout's own voice, 20 dB down.
func TestAWholeCallThroughTheSoundServer(t *testing.T) {
	server := startSoundServer(t)
	mouth := server.sink("mouth", 48000, 2)
	room := server.sink("room", 44100, 1)
	server.pactl("load-module", "module-loopback", "source=room.monitor", "sink=mouth", "latency_msec=40", "sink_input_properties=media.name=echo")
	server.pactl("set-sink-input-volume", echoInput(server), "-20dB")
	person := newTechnician(t, "flite:slt:rate=0.95")
	floor := recogniserAlone(t, person)
	person.hum(7, 15)
	dir := filepath.Join(t.TempDir(), "call")
	p := startLive(t, dir)
	notice := time.Now()
	p.wait(0, 60*time.Second, "the first prompt", saidWith("complaint"))
	_, _, ok := person.answer(notice, 30*time.Second)
	require.True(t, ok, p.complaints())

	var outside []time.Duration
	spoken, answers, understood, misheard := 0, 0, 0, 0
	// tell speaks a line and waits for the answer's end.
	tell := func(line string) (events []map[string]any, heard []string) {
		t.Helper()
		n := p.count()
		end := person.say(line)
		spoken++
		p.wait(n, 20*time.Second, line+" to be heard", func(e map[string]any) bool { return e["event"] == "heard" })
		sound, began, ok := person.answer(end, 15*time.Second)
		if ok {
			outside = append(outside, began.Sub(end))
			t.Logf("%q answered after %v", line, began.Sub(end).Round(time.Millisecond))
			heard = person.understood(sound)
		}
		return p.since(n), heard
	}
	// read speaks a line until its value is in the log, as a technician would.
	read := func(r reading) {
		t.Helper()
		recorded := func(events []map[string]any) (right bool) {
			for _, e := range events {
				if e["event"] != "reading" || e["quantity"] != r.quantity {
					continue
				}
				if right = e["value"] == r.value; !right { // it was said back: the technician hears it
					misheard++
					t.Logf("%q was recorded as %v: %v", r.line, e["value"], events)
					tell("scratch that")
				}
			}
			return right
		}
		for range 4 {
			events, heard := tell(r.line)
			if !recorded(events) {
				for _, e := range events {
					if say, _ := e["say"].(string); e["event"] == "question" && strings.Contains(say, fmt.Sprint(r.value)) && strings.Contains(say, "Yes or no") {
						events, heard = tell("yes")
					}
				}
			}
			if recorded(events) {
				t.Logf("%q answered %q", r.line, heard)
				if answers++; slices.ContainsFunc(heard, func(x string) bool { return strings.Contains(x, r.answer) }) {
					understood++
				}
				return
			}
		}
		require.Fail(t, "never recorded", "%s\n%v", r.line, p.since(0))
	}

	tell("complaint no cooling")
	read(reading{"nameplate LRA eighty four", "locked_rotor_amps", 84, "84"})
	read(reading{"nameplate RLA seventeen point six", "rated_load_amps", 17.6, "17.6"})

	// A prompt is interrupted.
	n := p.count()
	end := person.say("what can I say")
	spoken++
	p.wait(n, 20*time.Second, "help", saidWith("scratch that"))
	require.Eventually(t, func() bool { _, last, _ := person.room.loud(end, heardAbove); return !last.IsZero() }, 10*time.Second, 5*time.Millisecond, "the help is spoken")
	time.Sleep(1500 * time.Millisecond)
	n = p.count()
	start := time.Now()
	person.say("compressor amps seventy two")
	spoken++
	recorded := func(e map[string]any) bool { return e["event"] == "reading" && e["value"] == 72.0 }
	p.wait(n, 20*time.Second, "the interruption to be asked back", func(e map[string]any) bool {
		say, _ := e["say"].(string)
		return e["event"] == "question" && strings.Contains(say, "72") // it may be the program's own voice
	})
	began, _, _ := person.mouth.loud(start, max(person.level/6, 5*person.fan))
	cutOff := person.room.silentFrom(began)
	t.Logf("silent %v after the technician began", cutOff.Sub(began).Round(time.Millisecond))
	assert.Less(t, cutOff.Sub(began), 1200*time.Millisecond)
	person.answer(start.Add(1500*time.Millisecond), 10*time.Second)
	assert.False(t, slices.ContainsFunc(p.since(n), recorded), "nothing said over the program's voice is recorded before it was asked about")
	for range 3 { // an answer soon after the loudspeaker ran dry is asked for again
		if tell("yes"); slices.ContainsFunc(p.since(n), recorded) {
			break
		}
	}
	p.wait(n, 20*time.Second, "the interruption to be recorded", recorded)

	// The microphone is taken away in the middle of a word, and given back.
	n = p.count()
	server.pactl("unload-module", mouth)
	p.wait(n, 20*time.Second, "the loss to be told", saidWith("cannot hear you"))
	mouth = server.sink("mouth", 16000, 1)
	p.wait(n, 30*time.Second, "the return to be told", saidWith("hear you again"))
	person.answer(time.Now().Add(-2*time.Second), 10*time.Second)

	// So is the loudspeaker; what is to be said meanwhile is said after its return.
	server.pactl("unload-module", room)
	server.sink("room", 48000, 2)
	require.Eventually(t, person.room.alive, 20*time.Second, 20*time.Millisecond)
	read(reading{"line voltage two thirty nine", "voltage", 239, "239"})

	// kill -9, and again on the same job.
	times := turnTimes(p.complaints())
	p.kill()
	before, err := joblog.Verify(dir)
	require.NoError(t, err)
	require.Equal(t, joblog.Whole, before.State)
	p = startLive(t, dir)
	restart := time.Now()
	p.wait(0, 60*time.Second, "where the job stands", saidWith("goes on"))
	sound, _, ok := person.answer(restart, 30*time.Second)
	require.True(t, ok)
	t.Logf("after kill -9: %q", person.understood(sound))
	events := p.since(0)
	assert.Greater(t, events[0]["seq"].(float64), float64(before.Entries), "the log goes on")
	tell("job done")
	for range 3 {
		if closed(p) {
			break
		}
		tell("job done")
	}
	select {
	case <-p.done:
	case <-time.After(20 * time.Second):
		require.Fail(t, "callout live goes on after the job was closed", p.complaints())
	}
	assert.Equal(t, 0, p.cmd.ProcessState.ExitCode(), p.complaints())

	report, err := joblog.Verify(dir)
	require.NoError(t, err)
	assert.Equal(t, joblog.Whole, report.State)
	assert.True(t, report.Closed)
	heard, idle := 0, 0
	for e, err := range joblog.Entries(dir) {
		require.NoError(t, err)
		body, err := joblog.Decode(e)
		require.NoError(t, err)
		switch b := body.(type) {
		case joblog.Heard:
			heard++
		case joblog.Callout:
			if b.Decision == joblog.Ignored {
				t.Logf("left alone: %s", b.Because)
				idle++
			}
		}
	}
	assert.GreaterOrEqual(t, heard, spoken, "every utterance is in the log")
	assert.GreaterOrEqual(t, spoken, heard-idle, "and the program's own voice and the fan are no callouts")
	assert.LessOrEqual(t, misheard, 1)
	assert.GreaterOrEqual(t, understood, answers-1, "the numbers said back can be understood") // a robot's ear mishears a robot now and then
	times = append(times, turnTimes(p.complaints())...)
	var table strings.Builder
	require.NoError(t, live.WriteTimings(&table, times))
	t.Logf("\n%s", &table)
	t.Logf("from the technician's mouth to his ear, through the sound server both ways: median %v, 95%% %v of %d", live.Percentile(outside, 50).Round(time.Millisecond), live.Percentile(outside, 95).Round(time.Millisecond), len(outside))
	t.Logf("the recogniser alone, nothing else at work: %v", floor.Round(time.Millisecond))
	assert.NotEmpty(t, times)
}

func closed(p *process) bool {
	for _, e := range p.since(0) {
		if e["event"] == "closed" {
			return true
		}
	}
	return false
}

// silentFrom is the last sound before a pause of 250 ms, after the moment from.
func (r *recording) silentFrom(from time.Time) time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	last := from
	for i, at := range r.times {
		switch {
		case at.Before(from):
		case at.Sub(last) > 250*time.Millisecond:
			return last
		case r.peaks[i] > heardAbove:
			last = at
		}
	}
	return last
}

// recogniserAlone is the median time in which callout's ear takes an utterance,
// with nothing else at work here.
func recogniserAlone(t *testing.T, p *technician) time.Duration {
	t.Helper()
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	ear, err := hearing.NewEar(p.engine, k.Parser)
	require.NoError(t, err)
	x := scene.Normal(p.words("compressor amps seventy two"), 0.4)
	var all []time.Duration
	for range 7 {
		start := time.Now()
		u, err := ear.Hear(t.Context(), audio.Utterance{Samples: x}, start)
		require.NoError(t, err)
		require.NotEmpty(t, u.Text)
		all = append(all, time.Since(start))
	}
	return live.Percentile(all, 50)
}

// echoInput finds the loopback among the sink's inputs.
func echoInput(s *soundServer) string {
	var id string
	for line := range strings.Lines(s.pactl("list", "sink-inputs")) {
		if n, ok := strings.CutPrefix(strings.TrimSpace(line), "Sink Input #"); ok {
			id = n
		}
		if strings.Contains(line, `media.name = "echo"`) {
			return id
		}
	}
	require.Fail(s.t, "no loopback")
	return ""
}
