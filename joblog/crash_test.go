package joblog

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	kills = flag.Int("kills", 40, "how often TestKilledWriter kills the writer")
	// What the test binary does instead of testing when it runs itself.
	childJobs = flag.String("child-jobs", "", "append to a job in this folder until killed")
	childHold = flag.Bool("child-hold", false, "hold the job instead of writing")
)

func TestMain(m *testing.M) {
	flag.Parse()
	if *childJobs != "" {
		if err := child(*childJobs, *childHold); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// child makes or opens job-1 and appends notes, telling each number on
// standard output once Append has returned it.
func child(jobs string, hold bool) error {
	w, err := Open(filepath.Join(jobs, "job-1"), start)
	if errors.Is(err, os.ErrNotExist) {
		w, err = Create(jobs, sampleOpened(), start)
	}
	if err != nil {
		return err
	}
	fmt.Println(w.Head().Seq)
	if hold {
		_, err := io.Copy(io.Discard, os.Stdin)
		return err
	}
	for {
		seq, err := w.Append(noteOf(w.Head().Seq+1), start)
		if err != nil {
			return err
		}
		fmt.Println(seq)
	}
}

func startChild(t testing.TB, jobs string, extra ...string) (*exec.Cmd, io.WriteCloser, *bufio.Reader) {
	t.Helper()
	c := exec.Command(os.Args[0], append([]string{"-child-jobs", jobs}, extra...)...)
	c.Stderr = os.Stderr
	in, err := c.StdinPipe()
	require.NoError(t, err)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	return c, in, bufio.NewReader(out)
}

// A writer is killed at a random moment, again and again, in making the job or
// in appending. Every number that it acknowledged is in the log, as written;
// at most one entry more was on its way.
func TestKilledWriter(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	jobs, entries, torn, made := "", uint64(0), 0, 0
	for n := range *kills {
		if n%20 == 0 {
			jobs = t.TempDir()
			entries = 0
		}
		c, _, out := startChild(t, jobs)
		// Half of the kills are counted from the first word, so that they fall
		// among the appends; the others from the start of the process.
		line := ""
		if n%2 == 0 {
			line, _ = out.ReadString('\n')
			made++
		}
		timer := time.AfterFunc(time.Duration(rnd.IntN(12_000))*time.Microsecond, func() { _ = c.Process.Kill() })
		acked := entries
		for {
			if v, err := strconv.ParseUint(strings.TrimSpace(line), 10, 64); err == nil && strings.HasSuffix(line, "\n") {
				acked = v
			}
			var err error
			if line, err = out.ReadString('\n'); err != nil {
				break
			}
		}
		require.Error(t, c.Wait(), "killed")
		timer.Stop()

		dir := filepath.Join(jobs, "job-1")
		f, err := os.Open(filepath.Join(dir, LogName))
		if errors.Is(err, os.ErrNotExist) {
			require.Zero(t, acked, "an acknowledged job is there")
			continue
		}
		require.NoError(t, err)
		r, err := verify(f, dir, Head{})
		require.NoError(t, err)
		require.NoError(t, f.Close())
		require.NotEqual(t, Altered, r.State)
		if r.State == TornTail {
			torn++
		}
		require.GreaterOrEqual(t, r.Entries, acked)
		require.LessOrEqual(t, r.Entries, acked+2, "one on its way, and one that told of a torn line")
		for e, err := range Entries(dir) {
			if err != nil {
				break // the torn line that verify saw
			}
			body, err := Decode(e)
			require.NoError(t, err)
			if note, ok := body.(Note); ok {
				require.Equal(t, noteOf(e.Seq), note)
			}
		}
		entries = r.Entries
	}
	t.Logf("%d kills (%d after the job was open), %d torn last lines", *kills, made, torn)
}

func TestTwoProcesses(t *testing.T) {
	jobs := t.TempDir()
	c, in, out := startChild(t, jobs, "-child-hold")
	_, err := out.ReadString('\n')
	require.NoError(t, err)
	_, err = Open(filepath.Join(jobs, "job-1"), start)
	require.ErrorIs(t, err, ErrLocked)
	assert.ErrorContains(t, err, fmt.Sprintf("by process %d", c.Process.Pid))
	_, err = Create(jobs, sampleOpened(), start)
	require.ErrorIs(t, err, ErrExists)
	require.NoError(t, c.Process.Kill())
	require.NoError(t, in.Close())
	require.Error(t, c.Wait())
	w, err := Open(filepath.Join(jobs, "job-1"), start)
	require.NoError(t, err, "a dead process holds nothing")
	require.NoError(t, w.Close())
}

func TestManyGoroutines(t *testing.T) {
	w, err := Create(t.TempDir(), sampleOpened(), start)
	require.NoError(t, err)
	var (
		wg   sync.WaitGroup
		mu   sync.Mutex
		seqs = map[uint64]bool{}
	)
	for range 8 {
		wg.Go(func() {
			for range 10 {
				seq, err := w.Append(Note{Text: "x"}, start)
				_ = w.Head()
				mu.Lock()
				assert.NoError(t, err)
				assert.False(t, seqs[seq])
				seqs[seq] = true
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	require.NoError(t, w.Close())
	r, err := Verify(w.Dir())
	require.NoError(t, err)
	assert.Equal(t, Whole, r.State)
	assert.EqualValues(t, 81, r.Entries)
}
