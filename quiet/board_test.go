package quiet

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/charmbracelet/x/ansi"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
	"callout/session"
)

var update = flag.Bool("update", false, "write the golden screens anew")

var start = time.Date(2026, 3, 8, 14, 0, 0, 0, time.UTC)

func board(t testing.TB) *Board {
	t.Helper()
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	b, err := NewBoard(k)
	require.NoError(t, err)
	return b
}

// feeder gives records with their numbers, one second apart.
type feeder struct {
	b   *Board
	seq uint64
}

func (f *feeder) take(bodies ...joblog.Body) {
	for _, body := range bodies {
		f.seq++
		f.b.Take(session.Record{Seq: f.seq, At: start.Add(time.Duration(f.seq) * time.Second), Body: body})
	}
}

// call is a job of our own making, told by its log alone.
func call(t testing.TB) *Board {
	b := board(t)
	f := &feeder{b: b}
	f.take(joblog.Opened{Job: "20260308-1400-demo"},
		joblog.Energy{State: "outdoor unit live", Outdoor: "live", Indoor: "live", Capacitor: "charged"},
		joblog.Heard{Source: joblog.Speech, Text: "nameplate LRA 58", Certainty: 0.97},
		joblog.Callout{Heard: 3, Decision: joblog.Recorded, Readings: []joblog.Reading{{Quantity: "locked_rotor_amps", Place: "compressor", Value: 58, Unit: "A", Certainty: 0.97}}},
		joblog.Said{Text: "Locked-rotor amps, compressor: 58 A.", Way: joblog.Spoken},
		joblog.Heard{Source: joblog.Typed, Text: "compressor amps 47", Certainty: 1},
		joblog.Callout{Heard: 6, Decision: joblog.Recorded, Readings: []joblog.Reading{{Quantity: "current", Place: "compressor_common", Value: 47, Unit: "A", Certainty: 1}}},
		joblog.Assessment{Causes: []joblog.Cause{{Fault: "run_capacitor_failed", Probability: 0.42}, {Fault: "run_capacitor_weak", Probability: 0.31}}},
		joblog.Caution{Caution: "thermostat", Say: "A thermostat is no disconnect: pull the disconnect or switch off the breaker, and lock and tag it."},
		joblog.Next{Test: "capacitance", Say: "Pull the disconnect, lock it out, and tell me both.", Because: "nothing is touched that is not off", Does: "make_safe"},
		joblog.Timer{Timer: "overload_cooling", Text: "the overload may still be open", Event: joblog.TimerStarted, Until: start.Add(30 * time.Minute)},
		joblog.Said{Text: "47 A is 81% of the locked-rotor 58 A: the rotor is not turning.", Way: joblog.Spoken},
		joblog.Heard{Source: joblog.Speech, Text: "did you see the game", Certainty: 0.61},
		joblog.Callout{Heard: 13, Decision: joblog.Ignored, Because: "no callout in it"},
		joblog.Heard{Source: joblog.Speech, Text: "suction pressure fifty", Certainty: 0.22},
		joblog.Callout{Heard: 15, Decision: joblog.Asked, Because: "not heard surely enough"},
		joblog.Question{Callout: 16, Asks: joblog.Confirm, Say: "Did you say suction pressure: 50 psi? Yes or no."},
	)
	return b
}

// Each screen is compared with a golden one, at both sizes, and holds to its
// bounds at every size.
func TestScreens(t *testing.T) {
	t.Setenv("TZ", "UTC")
	time.Local = time.UTC
	b := call(t)
	s := Status{Now: start.Add(5 * time.Minute), Level: &Level{RMS: -31, Peak: -20}, Input: "> "}
	for _, size := range []struct {
		name          string
		width, height int
	}{{"80x24", 80, 24}, {"200x50", 200, 50}} {
		got := ansi.Strip(Render(b, s, size.width, size.height)) + "\n"
		path := filepath.Join("testdata", size.name+".txt")
		if *update {
			require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, string(want), got, "%s; go test ./quiet -update writes it anew", size.name)
	}
	for width := 1; width < 240; width += 7 {
		for height := 1; height < 70; height += 3 {
			lines := strings.Split(Render(b, s, width, height), "\n")
			require.Len(t, lines, max(height, leastHeight))
			for _, l := range lines {
				require.LessOrEqual(t, ansi.StringWidth(l), max(width, leastWidth), "%dx%d: %q", width, height, l)
			}
			plain := ansi.Strip(strings.Join(lines, "\n"))
			require.Contains(t, plain, "DO NOT TOUCH", "%dx%d", width, height)
			require.Contains(t, plain, "outdoor unit live")
		}
	}
}

// What can hurt is told until it is proved dead; what nothing is known of is live.
func TestDanger(t *testing.T) {
	for _, c := range []struct {
		energy joblog.Energy
		live   []string
	}{
		{joblog.Energy{}, []string{"outdoor unit live", "air handler live", "capacitor charged"}},
		{joblog.Energy{Outdoor: "declared_dead", Indoor: "proved_dead", Capacitor: "bled"}, []string{"outdoor unit declared dead, NOT PROVED", "capacitor bled, NOT MEASURED"}},
		{joblog.Energy{Outdoor: "proved_dead", Indoor: "live", Capacitor: "proved"}, []string{"air handler live"}},
		{joblog.Energy{Outdoor: "something new", Indoor: "proved_dead", Capacitor: "proved"}, []string{"outdoor unit live"}},
		{joblog.Energy{Outdoor: "proved_dead", Indoor: "proved_dead", Capacitor: "proved"}, nil},
	} {
		b := board(t)
		(&feeder{b: b}).take(c.energy)
		got, dead := b.Danger()
		assert.Equal(t, c.live, got)
		assert.Len(t, dead, 3-len(c.live))
		assert.Equal(t, len(c.live) == 0, b.Safe())
		screen := ansi.Strip(Render(b, Status{Now: start}, 80, 24))
		assert.Equal(t, len(c.live) > 0, strings.Contains(screen, "DO NOT TOUCH"))
		assert.Equal(t, len(c.live) == 0, strings.Contains(screen, "PROVED DEAD:"))
	}
}

func TestBoardStrikesAnswersAndForgets(t *testing.T) {
	b := call(t)
	f := &feeder{b: b, seq: 17}
	require.Equal(t, "Did you say suction pressure: 50 psi? Yes or no.", b.Question)
	require.Len(t, b.Values, 2)
	assert.Equal(t, "58 A locked-rotor amps, compressor (81%)", b.Values[1].Against)
	f.take(joblog.Heard{Source: joblog.Speech, Text: "yes"},
		joblog.Callout{Heard: 18, Decision: joblog.Recorded, Answers: 17, Readings: []joblog.Reading{{Quantity: "suction_pressure", Place: "suction_line", Value: 50, Unit: "[psi]"}}})
	assert.Empty(t, b.Question)
	require.Len(t, b.Values, 3)
	f.take(joblog.Retracted{Entry: 7, Why: "struck"})
	require.Len(t, b.Values, 2)
	assert.Contains(t, ansi.Strip(Render(b, Status{Now: start}, 100, 40)), "compressor amps 47 (struck)")
	f.take(joblog.Timer{Timer: "overload_cooling", Event: joblog.TimerDone, Until: start})
	assert.Empty(t, b.Timers)
	for range 3 * maxLines {
		f.take(joblog.Said{Text: "and on", Way: joblog.Spoken})
	}
	assert.Len(t, b.Lines, maxLines)
	f.take(joblog.Heard{Text: "late", Source: joblog.Speech})
	f.take(joblog.Callout{Heard: f.seq, Decision: joblog.Ignored, Because: "chatter"})
	assert.Equal(t, "left alone: chatter", b.Lines[maxLines-1].Fate)
	f.take(joblog.Closed{Outcome: "proved", Text: "Repair proved."})
	assert.Contains(t, ansi.Strip(Render(b, Status{Now: start}, 80, 24)), "CLOSED  Repair proved.")
}

func TestAgainstFitsTheCatalogue(t *testing.T) {
	list, err := loadAgainst(board(t).know.Catalogue)
	require.NoError(t, err)
	assert.NotEmpty(t, list)
}

// gathered collects records and says when it has n.
type gathered struct {
	records chan session.Record
}

func (g gathered) Show(_ context.Context, r session.Record) error {
	g.records <- r
	return nil
}

// A writer that died in the middle of a line leaves half of it, which the next one cuts off
// and tells of. Who looks on meanwhile sees every entry, and no half one.
func TestFollowGoesOnAfterTheWriterDied(t *testing.T) {
	w, err := joblog.Create(t.TempDir(), joblog.Opened{Program: "test", Job: "j"}, start)
	require.NoError(t, err)
	g := gathered{make(chan session.Record, 100)}
	done := make(chan error, 1)
	go func() { done <- Follow(t.Context(), w.Dir(), g) }()
	<-g.records
	_, err = w.Append(joblog.Note{Text: "before"}, start)
	require.NoError(t, err)
	<-g.records
	require.NoError(t, w.Close())
	path := filepath.Join(w.Dir(), joblog.LogName)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, half := range []int{1, 40, 190} { // bytes of the line that is never ended
		f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = f.Write(whole[:half])
		require.NoError(t, err)
		require.NoError(t, f.Close())
		time.Sleep(2 * lookEvery) // it was looked at
		w, err = joblog.Open(w.Dir(), start)
		require.NoError(t, err)
		assert.IsType(t, joblog.Torn{}, (<-g.records).Body)
		seq, err := w.Append(joblog.Note{Text: "after"}, start)
		require.NoError(t, err)
		assert.Equal(t, seq, (<-g.records).Seq)
		require.NoError(t, w.Close())
	}
	w, err = joblog.Open(w.Dir(), start)
	require.NoError(t, err)
	_, err = w.Append(joblog.Closed{Outcome: "no_verdict"}, start)
	require.NoError(t, err)
	<-g.records
	require.NoError(t, <-done)
	require.NoError(t, w.Close())
}

// A log that another process writes to is followed entry by entry, without
// touching it.
func TestFollow(t *testing.T) {
	jobs := t.TempDir()
	w, err := joblog.Create(jobs, joblog.Opened{Program: "test", Job: "j"}, start)
	require.NoError(t, err)
	g := gathered{make(chan session.Record, 100)}
	done := make(chan error, 1)
	go func() { done <- Follow(t.Context(), w.Dir(), g) }()
	assert.Equal(t, "j", (<-g.records).Body.(joblog.Opened).Job)
	for range 5 {
		seq, err := w.Append(joblog.Note{Text: "one more"}, start)
		require.NoError(t, err)
		got := <-g.records
		assert.Equal(t, seq, got.Seq)
	}
	_, err = w.Append(joblog.Closed{Outcome: "no_verdict"}, start)
	require.NoError(t, err)
	<-g.records
	require.NoError(t, <-done, "it ends with the job")
	require.NoError(t, w.Close())

	ctx, stop := context.WithCancel(t.Context())
	w, err = joblog.Create(jobs, joblog.Opened{Program: "test", Job: "k"}, start)
	require.NoError(t, err)
	go func() { done <- Follow(ctx, w.Dir(), g) }()
	<-g.records
	stop()
	require.ErrorIs(t, <-done, context.Canceled)
	require.NoError(t, w.Close())
	require.ErrorIs(t, Follow(t.Context(), filepath.Join(jobs, "none"), g), os.ErrNotExist)
	require.NoError(t, os.WriteFile(filepath.Join(jobs, "k", joblog.LogName), []byte("{}\n"), 0o644))
	var damage *joblog.Damage
	require.ErrorAs(t, Follow(t.Context(), filepath.Join(jobs, "k"), g), &damage)
}

// Whatever a log says, the terminal is told only what Render itself styles.
func TestScreenShowsControlsEscaped(t *testing.T) {
	const evil = "x\x1b]0;mine\ay\u202ez\u009b2J"
	b := board(t)
	(&feeder{b: b}).take(
		joblog.Opened{Program: "x", Job: evil},
		joblog.Heard{Source: joblog.Typed, Text: evil, Certainty: 1},
		joblog.Callout{Heard: 2, Decision: joblog.Recorded, Readings: []joblog.Reading{{Quantity: evil, Value: 1, Unit: evil}}},
		joblog.Callout{Heard: 2, Decision: joblog.Ignored, Because: evil},
		joblog.Question{Callout: 3, Asks: joblog.Say, Say: evil},
		joblog.Caution{Caution: "x", Say: evil},
		joblog.Next{Does: "test", Say: evil, Because: evil},
		joblog.Assessment{Causes: []joblog.Cause{{Fault: evil, Probability: 1}}, Verdict: evil, Because: evil},
		joblog.Timer{Timer: "x", Text: evil, Event: joblog.TimerStarted, Until: start.Add(time.Hour)},
		joblog.Said{Text: evil, Way: joblog.Spoken},
		joblog.Energy{State: evil, Outdoor: evil, Indoor: evil, Capacitor: evil})
	screen := Render(b, Status{Now: start, Notice: evil}, 200, 50)
	styles := regexp.MustCompile("\x1b\\[[0-9;]*m")
	plain := styles.ReplaceAllString(screen, "")
	assert.NotContains(t, plain, "\x1b")
	for _, r := range plain {
		assert.False(t, r != '\n' && unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r), "%U", r)
	}
	assert.GreaterOrEqual(t, strings.Count(plain, `x\u001b]0;mine\u0007y\u202ez`), 8)
}
