package joblog

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var start = time.Date(2026, 3, 8, 14, 5, 9, 123_000_000, time.UTC)

const someSum = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" // of nothing

func number(v float64) *float64 { return &v }

func sampleOpened() Opened {
	return Opened{Program: "callout test", Job: "job-1", Unit: "U-7", Technician: "T-3", Complaint: "runs, does not cool",
		Knowledge: someSum, Model: someSum}
}

// sampleBodies has every kind that may follow the opening entry but torn and
// closed, in an order that a call could have.
func sampleBodies() []Body {
	amps := Reading{Quantity: "current", Place: "compressor_common", Value: 47.5, Unit: "A", Certainty: 0.97}
	return []Body{
		Heard{Source: Speech, Text: "compressor amps forty seven and a half", LogLikelihood: -1.25, Engine: "whisper tiny.en",
			Alternatives: []Alternative{{"compressor amps forty seven", -2.5}}, DurationMS: 2400},
		Callout{Heard: 2, Decision: Recorded, Readings: []Reading{amps},
			Observations: []Observation{{"sound", "compressor", "hum", 0.9}},
			Declarations: []Declaration{{"panel_open", 0.99}},
			Commands:     []Command{{Command: "correct", Number: number(45)}},
			Repairs:      []string{"replace_run_capacitor"}, Answers: 1, Because: "clear"},
		Question{Callout: 3, Asks: Which, Quantity: "current", Place: "compressor_common", Say: "forty seven or forty five?", Candidates: []Reading{amps}},
		Retracted{Entry: 3, By: 3, Why: "corrected"},
		Energy{State: "live", Because: "the disconnect is in", Entries: []uint64{3}},
		Assessment{Causes: []Cause{{"run_capacitor_open", 0.8, "no capacitance"}, {"locked_rotor", 0.2, ""}},
			Verdict: "run_capacitor_open", Because: "reads none of 40 µF", Entries: []uint64{3},
			Expected: []Expected{{"capacitance", "herm", number(38), number(42), "uF", "label, 40 µF ±5%", 3}}},
		Caution{Caution: "bleed", Say: "The capacitor can be charged.", Broken: true, Entries: []uint64{3}},
		Next{Test: "capacitance", Quantity: "capacitance", Place: "herm", Needs: "proved_dead", Say: "Measure the capacitor.",
			Because: "cheapest", Does: "test", Declare: []string{"capacitor_bled"}, Repair: "replace_run_capacitor", WaitSeconds: 60},
		Timer{Timer: "bleed", Text: "the capacitor bleeds", Event: TimerStarted, Until: start.Add(time.Minute)},
		Said{Text: "Measure the capacitor.", Way: Spoken, As: AsStep, Phrase: "next", Entry: 12},
		Repair{Repair: "replace_run_capacitor", Part: "run capacitor", Fault: "run_capacitor_open", Callout: 3},
		Proof{Repair: 12, Proved: true, Because: "5.7 A, below 13.4 A", Entries: []uint64{3}},
		Note{Text: "<script>alert(1)</script> \u2028 \"quoted\" \\ \x00 é \U0001F600"},
	}
}

// newJob writes a job with the given entries after the opening one.
func newJob(t testing.TB, bodies ...Body) (dir string) {
	t.Helper()
	w, err := Create(t.TempDir(), sampleOpened(), start)
	require.NoError(t, err)
	for i, b := range bodies {
		seq, err := w.Append(b, start.Add(time.Duration(i+1)*time.Second))
		require.NoError(t, err)
		require.EqualValues(t, i+2, seq)
	}
	require.NoError(t, w.Close())
	return w.Dir()
}

func logBytes(t testing.TB, dir string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, LogName))
	require.NoError(t, err)
	return b
}

func readAll(t testing.TB, dir string) []Entry {
	t.Helper()
	var es []Entry
	for e, err := range Entries(dir) {
		require.NoError(t, err)
		es = append(es, e)
	}
	return es
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	bodies := append(sampleBodies(), Closed{Outcome: "repaired", Verdict: "run_capacitor_open", Proved: true, Text: "Runs."})
	dir := newJob(t, bodies...)
	es := readAll(t, dir)
	require.Len(t, es, len(bodies)+1)
	for i, e := range es {
		assert.EqualValues(t, i+1, e.Seq)
		assert.Equal(t, start.Add(time.Duration(i)*time.Second), e.At)
		body, err := Decode(e)
		require.NoError(t, err)
		opened := sampleOpened()
		opened.Schema = Schema
		want := Body(opened)
		if i > 0 {
			want = bodies[i-1]
		}
		assert.Equal(t, want, body)
	}
	r, err := Verify(dir)
	require.NoError(t, err)
	assert.Equal(t, Whole, r.State)
	assert.True(t, r.Closed)
	assert.EqualValues(t, len(es), r.Entries)
	assert.Equal(t, Head{uint64(len(es)), es[len(es)-1].Hash}, r.Head)
	assert.Equal(t, "job-1", r.Job)
	assert.Equal(t, start, r.First)
	assert.Equal(t, es[len(es)-1].At, r.Last)
}

// The chain can be followed with any SHA-256 tool and a text editor; here with
// the standard library alone, by the rule in FORMAT.md.
func TestTheChainAsDocumented(t *testing.T) {
	prev := "0000000000000000000000000000000000000000000000000000000000000000"
	lines := bytes.Split(bytes.TrimSuffix(logBytes(t, newJob(t, sampleBodies()...)), []byte("\n")), []byte("\n"))
	for i, line := range lines {
		var e struct {
			Seq        int
			Prev, Hash string
		}
		require.NoError(t, json.Unmarshal(line, &e))
		covered, _, ok := bytes.Cut(line, []byte(`,"hash":"`+e.Hash))
		require.True(t, ok)
		assert.Equal(t, i+1, e.Seq)
		assert.Equal(t, prev, e.Prev)
		assert.Equal(t, sumOf(covered), e.Hash)
		prev = e.Hash
	}
}

func TestCreate(t *testing.T) {
	jobs := filepath.Join(t.TempDir(), "a", "jobs")
	w, err := Create(jobs, sampleOpened(), start)
	require.NoError(t, err)
	assert.Equal(t, filepath.Join(jobs, "job-1"), w.Dir())
	assert.EqualValues(t, 1, w.Head().Seq)
	assert.Equal(t, "U-7", w.Opened().Unit)

	_, err = Create(jobs, sampleOpened(), start)
	require.ErrorIs(t, err, ErrExists)
	require.NoError(t, w.Close())
	_, err = Create(jobs, sampleOpened(), start)
	require.ErrorIs(t, err, ErrExists)
	left, err := os.ReadDir(jobs)
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing of a failed creation remains")

	for _, id := range []string{"", ".", "..", "a/b", "-a", "a b", "a.b", "über", string(bytes.Repeat([]byte("a"), 65))} {
		o := sampleOpened()
		o.Job = id
		_, err := Create(jobs, o, start)
		assert.Error(t, err, "job id %q", id)
	}
}

func TestOneWriter(t *testing.T) {
	jobs := t.TempDir()
	w, err := Create(jobs, sampleOpened(), start)
	require.NoError(t, err)
	_, err = Open(w.Dir(), start)
	require.ErrorIs(t, err, ErrLocked)
	require.NoError(t, w.Close())
	_, err = w.Append(Note{Text: "late"}, start)
	require.ErrorIs(t, err, ErrUnusable)

	w, err = Open(w.Dir(), start)
	require.NoError(t, err)
	defer w.Close()
	seq, err := w.Append(Note{Text: "again"}, start)
	require.NoError(t, err)
	assert.EqualValues(t, 2, seq)
	assert.Equal(t, "T-3", w.Opened().Technician)
}

func TestOpenWhereThereIsNoJob(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(dir, start)
	require.ErrorIs(t, err, os.ErrNotExist)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Empty(t, left, "looking for a job leaves nothing behind")
}

func TestSignedOff(t *testing.T) {
	w, err := Create(t.TempDir(), sampleOpened(), start)
	require.NoError(t, err)
	_, err = w.Append(Closed{Outcome: "left_open"}, start)
	require.NoError(t, err)
	_, err = w.Append(Note{Text: "one more"}, start)
	require.ErrorIs(t, err, ErrSignedOff)
	require.NoError(t, w.Close())
	_, err = Open(w.Dir(), start)
	require.ErrorIs(t, err, ErrSignedOff)
}

func TestRefused(t *testing.T) {
	amps := Reading{Quantity: "current", Place: "unit", Value: 1, Unit: "A", Certainty: 1}
	with := func(change func(*Reading)) Body {
		r := amps
		change(&r)
		return Callout{Heard: 1, Decision: Recorded, Readings: []Reading{r}}
	}
	nan := 0.0
	nan /= nan
	for name, body := range map[string]Body{
		"no body":             nil,
		"opened twice":        sampleOpened(),
		"not a number":        with(func(r *Reading) { r.Value = nan }),
		"unit of no code":     with(func(r *Reading) { r.Unit = "amps" }),
		"certain beyond all":  with(func(r *Reading) { r.Certainty = 1.1 }),
		"open line of 3 ohms": with(func(r *Reading) { r.Qualifier, r.Value = OpenLine, 3 }),
		"unknown qualifier":   with(func(r *Reading) { r.Qualifier = "about" }),
		"no quantity":         with(func(r *Reading) { r.Quantity = "" }),
		"no decision":         Callout{Heard: 1},
		"heard nowhere":       Callout{Decision: Ignored},
		"audio elsewhere":     Heard{Source: Speech, Audio: "../x.flac", AudioSHA256: someSum},
		"audio without sum":   Heard{Source: Speech, Audio: "x.flac"},
		"unlikely unlikely":   Heard{Source: Speech, LogLikelihood: nan},
		"band upside down":    Assessment{Expected: []Expected{{"current", "unit", number(2), number(1), "A", "plate", 0}}},
		"band of no source":   Assessment{Expected: []Expected{{"current", "unit", number(2), nil, "A", "", 0}}},
		"band of no end":      Assessment{Expected: []Expected{{"current", "unit", nil, nil, "A", "plate", 0}}},
		"probability":         Assessment{Causes: []Cause{{"x", -0.1, ""}}},
		"too long":            Note{Text: string(bytes.Repeat([]byte("x"), maxLine))},
	} {
		t.Run(name, func(t *testing.T) {
			w, err := Create(t.TempDir(), sampleOpened(), start)
			require.NoError(t, err)
			defer w.Close()
			before := logBytes(t, w.Dir())
			_, err = w.Append(body, start)
			require.ErrorIs(t, err, ErrRefused)
			assert.Equal(t, before, logBytes(t, w.Dir()))
			_, err = w.Append(Note{Text: "goes on"}, start)
			require.NoError(t, err)
		})
	}
	t.Run("a time that RFC 3339 can't say", func(t *testing.T) {
		w, err := Create(t.TempDir(), sampleOpened(), start)
		require.NoError(t, err)
		defer w.Close()
		_, err = w.Append(Note{Text: "x"}, time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC))
		require.ErrorIs(t, err, ErrRefused)
	})
}

func TestTheClockSetBackIsTold(t *testing.T) {
	w, err := Create(t.TempDir(), sampleOpened(), start)
	require.NoError(t, err)
	for _, at := range []time.Time{start.Add(time.Hour), start, start.Add(time.Minute)} {
		_, err = w.Append(Note{Text: "x"}, at.In(time.FixedZone("", -7*3600)))
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	r, err := Verify(w.Dir())
	require.NoError(t, err)
	assert.Equal(t, Whole, r.State)
	assert.Equal(t, []uint64{3}, r.Backwards)
}

func TestRecordingsAreVouchedFor(t *testing.T) {
	heard := func(name, content string) Heard {
		return Heard{Source: Speech, Text: "x", Audio: name, AudioSHA256: sumOf([]byte(content))}
	}
	dir := newJob(t, heard("1.flac", "one"), heard("2.flac", "two"), heard("3.flac", "three"))
	require.NoError(t, os.Mkdir(filepath.Join(dir, AudioDir), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, AudioDir, "1.flac"), []byte("one"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, AudioDir, "2.flac"), []byte("tw0"), 0o644))
	r, err := Verify(dir)
	require.NoError(t, err)
	assert.Equal(t, 1, r.AudioKept)
	assert.Equal(t, []uint64{3}, r.AudioAltered)
	assert.Equal(t, 1, r.AudioGone)
}

// A chain alone doesn't show that whole entries are gone from the end; a head
// kept elsewhere does.
func TestEntriesCutFromTheEnd(t *testing.T) {
	dir := newJob(t, sampleBodies()...)
	r, err := Verify(dir)
	require.NoError(t, err)
	kept := r.Head
	lines := bytes.SplitAfter(logBytes(t, dir), []byte("\n"))
	require.NoError(t, os.WriteFile(filepath.Join(dir, LogName), bytes.Join(lines[:5], nil), 0o644))
	r, err = VerifyAgainst(dir, kept)
	require.NoError(t, err)
	assert.Equal(t, Whole, r.State, "the chain is whole")
	assert.False(t, r.Holds(kept), "but it does not reach the head")
	old := r.Head
	w, err := Open(dir, start)
	require.NoError(t, err)
	_, err = w.Append(Note{Text: "another story"}, start)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	r, err = VerifyAgainst(dir, old)
	require.NoError(t, err)
	assert.True(t, r.Holds(old), "a head stays good while the log grows")
	assert.False(t, r.Holds(Head{old.Seq, Hash{}}))
}
