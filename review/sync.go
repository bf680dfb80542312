package review

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"callout/joblog"

	"github.com/jackc/pgx/v5/pgconn"
)

// Synced is what Sync did.
type Synced struct {
	Seen    int // logs met
	Read    int // of them, new or grown since
	Jobs    int // jobs added or gone on with
	Entries uint64
	Damaged []string // logs that can't be wholly believed, with why
	Gone    []string // folders of jobs whose head is kept and whose log is not there
}

// states of a log in the index, beside those of joblog.
const (
	// stateCut: entries that the index had are gone from the end.
	stateCut = "cut short"
	// stateOther: from some entry on the log tells another story than the index.
	stateOther = "rewritten"
)

// maxLog bounds the memory that one log can take, in bytes: a hundred times a
// long call.
const maxLog = 128 << 20

// batch is how many logs go into one transaction.
const batch = 100

// Sync brings the store up to date with the logs under the folder root. Source
// names the machine that they lie on. Only logs whose size or time changed are
// read. It may be run again at any time, by any number of machines, and after
// any interruption: what is in the store already is not added twice, and a log
// that contradicts the store never replaces what the store has.
func (s *Store) Sync(ctx context.Context, source, root string) (Synced, error) {
	var done Synced
	root, err := filepath.Abs(root)
	if err != nil {
		return done, fmt.Errorf("review: sync: %w", err)
	}
	known, err := s.knownFiles(ctx, source)
	if err != nil {
		return done, fmt.Errorf("review: sync: %w", err)
	}
	heads, err := joblog.ReadHeads(s.heads)
	if err != nil {
		return done, fmt.Errorf("review: sync: %w", err)
	}
	var todo []logFile
	flush := func() error {
		err := s.ingest(ctx, source, todo, heads, &done)
		todo = todo[:0]
		return err
	}
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			if path == root {
				return err
			}
			done.Damaged = append(done.Damaged, fmt.Sprintf("%s: %v", path, err))
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if d.IsDir() && path != root && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if !d.Type().IsRegular() || d.Name() != joblog.LogName {
			return nil
		}
		info, err := d.Info()
		if err != nil {
			done.Damaged = append(done.Damaged, fmt.Sprintf("%s: %v", path, err))
			return nil
		}
		done.Seen++
		f := logFile{dir: filepath.Dir(path), size: info.Size(), changed: info.ModTime().UnixNano()}
		if k, ok := known[f.dir]; ok && k == (fingerprint{f.size, f.changed}) {
			return nil
		}
		if todo = append(todo, f); len(todo) < batch {
			return nil
		}
		return flush()
	})
	if err == nil {
		err = flush()
	}
	if err == nil {
		done.Gone = gone(heads, root)
	}
	if err != nil {
		return done, fmt.Errorf("review: sync %s: %d of the logs met are in the store, run it again to go on: %w", root, done.Read, err)
	}
	return done, nil
}

// gone lists the folders under root of which a head is kept, and no log is there.
func gone(heads *joblog.Heads, root string) []string {
	var dirs []string
	for _, dir := range heads.Under(root) {
		if filepath.Base(dir) == indexName {
			continue
		}
		if _, err := os.Lstat(filepath.Join(dir, joblog.LogName)); errors.Is(err, fs.ErrNotExist) {
			dirs = append(dirs, dir)
		}
	}
	return dirs
}

type logFile struct {
	dir           string
	size, changed int64
}

type fingerprint struct{ size, changed int64 }

func (s *Store) knownFiles(ctx context.Context, source string) (map[string]fingerprint, error) {
	rows, err := s.db.QueryContext(ctx, s.sql(`SELECT path, size, changed FROM files WHERE source = ?`), source)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	known := map[string]fingerprint{}
	for rows.Next() {
		var path string
		var f fingerprint
		if err := rows.Scan(&path, &f.size, &f.changed); err != nil {
			return nil, err
		}
		known[path] = f
	}
	return known, rows.Err()
}

// ingest takes some logs in one transaction. Two machines that ship the same
// jobs at once may stand in each other's way; one of them starts over.
func (s *Store) ingest(ctx context.Context, source string, files []logFile, heads *joblog.Heads, done *Synced) error {
	if len(files) == 0 {
		return nil
	}
	for tries := 0; ; tries++ {
		before := *done
		read := map[string]joblog.Head{}
		err := s.ingestOnce(ctx, ingestion{Store: s, source: source, heads: heads, read: read, done: done}, files)
		if err == nil {
			return heads.Keep(read)
		}
		*done = before
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || tries == 10 || pg.Code != "40P01" && pg.Code != "40001" && pg.Code != "23505" {
			return err
		}
	}
}

func (s *Store) ingestOnce(ctx context.Context, in ingestion, files []logFile) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // it fails after a commit, as it should
	in.tx = tx
	for _, f := range files {
		if err := in.file(ctx, f); err != nil {
			return fmt.Errorf("%s: %w", f.dir, err)
		}
	}
	return tx.Commit()
}

type ingestion struct {
	*Store
	tx     *sql.Tx
	source string
	heads  *joblog.Heads
	read   map[string]joblog.Head // by folder, of logs that hold what was kept of them
	done   *Synced
}

func (in ingestion) exec(ctx context.Context, q string, args ...any) error {
	_, err := in.tx.ExecContext(ctx, in.sql(q), args...)
	return err
}

// log is one log as read from its file.
type log struct {
	facts  Facts
	state  string
	damage string
	hashes []string // of every entry
	last   joblog.Hash
	ends   []int64 // of every entry's line, in raw
	raw    []byte
}

// file takes one log.
func (in ingestion) file(ctx context.Context, f logFile) error {
	l := log{state: string(joblog.Altered), damage: fmt.Sprintf("%d bytes, more than any call", f.size)}
	var err error
	if f.size <= maxLog {
		l, err = readLog(f.dir)
	}
	if err != nil && !errors.Is(err, joblog.ErrNewer) {
		return err
	}
	if err != nil {
		l.state, l.damage = "newer", err.Error()
	}
	in.done.Read++
	in.compare(f.dir, &l)
	if l.facts.Job != "" {
		if err := in.job(ctx, f, &l); err != nil {
			return err
		}
		if l.state == stateCut || l.state == stateOther {
			delete(in.read, f.dir) // the index knows better
		}
	}
	if l.state != string(joblog.Whole) {
		in.done.Damaged = append(in.done.Damaged, fmt.Sprintf("%s: %s: %s", f.dir, l.state, l.damage))
	}
	return in.exec(ctx, `INSERT INTO files (source, path, size, changed, job, state, damage) VALUES (?,?,?,?,?,?,?)
		ON CONFLICT (source, path) DO UPDATE SET size = excluded.size, changed = excluded.changed,
		job = excluded.job, state = excluded.state, damage = excluded.damage`,
		in.source, f.dir, f.size, f.changed, l.facts.Job, l.state, l.damage)
}

// compare holds a log against the head that was kept of it.
func (in ingestion) compare(dir string, l *log) {
	kept, ok := in.heads.Of(dir)
	if ok && !l.has(kept.Seq, kept.Hash.String()) {
		if l.state == string(joblog.Whole) {
			l.state, l.damage = missing(kept, l.facts.Entries)
		}
		return
	}
	if n := len(l.hashes); n > 0 {
		in.read[dir] = joblog.Head{Seq: uint64(n), Hash: l.last}
	}
}

// missing is the state of a whole log that does not go through a kept head, and why.
func missing(kept joblog.Head, entries uint64) (state, why string) {
	if entries < kept.Seq {
		return stateCut, fmt.Sprintf("a head of %d entries was kept of it, now it has %d", kept.Seq, entries)
	}
	return stateOther, fmt.Sprintf("entry %d is not the one whose head was kept", kept.Seq)
}

// readLog reads and checks a log as far as it can be believed.
func readLog(dir string) (log, error) {
	l := log{state: string(joblog.Whole)}
	file, err := joblog.OpenIn(dir, joblog.LogName)
	if err != nil {
		return l, err
	}
	raw, err := io.ReadAll(io.LimitReader(file, maxLog))
	if err := errors.Join(err, file.Close()); err != nil {
		return l, err
	}
	l.raw = raw
	f := newFold()
	end := int64(0)
	for e, err := range joblog.Read(bytes.NewReader(raw)) {
		if err == nil {
			if err = f.add(e); err != nil {
				err = &joblog.Damage{Line: e.Seq, Offset: end, What: err.Error()}
			}
		}
		var d *joblog.Damage
		if errors.As(err, &d) {
			l.state, l.damage = string(joblog.Altered), fmt.Sprintf("line %d: %s", d.Line, d.What)
			if d.Torn {
				l.state = string(joblog.TornTail)
			}
			break
		}
		if err != nil {
			l.facts = f.facts()
			return l, err
		}
		end += int64(bytes.IndexByte(raw[end:], '\n')) + 1
		l.hashes = append(l.hashes, e.Hash.String())
		l.last = e.Hash
		l.ends = append(l.ends, end)
	}
	l.facts = f.facts()
	return l, nil
}

// has is whether entry seq has that hash.
func (l log) has(seq uint64, hash string) bool {
	return seq >= 1 && seq <= uint64(len(l.hashes)) && l.hashes[seq-1] == hash
}

// job adds the log to what the store has of the job, if it goes on with it.
func (in ingestion) job(ctx context.Context, f logFile, l *log) error {
	job := l.facts.Job
	var entries uint64
	var head, source, path, state string
	q := `SELECT entries, head, source, path, state FROM jobs WHERE job = ?`
	if in.postgres {
		q += ` FOR UPDATE`
	}
	err := in.tx.QueryRowContext(ctx, in.sql(q), job).Scan(&entries, &head, &source, &path, &state)
	known := !errors.Is(err, sql.ErrNoRows)
	if err != nil && known {
		return err
	}
	switch {
	case known && entries == l.facts.Entries && head == l.facts.Head && state == l.state:
		return nil // a copy, or the same again
	case !known || l.has(entries, head):
		return in.store(ctx, f, l, entries)
	}
	// The log does not reach what the store has. Nothing in the store changes
	// but that it says so.
	switch {
	case l.facts.Entries >= entries:
		l.state, l.damage = stateOther, fmt.Sprintf("entry %d is not the one that was indexed", entries)
	case source == in.source && path == f.dir && l.state == string(joblog.Whole):
		l.state, l.damage = stateCut, fmt.Sprintf("it had %d entries when it was indexed, now %d", entries, l.facts.Entries)
	case source == in.source && path == f.dir:
		// torn or altered before the head: that is what is wrong
	default:
		older, err := in.olderCopy(ctx, job, l)
		if err != nil {
			return err
		}
		if older {
			return nil
		}
		l.state, l.damage = stateOther, "it tells another story than the log of the same name that was indexed"
	}
	return in.exec(ctx, `UPDATE jobs SET state = ?, damage = ? WHERE job = ?`, l.state, l.damage, job)
}

// olderCopy is whether the store's log goes through the end of l.
func (in ingestion) olderCopy(ctx context.Context, job string, l *log) (bool, error) {
	r, err := in.lines(ctx, in.tx, job)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer r.Close()
	for e, err := range joblog.Read(r) {
		if err != nil {
			return false, nil // it can't vouch for anything
		}
		if e.Seq == l.facts.Entries {
			return e.Hash.String() == l.facts.Head, nil
		}
	}
	return false, nil
}

// store writes the facts, and the lines after entry have.
func (in ingestion) store(ctx context.Context, f logFile, l *log, have uint64) error {
	x := l.facts
	in.done.Jobs++
	in.done.Entries += x.Entries - have
	if in.postgres && x.Entries > have {
		start := int64(0)
		if have > 0 {
			start = l.ends[have-1]
		}
		lines := l.raw[start:l.ends[x.Entries-1]]
		if err := in.exec(ctx, `INSERT INTO logs (job, first, last, lines) VALUES (?,?,?,?)`, x.Job, have+1, x.Entries, lines); err != nil {
			return err
		}
	}
	if err := in.exec(ctx, `INSERT INTO jobs (job, source, path, unit, technician, complaint, program, knowledge, opened, last, month,
		took, closed, state, damage, entries, head, heard, recorded, asked, ignored, retracted, verdict, outcome, proved)
		VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)
		ON CONFLICT (job) DO UPDATE SET source = excluded.source, path = excluded.path, last = excluded.last, took = excluded.took,
		closed = excluded.closed, state = excluded.state, damage = excluded.damage, entries = excluded.entries, head = excluded.head,
		heard = excluded.heard, recorded = excluded.recorded, asked = excluded.asked, ignored = excluded.ignored,
		retracted = excluded.retracted, verdict = excluded.verdict, outcome = excluded.outcome, proved = excluded.proved`,
		x.Job, in.source, f.dir, text(x.Unit), text(x.Technician), text(x.Complaint), text(x.Program), x.Knowledge, micros(x.Opened), micros(x.Last),
		x.Opened.Format("2006-01"), x.Took().Milliseconds(), bit(x.Closed), l.state, l.damage, x.Entries, x.Head,
		x.Heard, x.Recorded, x.Asked, x.Ignored, x.Retracted, text(x.Verdict), text(x.Outcome), bit(x.Proved)); err != nil {
		return err
	}
	if err := in.exec(ctx, `INSERT INTO words (job, said) VALUES (?,?) ON CONFLICT (job) DO UPDATE SET said = excluded.said`, x.Job, x.Words); err != nil {
		return err
	}
	if have > 0 {
		if err := in.exec(ctx, `DELETE FROM findings WHERE job = ?`, x.Job); err != nil {
			return err
		}
	}
	for n, y := range x.Findings {
		if err := in.exec(ctx, `INSERT INTO findings (job, seq, question, n, what) VALUES (?,?,?,?,?)`,
			x.Job, y.Seq, string(y.Question), n, text(y.What)); err != nil {
			return err
		}
	}
	return nil
}

// text is a string that every database takes: PostgreSQL has no zero byte.
func text(s string) string { return strings.ReplaceAll(s, "\x00", "\uFFFD") }

func micros(t time.Time) int64 { return t.UnixMicro() }

func bit(b bool) int64 {
	if b {
		return 1
	}
	return 0
}
