package joblog

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sync"
	"time"
)

// Writer appends to one job's log. It holds the job's lock until Close.
// Its methods may be called from several goroutines.
type Writer struct {
	dir    string
	opened Opened

	mu    sync.Mutex
	file  File
	lock  io.Closer
	chain chain
	size  int64 // bytes known to be durable
	bad   error // why nothing can be written any more

	heads  string // the file that the head is kept in, "" for none
	missed *Head  // kept there, and not in the log
}

// Option changes how a job is opened.
type Option func(*settings)

type settings struct {
	fs    FS
	heads string
}

// On keeps the job on the given file system instead of the machine's own.
func On(f FS) Option { return func(s *settings) { s.fs = f } }

// KeepHeadIn has the Writer keep the log's head in the file of [Heads] when it
// is closed; where the log was opened without going through the head kept
// there, that one stays, see [Writer.Missed].
func KeepHeadIn(file string) Option { return func(s *settings) { s.heads = file } }

func apply(opts []Option) settings {
	s := settings{fs: disk{}}
	for _, o := range opts {
		o(&s)
	}
	return s
}

// A job's id is the name of its folder, on any machine that it is copied to.
var jobID = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$`)

// CheckJobID says what is wrong with a job's id, if anything.
func CheckJobID(id string) error {
	if !jobID.MatchString(id) {
		return fmt.Errorf("joblog: job id %q: use 1 to 64 letters, digits, hyphens and underscores, beginning with a letter or digit", id)
	}
	return nil
}

// Create makes the job opened.Job in the folder jobs, which is made if need be,
// with opened as its first entry, and returns the Writer. The job's folder
// appears whole or not at all: a crash before that leaves only a folder whose
// name begins with a dot, which may be deleted. Create sets opened.Schema.
func Create(jobs string, opened Opened, at time.Time, opts ...Option) (_ *Writer, err error) {
	s := apply(opts)
	if err := CheckJobID(opened.Job); err != nil {
		return nil, err
	}
	opened.Schema = Schema
	if err := s.fs.MkdirAll(jobs, 0o700); err != nil {
		return nil, fmt.Errorf("joblog: create %s: %w", opened.Job, err)
	}
	temp, err := s.fs.MkdirTemp(jobs, ".new-*")
	if err != nil {
		return nil, fmt.Errorf("joblog: create %s: %w", opened.Job, err)
	}
	w := &Writer{dir: filepath.Join(jobs, opened.Job), opened: opened, heads: s.heads}
	inPlace := false
	defer func() {
		if err != nil {
			err = fmt.Errorf("joblog: create %s: %w", opened.Job, errors.Join(err, w.release()))
			if !inPlace {
				err = errors.Join(err, s.fs.RemoveAll(temp))
			}
		}
	}()
	flags := os.O_CREATE | os.O_EXCL | os.O_RDWR | os.O_APPEND
	if w.file, err = s.fs.OpenFile(filepath.Join(temp, LogName), flags, 0o600); err != nil {
		return nil, err
	}
	if w.lock, err = s.fs.Lock(filepath.Join(temp, LogName)); err != nil {
		return nil, err
	}
	if _, err = w.append(opened, at); err != nil {
		return nil, err
	}
	if err = s.fs.SyncDir(temp); err != nil {
		return nil, err
	}
	if err = s.fs.Rename(temp, w.dir); errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("%w: %s", ErrExists, w.dir)
	} else if err != nil {
		return nil, err
	}
	inPlace = true
	if err = s.fs.SyncDir(jobs); err != nil {
		return nil, err
	}
	return w, nil
}

// Open opens the job in folder dir to go on with it. It reads and checks the
// whole log first; a *Damage that is not a torn tail is returned and nothing
// is touched. A torn tail is copied to a file of its own, cut off, and told
// in a new entry of kind torn with time at. A log without one whole entry
// can't be opened.
func Open(dir string, at time.Time, opts ...Option) (_ *Writer, err error) {
	s := apply(opts)
	w := &Writer{dir: dir, heads: s.heads}
	heads, err := ReadHeads(s.heads)
	if err != nil {
		return nil, err
	}
	kept, missing := heads.Of(dir)
	defer func() {
		if err != nil {
			err = fmt.Errorf("joblog: open %s: %w", dir, errors.Join(err, w.release()))
		}
	}()
	flags := os.O_RDWR | os.O_APPEND
	if w.file, err = s.fs.OpenFile(filepath.Join(dir, LogName), flags, 0); err != nil {
		return nil, err
	}
	if w.lock, err = s.fs.Lock(filepath.Join(dir, LogName)); err != nil {
		return nil, err
	}
	scan := newScanner(w.file)
	for {
		e, err := scan.next()
		if errors.Is(err, io.EOF) {
			break
		}
		var d *Damage
		if errors.As(err, &d) && d.Torn && scan.chain.head.Seq > 0 {
			break
		}
		if err != nil {
			return nil, err
		}
		missing = missing && kept != Head{Seq: e.Seq, Hash: e.Hash}
		if e.Kind == KindOpened {
			if w.opened, err = decodeAs[Opened](e.Body); err != nil {
				return nil, err
			}
		}
	}
	w.chain, w.size = scan.chain, scan.good
	if missing {
		w.missed = &kept
	}
	if len(scan.tail) > 0 {
		if err := w.setAside(s.fs, scan.tail, at); err != nil {
			return nil, err
		}
	}
	if w.chain.closed {
		return nil, ErrSignedOff
	}
	return w, nil
}

// setAside copies a torn tail beside the log, makes the copy durable, and only
// then cuts the tail off. If the job was signed off, the tail can't be told in
// an entry; the copy remains.
func (w *Writer) setAside(fsys FS, tail []byte, at time.Time) error {
	name, err := saveTorn(fsys, w.dir, tail)
	if err != nil {
		return fmt.Errorf("setting a torn last line aside: %w", err)
	}
	if err := w.cut(); err != nil {
		return err
	}
	if w.chain.closed {
		return nil
	}
	_, err = w.append(Torn{File: name, Bytes: int64(len(tail)), SHA256: sumOf(tail)}, at)
	return err
}

func saveTorn(fsys FS, dir string, tail []byte) (name string, err error) {
	var f File
	for n := 1; ; n++ {
		name = fmt.Sprintf("%s%d", tornName, n)
		f, err = fsys.OpenFile(filepath.Join(dir, name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err == nil {
			break
		}
		if !errors.Is(err, fs.ErrExist) {
			return "", err
		}
	}
	n, err := f.Write(tail)
	if err == nil && n < len(tail) {
		err = io.ErrShortWrite
	}
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return "", err
	}
	return name, fsys.SyncDir(dir)
}

// Append writes one entry and returns its number once it is on stable storage.
//
// On an error nothing of the entry will be believed: either it was refused
// before writing ([ErrRefused]), or the write failed and the file was cut back
// to where it was, so that the same Append may be tried again, as after a full
// disk. Where the end of the file is left in doubt, the error is also
// [ErrUnusable] and every later Append fails: a failed sync may have thrown
// the data away while a second sync reports success (Rebello and others, "Can
// Applications Recover from fsync Failures?", USENIX ATC 2020).
func (w *Writer) Append(body Body, at time.Time) (seq uint64, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, ok := body.(Opened); ok {
		return 0, fmt.Errorf("%w: a log is opened once, by Create", ErrRefused)
	}
	return w.append(body, at)
}

func (w *Writer) append(body Body, at time.Time) (uint64, error) {
	if w.bad != nil {
		return 0, fmt.Errorf("%w: %w", ErrUnusable, w.bad)
	}
	if w.chain.closed {
		return 0, ErrSignedOff
	}
	e, line, err := w.next(body, at)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	n, err := w.file.Write(line)
	if err == nil && n < len(line) {
		err = io.ErrShortWrite
	}
	if err != nil {
		err = fmt.Errorf("joblog: entry %d not written: %w", e.Seq, err)
		return 0, errors.Join(err, w.cut())
	}
	if err := w.file.Sync(); err != nil {
		err = fmt.Errorf("joblog: entry %d not synced: %w", e.Seq, err)
		err = errors.Join(err, w.cut())
		w.bad = err
		return 0, fmt.Errorf("%w: %w", ErrUnusable, err)
	}
	w.size += int64(len(line))
	w.chain.head = Head{Seq: e.Seq, Hash: e.Hash}
	w.chain.closed = e.Kind == KindClosed
	return e.Seq, nil
}

// next makes the line that would come next.
func (w *Writer) next(body Body, at time.Time) (Entry, []byte, error) {
	if body == nil {
		return Entry{}, nil, errors.New("no body")
	}
	kind := body.Kind()
	if err := body.check(); err != nil {
		return Entry{}, nil, fmt.Errorf("%s: %w", kind, err)
	}
	raw, err := encodeBody(body)
	if err != nil {
		return Entry{}, nil, fmt.Errorf("%s: %w", kind, err)
	}
	// RFC 3339 has four digits for the year.
	if y := at.UTC().Year(); y < 1 || y > 9999 {
		return Entry{}, nil, fmt.Errorf("%s: the year %d can't be written", kind, y)
	}
	e := Entry{Seq: w.chain.head.Seq + 1, At: at.UTC(), Kind: kind, Body: raw, Prev: w.chain.head.Hash}
	e, line := e.sealed()
	if len(line) > maxLine {
		return Entry{}, nil, fmt.Errorf("%s: %d bytes, the most is %d", kind, len(line), maxLine)
	}
	return e, line, nil
}

// cut shortens the file to what is known to be durable. If that fails the
// Writer is done: what follows would be glued to half an entry.
func (w *Writer) cut() error {
	err := w.file.Truncate(w.size)
	if err == nil {
		err = w.file.Sync()
	}
	if err != nil {
		w.bad = fmt.Errorf("joblog: cutting back to byte %d: %w", w.size, err)
		return fmt.Errorf("%w: %w", ErrUnusable, w.bad)
	}
	return nil
}

// Close frees the job. It writes nothing to the log: every entry is durable
// already. An error is also returned where the head could not be kept.
func (w *Writer) Close() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	var err error
	if w.file != nil && w.missed == nil {
		err = w.keepHead() // while no other writer can come in
	}
	if w.bad == nil {
		w.bad = errors.New("closed")
	}
	return errors.Join(err, w.release())
}

func (w *Writer) keepHead() error {
	heads, err := ReadHeads(w.heads)
	if err == nil {
		err = heads.Keep(map[string]Head{w.dir: w.chain.head})
	}
	if err != nil {
		return fmt.Errorf("the log is whole, its head is not kept: %w", err)
	}
	return nil
}

// Missed is the head that was kept of this job when it was opened and that its
// log does not go through: entries were cut from its end, or rewritten.
func (w *Writer) Missed() (Head, bool) {
	if w.missed == nil {
		return Head{}, false
	}
	return *w.missed, true
}

func (w *Writer) release() error {
	var errs []error
	if w.file != nil {
		errs = append(errs, w.file.Close())
		w.file = nil
	}
	if w.lock != nil {
		errs = append(errs, w.lock.Close())
		w.lock = nil
	}
	return errors.Join(errs...)
}

// Dir is the job's folder.
func (w *Writer) Dir() string { return w.dir }

// Opened is the first entry's body.
func (w *Writer) Opened() Opened { return w.opened }

// Head is the end of the log as it is now on stable storage.
func (w *Writer) Head() Head {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.chain.head
}
