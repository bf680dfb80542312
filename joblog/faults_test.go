package joblog

import (
	"bytes"
	"errors"
	"fmt"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// memEntries reads the log of job-1 in a memFS.
func memEntries(t testing.TB, m *memFS) []Entry {
	t.Helper()
	n := m.find("jobs/job-1/" + LogName)
	require.NotNil(t, n)
	var es []Entry
	for e, err := range Read(bytes.NewReader(n.data)) {
		require.NoError(t, err)
		es = append(es, e)
	}
	return es
}

// noteOf is the note that the tests write at an entry, so that what is read
// can be told to be what was acknowledged. Some are longer than a sector.
func noteOf(seq uint64) Note {
	return Note{Text: fmt.Sprintf("%d %s", seq, bytes.Repeat([]byte("x"), int(seq*137%900)))}
}

// only fails an operation the nth time it is met, and from then on if for good.
func only(what string, nth int, forGood bool, err error) func(int, string) error {
	met := 0
	return func(_ int, op string) error {
		if op != what {
			return nil
		}
		if met++; met == nth || forGood && met > nth {
			return err
		}
		return nil
	}
}

func TestAFullDiskIsNoEnd(t *testing.T) {
	for _, fault := range []error{errFull, errShort, errors.New("I/O error")} {
		m := newMemFS(1)
		w, err := Create("jobs", sampleOpened(), start, On(m))
		require.NoError(t, err)
		_, err = w.Append(noteOf(2), start)
		require.NoError(t, err)
		m.fault = only("write", 1, false, fault)
		_, err = w.Append(noteOf(3), start)
		require.Error(t, err)
		assert.NotErrorIs(t, err, ErrUnusable)
		if errors.Is(fault, syscall.ENOSPC) {
			require.ErrorIs(t, err, syscall.ENOSPC)
			assert.ErrorContains(t, err, "entry 3 not written")
		}
		assert.Len(t, memEntries(t, m), 2, "cut back to what is whole")
		seq, err := w.Append(noteOf(3), start)
		require.NoError(t, err, "room again")
		assert.EqualValues(t, 3, seq)
		require.NoError(t, w.Close())
		assert.Len(t, memEntries(t, m), 3)
	}
}

func TestAFailedSyncIsTheEndOfTheWriter(t *testing.T) {
	m := newMemFS(1)
	w, err := Create("jobs", sampleOpened(), start, On(m))
	require.NoError(t, err)
	m.fault = only("sync", 1, false, errors.New("I/O error"))
	_, err = w.Append(noteOf(2), start)
	require.ErrorIs(t, err, ErrUnusable)
	assert.ErrorContains(t, err, "entry 2 not synced")
	_, err = w.Append(noteOf(2), start)
	require.ErrorIs(t, err, ErrUnusable, "though the disk would work again")
	assert.EqualValues(t, 1, w.Head().Seq)
	require.NoError(t, w.Close())

	w, err = Open("jobs/job-1", start, On(m))
	require.NoError(t, err)
	seq, err := w.Append(noteOf(2), start)
	require.NoError(t, err)
	assert.EqualValues(t, 2, seq)
}

func TestHalfAnEntryThatCantBeCutOff(t *testing.T) {
	m := newMemFS(3)
	w, err := Create("jobs", sampleOpened(), start, On(m))
	require.NoError(t, err)
	m.fault = func(op int, what string) error {
		if what == "write" || what == "truncate" {
			return errFull
		}
		return nil
	}
	_, err = w.Append(noteOf(2), start)
	require.ErrorIs(t, err, ErrUnusable)
	require.ErrorIs(t, err, syscall.ENOSPC)
	m.fault = nil
	_, err = w.Append(noteOf(2), start)
	require.ErrorIs(t, err, ErrUnusable)
	require.NoError(t, w.Close())
	w, err = Open("jobs/job-1", start, On(m))
	require.NoError(t, err)
	assert.EqualValues(t, "job-1", w.Opened().Job)
}

// Each operation of a job's making fails in turn: there is an error, and the
// job is there whole or not at all.
func TestCreationFailsCleanly(t *testing.T) {
	for at := 1; ; at++ {
		m := newMemFS(uint64(at))
		failed := ""
		m.fault = func(op int, what string) error {
			if op == at {
				failed = what
				return errFull
			}
			return nil
		}
		w, err := Create("jobs", sampleOpened(), start, On(m))
		if failed == "" {
			require.NoError(t, err)
			require.NoError(t, w.Close())
			require.Greater(t, at, 6)
			return
		}
		require.ErrorIs(t, err, syscall.ENOSPC, "%s at %d", failed, at)
		require.ErrorContains(t, err, "create job-1")
		m.fault = nil
		if m.find("jobs/job-1") != nil {
			require.Len(t, memEntries(t, m), 1)
			continue
		}
		w, err = Create("jobs", sampleOpened(), start, On(m))
		require.NoError(t, err)
		require.NoError(t, w.Close())
		require.Len(t, m.find("jobs").kids, 1, "nothing else remains")
	}
}

// The power goes at every operation of a job of 50 entries, written by a
// program that opens the log anew after every tenth. Whatever the disk made
// of what was not synced: every acknowledged entry is there as it was, at most
// the one in flight beside it, and the job can be carried on.
func TestThePowerGoesAtEveryOperation(t *testing.T) {
	seeds, cuts, tornTails := 6, 0, 0
	if *all {
		seeds = 100
	}
	for seed := range uint64(seeds) {
		for at := 1; ; at++ {
			m := newMemFS(seed*1_000_003 + uint64(at))
			m.fault = func(op int, _ string) error {
				if op == at {
					return errPower
				}
				return nil
			}
			created, acked := writeFifty(m)
			if !m.dead {
				require.EqualValues(t, 50, acked)
				break
			}
			cuts++
			m.powerCut()
			if m.find("jobs/job-1") == nil {
				require.False(t, created, "a job that was made is there")
				continue
			}
			w, err := Open("jobs/job-1", start, On(m))
			require.NoError(t, err, "seed %d, cut at operation %d", seed, at)
			tornTails += checkNotes(t, m, acked)
			_, err = w.Append(Note{Text: "carried on"}, start)
			require.NoError(t, err)
			require.NoError(t, w.Close())
			m.powerCut()
			last := memEntries(t, m)
			body, err := Decode(last[len(last)-1])
			require.NoError(t, err)
			require.Equal(t, Note{Text: "carried on"}, body, "what was acknowledged outlives the next cut")
		}
	}
	t.Logf("%d power cuts, %d torn last lines mended", cuts, tornTails)
	require.Positive(t, tornTails)
}

// writeFifty returns whether the job was made and the last acknowledged entry.
func writeFifty(m *memFS) (created bool, acked uint64) {
	w, err := Create("jobs", sampleOpened(), start, On(m))
	if err != nil {
		return false, 0
	}
	acked = 1
	for acked < 50 {
		if acked%10 == 0 {
			w.Close()
			if w, err = Open("jobs/job-1", start, On(m)); err != nil {
				return true, acked
			}
		}
		seq, err := w.Append(noteOf(acked+1), start)
		if err != nil {
			w.Close()
			return true, acked
		}
		acked = seq
	}
	w.Close()
	return true, acked
}

// checkNotes checks that the notes up to acked are there, at most one more,
// and after them only the telling of a torn line; it returns how many of those.
func checkNotes(t testing.TB, m *memFS, acked uint64) (torn int) {
	t.Helper()
	es := memEntries(t, m)
	require.GreaterOrEqual(t, uint64(len(es)), acked)
	for _, e := range es[1:] {
		body, err := Decode(e)
		require.NoError(t, err)
		if _, ok := body.(Torn); ok {
			torn++
			require.Greater(t, e.Seq, acked)
			continue
		}
		require.Equal(t, noteOf(e.Seq), body)
		require.LessOrEqual(t, e.Seq, acked+1)
	}
	require.LessOrEqual(t, torn, 1)
	return torn
}

// Random faults against a plain list of what was acknowledged.
func TestRandomFaultsAgainstAModel(t *testing.T) {
	seeds := 300
	if *all {
		seeds = 5000
	}
	for seed := range uint64(seeds) {
		m := newMemFS(seed)
		w, err := Create("jobs", sampleOpened(), start, On(m))
		require.NoError(t, err)
		acked := []string{}
		m.fault = func(int, string) error {
			switch m.rnd.IntN(12) {
			case 0:
				return errFull
			case 1:
				return errShort
			}
			return nil
		}
		for n := range 40 {
			text := fmt.Sprintf("%d-%d", seed, n)
			if _, err = w.Append(Note{Text: text}, start); err == nil {
				acked = append(acked, text)
				continue
			}
			if !errors.Is(err, ErrUnusable) {
				continue
			}
			require.NoError(t, w.Close())
			// Nobody gives up before the disk works again.
			for w, err = Open("jobs/job-1", start, On(m)); err != nil; {
				w, err = Open("jobs/job-1", start, On(m))
			}
		}
		require.NoError(t, w.Close())
		got := []string{}
		unacked := 0
		for _, e := range memEntries(t, m) {
			body, err := Decode(e)
			require.NoError(t, err)
			if note, ok := body.(Note); ok {
				if len(got) < len(acked) && acked[len(got)] == note.Text {
					got = append(got, note.Text)
				} else {
					unacked++ // whole on the disk though its sync failed
				}
			}
		}
		require.Equal(t, acked, got, "seed %d", seed)
		require.LessOrEqual(t, unacked, 40-len(acked))
	}
}
