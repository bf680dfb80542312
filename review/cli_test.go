package review

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"callout/joblog"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// command runs "review" with arguments.
func cli(t testing.TB, args ...string) (out, errs string, err error) {
	t.Helper()
	cmd := NewCommand(Options{Words: words(t), Source: "here", Limits: DefaultLimits()})
	var o, e bytes.Buffer
	cmd.SetOut(&o)
	cmd.SetErr(&e)
	cmd.SetArgs(args)
	cmd.SilenceErrors, cmd.SilenceUsage = true, true
	err = cmd.ExecuteContext(t.Context())
	return o.String(), e.String(), err
}

func TestCommand(t *testing.T) {
	jobs := t.TempDir()
	sampleTree(t, jobs)
	out, errs, err := cli(t, jobs)
	require.NoError(t, err)
	assert.Contains(t, errs, "read 19 of 19 logs: 18 jobs")
	assert.Contains(t, errs, "damaged: ")
	assert.Equal(t, 19, strings.Count(out, "\n"), "a heading and 18 jobs")
	assert.FileExists(t, filepath.Join(jobs, indexName))

	out, errs, err = cli(t, jobs, "--json", "--technician", "T-1", "--limit", "2")
	require.NoError(t, err)
	assert.Empty(t, errs, "nothing is read twice")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	require.Len(t, lines, 2)
	var row Row
	require.NoError(t, json.Unmarshal([]byte(lines[0]), &row))
	assert.Equal(t, "deep-9", row.Job)

	for flag, want := range map[string]string{
		"--safety": "It was said dead and reads 240 V.", "--unproved": "no proof of replace contactor", "--overturned": "from compressor locked to run capacitor failed",
		"--corrected": "6 callouts", "--long": "188 minutes", "--returns": "28.0 days after unsafe", "--condemned": "proposed: it draws locked-rotor amps",
		"--damaged": "altered: line 16",
	} {
		out, _, err := cli(t, jobs, flag)
		require.NoError(t, err, flag)
		assert.Contains(t, out, want, flag)
		out, _, err = cli(t, jobs, flag, "--json")
		require.NoError(t, err, flag)
		var a Answer
		require.NoError(t, json.Unmarshal([]byte(strings.SplitN(out, "\n", 2)[0]), &a), flag)
		out, _, err = cli(t, jobs, flag, "--technician", "nobody")
		require.NoError(t, err, flag)
		assert.Contains(t, out, ": none", flag)
	}
	for _, bad := range [][]string{{}, {filepath.Join(jobs, "nowhere")}, {filepath.Join(jobs, "good", joblog.LogName)}, {jobs, "--since", "yesterday"},
		{jobs, "--until", "2026-13-01"}, {"report", "nobody"}, {"export", jobs}, {"export", jobs, "--to", t.TempDir(), "--format", "xls"}, {"report", jobs}, {"ship"}} {
		_, _, err := cli(t, bad...)
		require.Error(t, err, bad)
		assert.NotContains(t, err.Error(), "\n", bad)
	}
}

// A terminal obeys escape sequences; what was spoken must not give it any.
func TestHostileTextOnATerminal(t *testing.T) {
	jobs := t.TempDir()
	s := begin(t, jobs, "esc", "\x1b]0;owned\x07\x1b[2J\u202eU", "T\nT\r\x9b1m", march)
	s.add(joblog.Caution{Caution: "x", Say: "\x1b[31mred\u2066", Broken: true})
	s.close()
	for _, args := range [][]string{{jobs}, {jobs, "--safety"}} {
		out, _, err := cli(t, args...)
		require.NoError(t, err)
		assert.NotRegexp(t, "[\x00-\x09\x0b-\x1f\x7f\u0080-\u009f\u202e\u2066]", out)
		assert.Contains(t, out, "esc")
	}
}

func TestReportCommand(t *testing.T) {
	jobs := t.TempDir()
	sampleTree(t, jobs)
	to := filepath.Join(t.TempDir(), "report.html")
	_, _, err := cli(t, "report", filepath.Join(jobs, "good"), "-o", to)
	require.NoError(t, err)
	b, err := os.ReadFile(to)
	require.NoError(t, err)
	assert.Contains(t, string(b), "Service report, job good")
	left, err := os.ReadDir(filepath.Dir(to))
	require.NoError(t, err)
	assert.Len(t, left, 1)
	_, _, err = cli(t, jobs)
	require.NoError(t, err)
	out, _, err := cli(t, "report", "hostile", "--store", filepath.Join(jobs, indexName))
	require.NoError(t, err)
	assert.Empty(t, harmless(t, out))
}

func TestExport(t *testing.T) {
	jobs := t.TempDir()
	sampleTree(t, jobs)
	dir := t.TempDir()
	for _, format := range []Format{CSV, Parquet} {
		out, _, err := cli(t, "export", jobs, "--to", dir, "--format", string(format))
		require.NoError(t, err)
		assert.Contains(t, out, "18 jobs, ")
	}
	table := func(name string) [][]string {
		f, err := os.Open(filepath.Join(dir, name+".csv"))
		require.NoError(t, err)
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		require.NoError(t, err)
		return rows[1:]
	}
	js, err := parquet.ReadFile[jobRecord](filepath.Join(dir, "jobs.parquet"))
	require.NoError(t, err)
	rs, err := parquet.ReadFile[readingRecord](filepath.Join(dir, "readings.parquet"))
	require.NoError(t, err)
	fs, err := parquet.ReadFile[findingRecord](filepath.Join(dir, "findings.parquet"))
	require.NoError(t, err)
	// Both formats hold the same rows, and the text of Parquet is as it was.
	for i, row := range table("jobs") {
		assert.Equal(t, row, cells(js[i]))
	}
	for i, row := range table("readings") {
		assert.Equal(t, row, cells(rs[i]))
	}
	for i, row := range table("findings") {
		assert.Equal(t, row, cells(fs[i]))
	}
	assert.Len(t, js, 18)
	assert.Greater(t, len(rs), 80)
	assert.NotEmpty(t, fs)
	struck := 0
	for _, r := range rs {
		if r.Struck {
			struck++
			assert.Equal(t, "condemned", r.Job)
		}
	}
	assert.Equal(t, 6, struck)
	assert.Equal(t, march, js[len(js)-1].Opened)

	for in, want := range map[string]string{"=1+1": "'=1+1", "-x": "'-x", "+": "'+", "@a": "'@a", "\tx": "'\tx", "plain": "plain", "": ""} {
		assert.Equal(t, want, cell(in))
	}
}

// lockedBuffer is written by a server and read by a test.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}
func (l *lockedBuffer) String() string { l.mu.Lock(); defer l.mu.Unlock(); return l.b.String() }

// serving starts "review serve" and gives its address.
func serving(t *testing.T, args ...string) (address string, stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	var out lockedBuffer
	cmd := NewCommand(Options{Words: words(t), Source: "here", Limits: DefaultLimits()})
	cmd.SetOut(&out)
	cmd.SetErr(io.Discard)
	cmd.SetArgs(append([]string{"serve"}, args...))
	done := make(chan error, 1)
	go func() { done <- cmd.ExecuteContext(ctx) }()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "\n") }, 10*time.Second, 10*time.Millisecond)
	return strings.TrimSpace(out.String()), func() error { cancel(); return <-done }
}

func TestServe(t *testing.T) {
	jobs := t.TempDir()
	dir := goodCall(t, jobs, "good", "U-1", "T-1", march).close()
	address, stop := serving(t, jobs, "--listen", "127.0.0.1:0", "--every", "1s")
	require.Regexp(t, `^http://127\.0\.0\.1:\d+/$`, address)
	_, body := get(t, address)
	assert.Contains(t, body, "/call/good")
	// New entries come in by themselves.
	s := goOn(t, dir, march.Add(time.Hour))
	s.add(joblog.Note{Text: "just now"})
	s.close()
	assert.Eventually(t, func() bool { _, body := get(t, address+"?q=just+now"); return strings.Contains(body, "/call/good") }, 10*time.Second, 100*time.Millisecond)
	require.NoError(t, stop())
	_, err := http.Get(address)
	require.Error(t, err)
}

// Beyond this machine nobody gets in without the token that was printed.
func TestServeBeyondThisMachine(t *testing.T) {
	jobs := t.TempDir()
	goodCall(t, jobs, "good", "U-1", "T-1", march).close()
	_, _, err := cli(t, "serve", jobs, "--listen", "0.0.0.0:0")
	require.ErrorContains(t, err, "--host")
	address, stop := serving(t, jobs, "--listen", "0.0.0.0:0", "--host", "shop.example")
	m := regexp.MustCompile(`^http://[^/]*:(\d+)/\?token=([A-Z2-7]{26})$`).FindStringSubmatch(address)
	require.NotNil(t, m, address)
	r, body := get(t, "http://127.0.0.1:"+m[1]+"/")
	assert.Equal(t, http.StatusUnauthorized, r.StatusCode)
	assert.NotContains(t, body, "good")
	require.NoError(t, stop())
}
