package review

import (
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"callout/joblog"

	"github.com/stretchr/testify/require"
)

// unsynced is the disk without its syncs: these tests make thousands of logs
// and none of them cuts the power.
type unsynced struct{}

type unsyncedFile struct{ *os.File }

func (unsyncedFile) Sync() error { return nil }

func (unsynced) OpenFile(name string, flag int, perm fs.FileMode) (joblog.File, error) {
	f, err := os.OpenFile(name, flag, perm)
	return unsyncedFile{f}, err
}
func (unsynced) MkdirTemp(dir, pattern string) (string, error) { return os.MkdirTemp(dir, pattern) }
func (unsynced) MkdirAll(name string, perm fs.FileMode) error  { return os.MkdirAll(name, perm) }
func (unsynced) Rename(from, to string) error                  { return os.Rename(from, to) }
func (unsynced) RemoveAll(name string) error                   { return os.RemoveAll(name) }
func (unsynced) SyncDir(string) error                          { return nil }
func (unsynced) Lock(string) (io.Closer, error)                { return io.NopCloser(nil), nil }
func number(v float64) *float64                                { return &v }
func amps(v float64) joblog.Reading                            { return reading("current", "compressor_common", v, "A") }
func reading(q, p string, v float64, unit string) joblog.Reading {
	return joblog.Reading{Quantity: q, Place: p, Value: v, Unit: unit, Certainty: 0.98}
}

var march = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// script writes one log, a few seconds an entry.
type script struct {
	t  testing.TB
	w  *joblog.Writer
	at time.Time
}

func begin(t testing.TB, jobs, job, unit, technician string, at time.Time) *script {
	t.Helper()
	w, err := joblog.Create(jobs, joblog.Opened{Program: "callout test", Job: job, Unit: unit, Technician: technician,
		Complaint: "runs all day, house stays warm"}, at, joblog.On(unsynced{}))
	require.NoError(t, err)
	return &script{t, w, at}
}

func (s *script) add(bodies ...joblog.Body) (last uint64) {
	s.t.Helper()
	for _, b := range bodies {
		s.at = s.at.Add(20 * time.Second)
		seq, err := s.w.Append(b, s.at)
		require.NoError(s.t, err)
		last = seq
	}
	return last
}

func (s *script) after(d time.Duration) *script { s.at = s.at.Add(d); return s }

// hear is an utterance with what was made of it.
func (s *script) hear(text string, c joblog.Callout) uint64 {
	s.t.Helper()
	c.Heard = s.add(joblog.Heard{Source: joblog.Speech, Text: text, LogLikelihood: -1, Engine: "test", DurationMS: 1800})
	if c.Decision == "" {
		c.Decision = joblog.Recorded
	}
	return s.add(c)
}

func (s *script) read(text string, rs ...joblog.Reading) uint64 {
	s.t.Helper()
	return s.hear(text, joblog.Callout{Readings: rs})
}

func (s *script) energy(outdoor, capacitor string) {
	s.add(joblog.Energy{State: "outdoor unit " + plain(outdoor), Outdoor: outdoor, Capacitor: capacitor})
}

func (s *script) close() string {
	s.t.Helper()
	require.NoError(s.t, s.w.Close())
	return s.w.Dir()
}

func causes(p ...float64) []joblog.Cause {
	names := []string{"run_capacitor_failed", "compressor_locked", "contactor_pitted", "low_charge"}
	var cs []joblog.Cause
	for i, v := range p {
		cs = append(cs, joblog.Cause{Fault: names[i], Probability: v})
	}
	return cs
}

const hostile = `<script>document.title='owned';document.body.innerHTML='owned'</script>"'><img src=x onerror=document.title='owned'>`

// goodCall is a call as it should go: made safe, decided, mended, proved.
func goodCall(t testing.TB, jobs, job, unit, technician string, at time.Time) *script {
	s := begin(t, jobs, job, unit, technician, at)
	s.energy("live", "charged")
	s.add(joblog.Caution{Caution: "safety_notice", Say: "Local codes come first."})
	s.read("nameplate RLA twelve point six", reading("rated_load_amps", "compressor", 12.6, "A"))
	s.read("nameplate LRA sixty one", reading("locked_rotor_amps", "compressor", 61, "A"))
	s.read("rated forty five", reading("rated_capacitance", "herm", 45, "uF"))
	s.add(joblog.Assessment{Causes: causes(0.45, 0.3, 0.15, 0.1)},
		joblog.Next{Test: "compressor_current", Quantity: "current", Place: "compressor_common", Does: "test", Needs: "run", Say: "Clamp the common wire."})
	s.read("compressor amps fifty one", amps(51))
	s.add(joblog.Assessment{Causes: causes(0.62, 0.36, 0.01, 0.01), Expected: []joblog.Expected{
		{Quantity: "current", Place: "compressor_common", Low: number(6), High: number(12.6), Unit: "A", Source: "nameplate rated-load amps"}}})
	s.hear("compressor hums", joblog.Callout{Observations: []joblog.Observation{{Quantity: "compressor_sound", Place: "compressor", Value: "hum", Certainty: 0.9}}})
	s.hear("uh hand me the drill", joblog.Callout{Decision: joblog.Ignored, Because: "chatter"})
	c := s.hear("capacitor fifteen", joblog.Callout{Decision: joblog.Asked, Because: "not heard surely enough"})
	s.add(joblog.Question{Callout: c, Asks: joblog.Confirm, Say: "Fifteen?"}, joblog.Said{Text: "Fifteen?", Way: joblog.Spoken})
	s.energy("declared_dead", "charged")
	s.energy("proved_dead", "bled")
	s.energy("proved_dead", "proved")
	v := s.read("herm reads nothing", joblog.Reading{Quantity: "capacitance", Place: "herm", Unit: "uF", Qualifier: joblog.Nothing, Certainty: 1})
	s.add(joblog.Assessment{Causes: causes(0.97, 0.02, 0.005, 0.005), Verdict: "run_capacitor_failed", Because: "it reads nothing of 45 µF", Entries: []uint64{v},
		Expected: []joblog.Expected{{Quantity: "capacitance", Place: "herm", Low: number(42.75), High: number(47.25), Unit: "uF", Source: "label, 45 µF ±5%"}}})
	r := s.add(joblog.Repair{Repair: "replace_run_capacitor", Part: "run capacitor", Fault: "run_capacitor_failed"})
	s.energy("live", "charged")
	p := s.read("compressor amps eight point two", amps(8.2))
	s.add(joblog.Proof{Repair: r, Proved: true, Because: "8.2 A, below the rated 12.6 A", Entries: []uint64{p}})
	return s
}

func (s *script) signOff() string {
	s.add(joblog.Closed{Outcome: "repaired", Verdict: "run_capacitor_failed", Proved: true, Text: "Capacitor replaced, runs."})
	return s.close()
}

// sampleTree is a small firm: every question has answers in it.
func sampleTree(t testing.TB, jobs string) {
	goodCall(t, jobs, "good", "U-1", "T-1", march).signOff()

	s := goodCall(t, jobs, "hostile", hostile, hostile, march.Add(24*time.Hour))
	s.hear(hostile, joblog.Callout{Decision: joblog.Ignored, Because: hostile})
	s.add(joblog.Note{Text: hostile}, joblog.Caution{Caution: hostile, Say: hostile, Broken: true},
		joblog.Assessment{Causes: []joblog.Cause{{Fault: hostile, Probability: 1, Because: hostile}}, Verdict: hostile, Because: hostile},
		joblog.Repair{Repair: hostile, Part: hostile}, joblog.Said{Text: hostile, Way: joblog.Spoken})
	s.close()

	s = begin(t, jobs, "unsafe", "U-2", "T-2", march.Add(48*time.Hour))
	s.energy("live", "charged")
	s.add(joblog.Caution{Caution: "contradicts_energy", Say: "It was said dead and reads 240 V.", Broken: true},
		joblog.Repair{Repair: "replace_contactor", Part: "contactor"})
	s.add(joblog.Closed{Outcome: "repaired"})
	s.close()

	s = begin(t, jobs, "condemned", "U-2", "T-1", march.Add(30*24*time.Hour))
	s.read("compressor amps fifty eight", amps(58))
	s.add(joblog.Assessment{Causes: causes(0.1, 0.9), Verdict: "compressor_locked", Because: "it draws locked-rotor amps on a proved capacitor"},
		joblog.Next{Does: "repair", Repair: "replace_compressor", Say: "The compressor is locked."})
	s.add(joblog.Assessment{Causes: causes(0.9, 0.1), Verdict: "run_capacitor_failed", Because: "the capacitor was not good after all"})
	for range 6 {
		c := s.read("amps fifteen", amps(15))
		s.add(joblog.Retracted{Entry: c, Why: "corrected"})
	}
	s.after(3 * time.Hour).add(joblog.Note{Text: "back from the store"})
	s.close()

	for i := range 12 {
		goodCall(t, filepath.Join(jobs, "deep", fmt.Sprint(i%3)), fmt.Sprintf("deep-%d", i), fmt.Sprintf("U-%d", 10+i%5), fmt.Sprintf("T-%d", i%4),
			march.Add(time.Duration(i)*9*24*time.Hour)).signOff()
	}
	for _, dir := range []string{"torn", "altered", "nothing"} {
		goodCall(t, jobs, dir, "U-9", "T-3", march.Add(time.Hour)).close()
	}
	change(t, filepath.Join(jobs, "torn"), func(b []byte) []byte { return b[:len(b)-40] })
	change(t, filepath.Join(jobs, "altered"), func(b []byte) []byte { b[len(b)/2] ^= 1; return b })
	change(t, filepath.Join(jobs, "nothing"), func(b []byte) []byte { return b[:20] })
}

// change rewrites a log, with a time of change that differs.
func change(t testing.TB, dir string, how func([]byte) []byte) {
	t.Helper()
	name := filepath.Join(dir, joblog.LogName)
	b, err := os.ReadFile(name)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(name, how(b), 0o644))
	require.NoError(t, os.Chtimes(name, time.Time{}, time.Now().Add(time.Duration(rand.IntN(1e9)))))
}

// goOn opens a log again.
func goOn(t testing.TB, dir string, at time.Time) *script {
	t.Helper()
	w, err := joblog.Open(dir, at, joblog.On(unsynced{}))
	require.NoError(t, err)
	return &script{t, w, at}
}
