package joblog

import (
	"os"
	"path/filepath"
	"testing"
)

// BenchmarkAppend is one reading's callout to stable storage, sync included.
func BenchmarkAppend(b *testing.B) {
	w, err := Create(b.TempDir(), sampleOpened(), start)
	if err != nil {
		b.Fatal(err)
	}
	defer w.Close()
	body := sampleBodies()[1]
	for b.Loop() {
		if _, err := w.Append(body, start); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkVerify is a job of 100 entries.
func BenchmarkVerify(b *testing.B) {
	m := newMemFS(1)
	w, err := Create("jobs", sampleOpened(), start, On(m))
	if err != nil {
		b.Fatal(err)
	}
	bodies := sampleBodies()
	for i := range 99 {
		if _, err := w.Append(bodies[i%len(bodies)], start); err != nil {
			b.Fatal(err)
		}
	}
	log := m.find("jobs/job-1/" + LogName).data
	dir := b.TempDir()
	if err := os.WriteFile(filepath.Join(dir, LogName), log, 0o644); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(log)))
	for b.Loop() {
		if r, err := Verify(dir); err != nil || r.State != Whole || r.Entries != 100 {
			b.Fatal(r, err)
		}
	}
}
