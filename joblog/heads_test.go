package joblog

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What cutting and rewriting with new hashes leaves whole to the chain is
// caught by the head that the writer left outside the job.
func TestWriterKeepsItsHead(t *testing.T) {
	file := filepath.Join(t.TempDir(), "state", "heads.jsonl")
	w, err := Create(t.TempDir(), sampleOpened(), start, KeepHeadIn(file))
	require.NoError(t, err)
	for range 3 {
		_, err = w.Append(Note{Text: "as it was"}, start)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	heads, err := ReadHeads(file)
	require.NoError(t, err)
	kept, ok := heads.Of(w.Dir())
	require.True(t, ok)
	assert.Equal(t, w.Head(), kept)

	whole := logBytes(t, w.Dir())
	lines := bytes.SplitAfter(whole, []byte("\n"))
	require.NoError(t, os.WriteFile(filepath.Join(w.Dir(), LogName), bytes.Join(lines[:2], nil), 0o600))
	again, err := Open(w.Dir(), start, KeepHeadIn(file))
	require.NoError(t, err, "the job can go on")
	missed, is := again.Missed()
	assert.True(t, is)
	assert.Equal(t, kept, missed)
	for range 4 { // longer than it was, and hashed throughout
		_, err = again.Append(Note{Text: "another story"}, start)
		require.NoError(t, err)
	}
	require.NoError(t, again.Close())
	heads, err = ReadHeads(file)
	require.NoError(t, err)
	still, _ := heads.Of(w.Dir())
	assert.Equal(t, kept, still, "the head that is missing stays")
	r, err := VerifyAgainst(w.Dir(), kept)
	require.NoError(t, err)
	assert.Equal(t, Whole, r.State, "the chain has been made anew")
	assert.False(t, r.Holds(kept))

	require.NoError(t, os.WriteFile(filepath.Join(w.Dir(), LogName), whole, 0o600))
	w, err = Open(w.Dir(), start, KeepHeadIn(file))
	require.NoError(t, err)
	_, is = w.Missed()
	assert.False(t, is)
	require.NoError(t, w.Close())
}

func TestHeads(t *testing.T) {
	file := filepath.Join(t.TempDir(), "heads.jsonl")
	jobs := t.TempDir()
	h, err := ReadHeads(file)
	require.NoError(t, err)
	head := func(n int) Head { return Head{Seq: uint64(n), Hash: Hash{byte(n)}} }
	a, b := filepath.Join(jobs, "a"), filepath.Join(jobs, "b")
	require.NoError(t, h.Keep(map[string]Head{a: head(1), b: head(2)}))
	link := filepath.Join(t.TempDir(), "link")
	require.NoError(t, os.Mkdir(a, 0o700))
	require.NoError(t, os.Symlink(a, link))

	// Half a line, as a crash leaves it, costs nothing else.
	f, err := os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString(`{"dir":"/x","se`)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	require.NoError(t, h.Keep(map[string]Head{b: head(3)}))
	h, err = ReadHeads(file)
	require.NoError(t, err)
	got, ok := h.Of(link)
	assert.True(t, ok, "a folder has one name")
	assert.Equal(t, head(1), got)
	got, _ = h.Of(b)
	assert.Equal(t, head(3), got)
	assert.Len(t, h.Under(jobs), 2)
	assert.Empty(t, h.Under(filepath.Dir(jobs)+"/elsewhere"))
	require.NoError(t, h.Keep(map[string]Head{b: {}}))
	h, err = ReadHeads(file)
	require.NoError(t, err)
	assert.Len(t, h.Under(jobs), 1, "one of entry 0 is forgotten")

	info, err := os.Stat(file)
	require.NoError(t, err)
	assert.Zero(t, info.Mode().Perm()&0o077)

	// Lines that count no more don't pile up.
	for n := range spareLines + 100 {
		require.NoError(t, h.Keep(map[string]Head{b: head(n%200 + 1)}))
	}
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Less(t, bytes.Count(raw, []byte("\n")), spareLines+10)

	nowhere, err := ReadHeads("")
	require.NoError(t, err)
	require.NoError(t, nowhere.Keep(map[string]Head{a: head(1)}))
}

// Several programs keep their heads in one file.
func TestHeadsOfManyWriters(t *testing.T) {
	file := filepath.Join(t.TempDir(), "heads.jsonl")
	var wg sync.WaitGroup
	for n := range 8 {
		wg.Go(func() {
			for i := range 20 {
				h, err := ReadHeads(file)
				assert.NoError(t, err)
				assert.NoError(t, h.Keep(map[string]Head{fmt.Sprintf("/jobs/%d", n): {Seq: uint64(i + 1), Hash: Hash{byte(n)}}}))
			}
		})
	}
	wg.Wait()
	h, err := ReadHeads(file)
	require.NoError(t, err)
	assert.Len(t, h.Under("/jobs"), 8)
	for n := range 8 {
		got, _ := h.Of(fmt.Sprintf("/jobs/%d", n))
		assert.EqualValues(t, 20, got.Seq)
	}
}

func TestParseHead(t *testing.T) {
	h := Head{Seq: 41, Hash: Hash{1, 2, 3}}
	got, err := ParseHead(h.String())
	require.NoError(t, err)
	assert.Equal(t, h, got)
	for _, bad := range []string{"", "41", "41:", "41:abc", "x:" + h.Hash.String(), "0:" + h.Hash.String(), "-1:" + h.Hash.String()} {
		_, err := ParseHead(bad)
		assert.ErrorContains(t, err, "write it as verify prints it", bad)
	}
}
