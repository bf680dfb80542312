//go:build whisper && cgo

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/internal/scene"
	"callout/live"
)

// turnLines are callouts that are answered: short and long, whole numbers and fractions,
// those that one more word would change, things seen, questions.
var turnLines = []string{
	"compressor amps seventy two", "nameplate LRA eighty four", "nameplate RLA seventeen point six",
	"outdoor fan is running", "compressor hums", "line voltage two thirty nine", "rated capacitance forty five plus five microfarads",
	"what's next", "suction pressure one eighteen", "liquid pressure three forty", "where are we", "fan amps one point one",
	"outdoor temperature ninety five", "return air seventy eight", "supply air sixty one", "filter is dirty",
	"load side voltage two thirty eight", "suction line temperature fifty two", "liquid line temperature ninety eight", "why",
}

// TestTurnTakesAsLong measures the turn through the sound server, from the last loud sound
// of the technician to the first of the answer, both as captured from there, beside what
// callout says of it by stage. CALLOUT_TURNS is how many; the machine should be idle.
func TestTurnTakesAsLong(t *testing.T) {
	turns := 6
	if n, err := strconv.Atoi(os.Getenv("CALLOUT_TURNS")); err == nil {
		turns = n
	}
	server := startSoundServer(t)
	server.sink("mouth", 48000, 2)
	server.sink("room", 44100, 1)
	person := newTechnician(t, "flite:slt:rate=0.95")
	person.hum(7, 15)
	p := startLive(t, filepath.Join(t.TempDir(), "call"))
	notice := time.Now()
	p.wait(0, 60*time.Second, "the first prompt", saidWith("complaint"))
	_, _, ok := person.answer(notice, 30*time.Second)
	require.True(t, ok, p.complaints())
	voices := []scene.Voice{"flite:slt:rate=0.95", "espeak-ng:en-us+m3:rate=160:pitch=40"}
	var outside, late []time.Duration
	for i := range turns {
		line := turnLines[i%len(turnLines)]
		person.voice = voices[i/len(turnLines)%len(voices)]
		n, told := p.count(), len(turnTimes(p.complaints()))
		end := person.say(line)
		e := p.wait(n, 20*time.Second, line+" to be heard", func(e map[string]any) bool { return e["event"] == "heard" })
		_, began, ok := person.answer(end, 6*time.Second)
		if !ok {
			t.Logf("%q heard as %q: no answer", line, e["text"])
			continue
		}
		outside = append(outside, began.Sub(end))
		inside := "none"
		if all := turnTimes(p.complaints()); len(all) > told {
			x := all[told]
			inside = x.String()
			if at, err := time.Parse(time.RFC3339Nano, fmt.Sprint(e["at"])); err == nil {
				late = append(late, at.Sub(end))
				inside = fmt.Sprintf("end found %d ms late, out %d ms after taken; %s", at.Sub(end).Milliseconds(), began.Sub(at.Add(x.Total())).Milliseconds(), inside)
			}
		}
		t.Logf("%q heard as %q: %d ms outside; %s", line, e["text"], began.Sub(end).Milliseconds(), inside)
	}
	var table strings.Builder
	require.NoError(t, live.WriteTimings(&table, turnTimes(p.complaints())))
	t.Logf("\n%s", &table)
	t.Logf("from the technician's mouth to his ear: median %v, 95 of 100 %v, of %d; end of speech found late by %v, 95 of 100 %v", live.Percentile(outside, 50).Round(time.Millisecond), live.Percentile(outside, 95).Round(time.Millisecond), len(outside),
		live.Percentile(late, 50).Round(time.Millisecond), live.Percentile(late, 95).Round(time.Millisecond))
	assert.GreaterOrEqual(t, len(outside), turns*2/3, "most turns are answered")
}
