//go:build whisper && cgo

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/internal/scene"
	"callout/joblog"
	"callout/live"
	"callout/session"
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
	alone := stagesAlone(t, person)
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
	t.Logf("with nothing else at work here:\n%s", alone)
	t.Logf("from the technician's mouth to his ear: median %v, 95 of 100 %v, of %d; end of speech found late by %v, 95 of 100 %v", live.Percentile(outside, 50).Round(time.Millisecond), live.Percentile(outside, 95).Round(time.Millisecond), len(outside),
		live.Percentile(late, 50).Round(time.Millisecond), live.Percentile(late, 95).Round(time.Millisecond))
	assert.GreaterOrEqual(t, len(outside), turns*2/3, "most turns are answered")
}

// timedLog measures what the log takes.
type timedLog struct {
	session.Log
	took time.Duration
}

func (l *timedLog) Append(body joblog.Body, at time.Time) (uint64, error) {
	start := time.Now()
	defer func() { l.took += time.Since(start) }()
	return l.Log.Append(body, at)
}

// stagesAlone tells what each stage takes by itself, medians, and how much of it a turn
// must wait for: decoding begins in the pause, and so does the voice.
func stagesAlone(t *testing.T, person *technician) string {
	t.Helper()
	s, err := loadSettings(newRoot().PersistentFlags())
	require.NoError(t, err)
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	log := &timedLog{}
	r, w, err := openJob(t.Context(), k, s, filepath.Join(t.TempDir(), "alone"), "", time.Now())
	require.NoError(t, err)
	r.Through(func(l session.Log) session.Log {
		log.Log = l
		return log
	})
	var decide, write, voice []time.Duration
	for i, line := range turnLines {
		log.took = 0
		u := session.Utterance{At: time.Now(), Source: joblog.Speech, Text: line, Certainty: 1}
		start := time.Now()
		read := r.Call().Foresee(u).ReadBack
		require.NoError(t, r.Hear(t.Context(), u))
		decide, write = append(decide, time.Since(start)-log.took), append(write, log.took)
		if start = time.Now(); read != "" && i < 12 {
			_, err := espeak{s.Voice}.Synthesise(t.Context(), k.Book.Speakable(read), s.VoiceRate)
			require.NoError(t, err)
			voice = append(voice, time.Since(start))
		}
	}
	require.NoError(t, w.Close())
	pauses := live.Pauses{}.WithDefaults()
	recogniser := recogniserAlone(t, person)
	ms := func(d time.Duration) int64 { return d.Milliseconds() }
	after := func(work, room time.Duration) int64 { return ms(max(0, work-room)) }
	of := func(list []time.Duration) time.Duration { return live.Percentile(list, 50) }
	room := pauses.Whole - pauses.Early
	var b strings.Builder
	out := tabwriter.NewWriter(&b, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(out, "ms\talone\twaited for\t\n")
	fmt.Fprintf(out, "pause after something whole\t%d\t%d\t\n", ms(pauses.Whole), ms(pauses.Whole))
	fmt.Fprintf(out, "decode\t%d\t%d\t\n", ms(recogniser), after(recogniser, room))
	fmt.Fprintf(out, "decide\t%d\t%d\t\n", ms(of(decide)), ms(of(decide)))
	fmt.Fprintf(out, "log\t%d\t%d\t\n", ms(of(write)), ms(of(write)))
	both := after(recogniser+of(voice), room)
	fmt.Fprintf(out, "voice\t%d\t%d\t\n", ms(of(voice)), both-after(recogniser, room))
	floor := ms(pauses.Whole+of(decide)+of(write)) + both
	fmt.Fprintf(out, "end of speech to first sound\t\t%d\t\n", floor)
	require.NoError(t, out.Flush())
	return b.String()
}
