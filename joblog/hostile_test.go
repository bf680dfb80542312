package joblog

import (
	"bytes"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// promptly fails a test whose work blocks, as on a pipe that nobody writes to.
func promptly(t *testing.T, do func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		do()
	}()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		t.Fatal("it blocks")
	}
}

// Whatever stands in a job's folder in place of a file is refused at once, and
// what a link points to stays as it was.
func TestOnlyRegularFiles(t *testing.T) {
	precious := filepath.Join(t.TempDir(), "precious")
	recorded := Heard{Source: Speech, Text: "x", Certainty: 1, Audio: "1.flac", AudioSHA256: sumOf([]byte("sound"))}
	put := map[string]func(name string) error{
		"pipe":        func(name string) error { return syscall.Mkfifo(name, 0o600) },
		"link":        func(name string) error { return os.Symlink(precious, name) },
		"link within": func(name string) error { return os.Symlink("beside", name) },
		"folder":      func(name string) error { return os.Mkdir(name, 0o700) },
	}
	for what, make := range put {
		for _, name := range []string{LockName, LogName} {
			t.Run(what+" as "+name, func(t *testing.T) {
				require.NoError(t, os.WriteFile(precious, []byte("precious"), 0o600))
				dir := newJob(t, sampleBodies()...)
				whole := logBytes(t, dir)
				require.NoError(t, os.WriteFile(filepath.Join(dir, "beside"), whole, 0o600))
				require.NoError(t, os.Remove(filepath.Join(dir, name)))
				require.NoError(t, make(filepath.Join(dir, name)))
				promptly(t, func() {
					_, err := Open(dir, start)
					assert.ErrorIs(t, err, ErrNotRegular)
					_, err = Verify(dir)
					if name == LogName {
						assert.ErrorIs(t, err, ErrNotRegular)
						for _, err := range Entries(dir) {
							assert.ErrorIs(t, err, ErrNotRegular)
						}
					} else {
						assert.NoError(t, err)
					}
				})
				for _, file := range []string{precious, filepath.Join(dir, "beside")} {
					b, err := os.ReadFile(file)
					require.NoError(t, err)
					assert.True(t, bytes.Equal(b, whole) || string(b) == "precious", "%s was written to", file)
				}
			})
		}
		t.Run(what+" as a recording", func(t *testing.T) {
			dir := newJob(t, recorded)
			require.NoError(t, os.WriteFile(precious, []byte("precious"), 0o600))
			require.NoError(t, os.MkdirAll(filepath.Join(dir, AudioDir), 0o700))
			require.NoError(t, make(filepath.Join(dir, AudioDir, recorded.Audio)))
			promptly(t, func() {
				r, err := Verify(dir)
				require.NoError(t, err)
				assert.Equal(t, []uint64{2}, r.AudioAltered)
			})
		})
	}
	t.Run("a link as the folder of recordings", func(t *testing.T) {
		dir := newJob(t, recorded)
		require.NoError(t, os.Symlink(t.TempDir(), filepath.Join(dir, AudioDir)))
		r, err := Verify(dir)
		require.NoError(t, err)
		assert.NotEmpty(t, r.AudioAltered)
	})
}

// The lock is on the log: taking the lock file away lets nobody in.
func TestLockFileDeleted(t *testing.T) {
	w, err := Create(t.TempDir(), sampleOpened(), start)
	require.NoError(t, err)
	defer w.Close()
	require.NoError(t, os.Remove(filepath.Join(w.Dir(), LockName)))
	_, err = Open(w.Dir(), start)
	require.ErrorIs(t, err, ErrLocked)
	assert.ErrorContains(t, err, "unknown")
}

func TestJobsArePrivate(t *testing.T) {
	jobs := filepath.Join(t.TempDir(), "new", "jobs")
	w, err := Create(jobs, sampleOpened(), start)
	require.NoError(t, err)
	defer w.Close()
	require.NoError(t, filepath.Walk(filepath.Dir(jobs), func(path string, info os.FileInfo, err error) error {
		require.NoError(t, err)
		assert.Zero(t, info.Mode().Perm()&0o077, "%s is %v", path, info.Mode())
		return nil
	}))
}

// A whole log under another job's name is no record of that job.
func TestFolderNamesItsJob(t *testing.T) {
	dir := newJob(t, sampleBodies()...)
	r, err := Verify(dir)
	require.NoError(t, err)
	assert.Empty(t, r.Folder)
	t.Chdir(dir)
	r, err = Verify(".")
	require.NoError(t, err)
	assert.Empty(t, r.Folder, "the folder has its name wherever it is named from")
	other := filepath.Join(filepath.Dir(dir), "job-9")
	require.NoError(t, os.Rename(dir, other))
	r, err = Verify(other)
	require.NoError(t, err)
	assert.Equal(t, "job-9", r.Folder)
	assert.Equal(t, Whole, r.State)
}
