package joblog

import (
	"bytes"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// all asks for every case where a quick run takes a share of them:
//
//	go test ./joblog -all -kills 1000
var all = flag.Bool("all", false, "try every case, not a share of them")

// see verifies bytes as if they were a log.
func see(t testing.TB, log []byte) Report {
	t.Helper()
	r, err := verify(bytes.NewReader(log), "", Head{})
	require.NoError(t, err)
	return r
}

func sampleLog(t testing.TB) []byte {
	return logBytes(t, newJob(t, append(sampleBodies(), Closed{Outcome: "repaired"})...))
}

// Cut anywhere, a log yields the entries before the cut, and says that its
// last line is torn unless the cut is between lines.
func TestCutAtEveryByte(t *testing.T) {
	log := sampleLog(t)
	for n := range log {
		r := see(t, log[:n])
		whole := uint64(bytes.Count(log[:n], []byte("\n")))
		require.Equal(t, whole, r.Entries, "cut at %d", n)
		if n > 0 && log[n-1] == '\n' {
			require.Equal(t, Whole, r.State, "cut at %d", n)
			require.False(t, r.Closed)
			continue
		}
		require.Equal(t, TornTail, r.State, "cut at %d", n)
		require.Equal(t, whole+1, r.Damage.Line)
		require.EqualValues(t, bytes.LastIndexByte(log[:n], '\n')+1, r.Damage.Offset)
	}
}

// Each single byte changed to each other value is found, in its line.
func TestEveryByteChanged(t *testing.T) {
	log := logBytes(t, newJob(t, Note{Text: "a"}, Closed{Outcome: "b"}))
	line, changes := uint64(1), 0
	for i, was := range log {
		for v := range 256 {
			if byte(v) == was || !*all && (v+i)%16 != 0 && v != 0 {
				continue
			}
			log[i] = byte(v)
			r, err := verify(bytes.NewReader(log), "", Head{})
			if err != nil || r.State == Whole || r.Damage.Line != line || r.Entries != line-1 {
				t.Fatalf("byte %d changed from %q to %q: %+v %v", i, was, byte(v), r, err)
			}
			// A newline that became a zero looks like a write cut short.
			if torn := was == '\n' && i == len(log)-1 && v == 0; torn != (r.State == TornTail) {
				t.Fatalf("byte %d changed from %q to %q: %s", i, was, byte(v), r.State)
			}
			changes++
		}
		log[i] = was
		if was == '\n' {
			line++
		}
	}
	t.Logf("%d changes, all found", changes)
}

// Every single bit of a log with every kind of entry.
func TestEveryBitFlipped(t *testing.T) {
	log := sampleLog(t)
	line, flips := uint64(1), 0
	for i := range log {
		for bit := range 8 {
			if !*all && (i+bit)%8 != 0 {
				continue
			}
			log[i] ^= 1 << bit
			r, err := verify(bytes.NewReader(log), "", Head{})
			if err != nil || r.State != Altered || r.Damage.Line != line {
				t.Fatalf("byte %d bit %d: %+v %v", i, bit, r, err)
			}
			log[i] ^= 1 << bit
			flips++
		}
		if log[i] == '\n' {
			line++
		}
	}
	t.Logf("%d flips, all found", flips)
}

func TestLinesMovedAddedAndTakenAway(t *testing.T) {
	log := sampleLog(t)
	lines := bytes.SplitAfter(log, []byte("\n"))
	lines = lines[:len(lines)-1]
	other := lineOf(Entry{Seq: 2, At: start, Kind: KindNote, Body: []byte(`{"text":"of another job"}`), Prev: Hash{1}})
	check := func(what string, at int, changed [][]byte) {
		t.Helper()
		r := see(t, bytes.Join(changed, nil))
		require.Equal(t, Altered, r.State, what)
		require.LessOrEqual(t, r.Entries, uint64(at), what)
	}
	for i := range lines {
		for j := range i {
			swapped := slices.Clone(lines)
			swapped[i], swapped[j] = swapped[j], swapped[i]
			check("swapped", j, swapped)
		}
		check("repeated", i+1, slices.Insert(slices.Clone(lines), i, lines[i]))
		check("inserted", i, slices.Insert(slices.Clone(lines), i, other))
		check("empty line inserted", i, slices.Insert(slices.Clone(lines), i, []byte("\n")))
		if i < len(lines)-1 { // the last gone: see TestEntriesCutFromTheEnd
			check("taken away", i, slices.Delete(slices.Clone(lines), i, i+1))
		}
		for j := range i {
			if i < len(lines)-1 {
				check("a stretch taken away", j, slices.Delete(slices.Clone(lines), j, i))
			}
		}
	}
	check("added after the end", len(lines), append(slices.Clone(lines), other))
	check("the log twice", len(lines), append(slices.Clone(lines), lines...))
}

// A forged line whose own hash is right is still not part of the chain, and
// one that says the same in another form is refused.
func TestForgedLines(t *testing.T) {
	good, first := Entry{Seq: 1, At: start, Kind: KindOpened}, sampleOpened()
	first.Schema = Schema
	good.Body, _ = encodeBody(first)
	good, line := good.sealed()
	second := Entry{Seq: 2, At: start, Kind: KindNote, Body: []byte(`{"text":"x"}`), Prev: good.Hash}
	require.Equal(t, Whole, see(t, append(line, lineOf(second)...)).State)
	for name, e := range map[string]Entry{
		"another number":    {3, start, KindNote, second.Body, good.Hash, Hash{}},
		"another past":      {2, start, KindNote, second.Body, Hash{1}, Hash{}},
		"opened again":      {2, start, KindOpened, good.Body, good.Hash, Hash{}},
		"unknown kind":      {2, start, "gossip", second.Body, good.Hash, Hash{}},
		"unknown field":     {2, start, KindNote, []byte(`{"text":"x","more":1}`), good.Hash, Hash{}},
		"space in the body": {2, start, KindNote, []byte(`{"text": "x"} `), good.Hash, Hash{}},
		"no body":           {2, start, KindNote, []byte(`null`), good.Hash, Hash{}},
		"not JSON":          {2, start, KindNote, []byte(`{"text":`), good.Hash, Hash{}},
		"smuggled field":    {2, start, KindNote, []byte(`{"text":"x"},"kind":"said"`), good.Hash, Hash{}},
	} {
		r := see(t, append(slices.Clone(line), lineOf(e)...))
		assert.Equal(t, Altered, r.State, name)
		assert.EqualValues(t, 1, r.Entries, name)
	}
	newer := good
	newer.Body = bytes.Replace(good.Body, []byte(`"schema":1`), []byte(`"schema":2`), 1)
	_, err := verify(bytes.NewReader(lineOf(newer)), "", Head{})
	require.ErrorIs(t, err, ErrNewer)
	note := second
	note.Seq, note.Prev = 1, Hash{}
	assert.Equal(t, Altered, see(t, lineOf(note)).State, "a log begins with its opening")
}

func lineOf(e Entry) []byte {
	_, line := e.sealed()
	return line
}

// Wherever a log is cut, opening it sets the torn line aside, tells so, and
// the log goes on from the last whole entry.
func TestTornTailsAreMended(t *testing.T) {
	full := logBytes(t, newJob(t, sampleBodies()[:4]...))
	first := bytes.IndexByte(full, '\n') + 1
	for n := range full {
		if !*all && n%13 != 0 && full[max(n-1, 0)] != '\n' {
			continue
		}
		dir := t.TempDir()
		name := filepath.Join(dir, LogName)
		require.NoError(t, os.WriteFile(name, full[:n], 0o644))
		w, err := Open(dir, start)
		if n < first {
			var d *Damage
			require.ErrorAs(t, err, &d, "cut at %d", n)
			require.EqualValues(t, 1, d.Line)
			require.Equal(t, full[:n], logBytes(t, dir), "a log of nothing whole is left as it is")
			continue
		}
		require.NoError(t, err, "cut at %d", n)
		whole := uint64(bytes.Count(full[:n], []byte("\n")))
		tail := full[bytes.LastIndexByte(full[:n], '\n')+1 : n]
		want := whole + 1
		if len(tail) > 0 {
			want++
			aside, err := os.ReadFile(filepath.Join(dir, "log.torn-1"))
			require.NoError(t, err)
			require.Equal(t, tail, aside)
		}
		seq, err := w.Append(Note{Text: "after"}, start)
		require.NoError(t, err)
		require.Equal(t, want, seq)
		require.NoError(t, w.Close())
		es := readAll(t, dir)
		require.Len(t, es, int(want))
		if len(tail) > 0 {
			body, err := Decode(es[whole])
			require.NoError(t, err)
			require.Equal(t, Torn{File: "log.torn-1", Bytes: int64(len(tail)), SHA256: sumOf(tail)}, body)
		}
	}
}

// What a power cut leaves: a file grown by blocks that never reached the disk.
func TestSectorsOfZeros(t *testing.T) {
	full := logBytes(t, newJob(t, Note{Text: string(bytes.Repeat([]byte("long "), 400))}))
	first := bytes.IndexByte(full, '\n') + 1
	for name, log := range map[string][]byte{
		"all zeros":          append(slices.Clone(full[:first]), make([]byte, 1000)...),
		"a hole, then text":  slices.Concat(full[:1024], make([]byte, 512), full[1536:]),
		"text, then zeros":   slices.Concat(full[:1024], make([]byte, 1500)),
		"all but the ending": slices.Concat(full[:len(full)-1], make([]byte, 1)),
	} {
		r := see(t, log)
		assert.Equal(t, TornTail, r.State, name)
		assert.EqualValues(t, 1, r.Entries, name)
	}
	// The same in the middle of a log is no crash's doing.
	w := newJob(t, Note{Text: string(bytes.Repeat([]byte("long "), 400))}, Note{Text: "after"})
	log := logBytes(t, w)
	copy(log[1024:1536], make([]byte, 512))
	assert.Equal(t, Altered, see(t, log).State)
}

func TestADamagedMiddleIsNeverMended(t *testing.T) {
	dir := newJob(t, sampleBodies()...)
	log := logBytes(t, dir)
	log[len(log)/2] ^= 1
	require.NoError(t, os.WriteFile(filepath.Join(dir, LogName), log, 0o644))
	_, err := Open(dir, start)
	var d *Damage
	require.ErrorAs(t, err, &d)
	assert.False(t, d.Torn)
	assert.Equal(t, log, logBytes(t, dir))
	torn, err := filepath.Glob(filepath.Join(dir, tornName+"*"))
	require.NoError(t, err)
	assert.Empty(t, torn)
	n := uint64(0)
	for e, err := range Entries(dir) {
		if err != nil {
			require.ErrorAs(t, err, &d)
			break
		}
		n = e.Seq
	}
	assert.Equal(t, d.Line-1, n, "readable up to the damage")
}

func TestAReaderThatFails(t *testing.T) {
	broken := errors.New("the disk is gone")
	log := sampleLog(t)
	var last error
	for _, err := range Read(&failingReader{log[:len(log)/2], broken}) {
		last = err
	}
	require.ErrorIs(t, last, broken)
	var d *Damage
	assert.False(t, errors.As(last, &d), "a failing disk is not damage to the record")
}

type failingReader struct {
	data []byte
	err  error
}

func (r *failingReader) Read(p []byte) (int, error) {
	if len(r.data) == 0 {
		return 0, r.err
	}
	n := copy(p, r.data)
	r.data = r.data[n:]
	return n, nil
}

func TestALineWithoutEnd(t *testing.T) {
	log := append(sampleLog(t), bytes.Repeat([]byte("x"), maxLine+1)...)
	assert.Equal(t, Altered, see(t, log).State)
}

func FuzzRead(f *testing.F) {
	log := sampleLog(f)
	f.Add(log)
	f.Add(log[:len(log)-1])
	f.Add(append(log[:700:700], make([]byte, 600)...))
	f.Add([]byte("{}\n"))
	none := f.TempDir() // no recordings
	f.Fuzz(func(t *testing.T, data []byte) {
		var out []byte
		for e, err := range Read(bytes.NewReader(data)) {
			if err != nil {
				break
			}
			if body, err := Decode(e); err == nil {
				// What can be decoded can be written again.
				if _, err := encodeBody(body); err != nil {
					t.Fatal(err)
				}
			}
			out = append(out, lineOf(e)...)
		}
		// Whatever is believed is, byte for byte, what a writer writes.
		if !bytes.HasPrefix(data, out) {
			t.Fatal("believed something that is not there")
		}
		if r, err := verify(bytes.NewReader(data), none, Head{}); err == nil && r.State == Whole && len(out) != len(data) {
			t.Fatal("whole, but not all of it was read")
		}
	})
}

// Bodies behind a hash that is right, as a forger or another program may write
// them: what is read can be written, and reads the same again.
func FuzzDecode(f *testing.F) {
	for _, b := range append(sampleBodies(), sampleOpened(), Closed{Outcome: "x"}) {
		raw, err := encodeBody(b)
		require.NoError(f, err)
		f.Add(string(b.Kind()), []byte(raw))
	}
	f.Fuzz(func(t *testing.T, kind string, raw []byte) {
		body, err := Decode(Entry{Kind: Kind(kind), Body: raw})
		if err != nil {
			return
		}
		first, err := encodeBody(body)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Decode(Entry{Kind: Kind(kind), Body: first})
		if err != nil {
			t.Fatalf("%s: %v", first, err)
		}
		if second, err := encodeBody(again); err != nil || !bytes.Equal(first, second) {
			t.Fatalf("%s and then %s: %v", first, second, err)
		}
	})
}
