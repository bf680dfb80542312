package joblog

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
)

// Read yields the entries of a log in order, each checked against the chain.
// It ends after the last one, or yields one last error: a *Damage where the
// log stops being believable, [ErrNewer], or what the reader failed with.
// A log that holds no entry at all is torn at line 1.
func Read(r io.Reader) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		s := newScanner(r)
		for {
			e, err := s.next()
			if errors.Is(err, io.EOF) {
				return
			}
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// Entries is [Read] over the log in a job's folder. It takes no lock, so the
// last line of a job at work may look torn for a moment.
func Entries(dir string) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		f, err := OpenIn(dir, LogName)
		if err != nil {
			yield(Entry{}, fmt.Errorf("joblog: %w", err))
			return
		}
		defer f.Close()
		for e, err := range Read(f) {
			if !yield(e, err) {
				return
			}
		}
	}
}

// chain checks entries one after another. Its zero value stands before the
// first entry; one that begins with a Head goes on after that entry.
type chain struct {
	head   Head
	closed bool
}

// scanner reads lines, checks them, and knows how far the log is whole.
type scanner struct {
	r     *bufio.Reader
	chain chain
	good  int64  // bytes of whole entries read so far
	tail  []byte // the bytes that the last *Damage is about, if torn
}

func newScanner(r io.Reader) *scanner {
	return &scanner{r: bufio.NewReaderSize(r, 64<<10)}
}

// next returns the next entry; io.EOF after the last.
func (s *scanner) next() (Entry, error) {
	line, err := s.line()
	if errors.Is(err, io.EOF) && len(line) == 0 {
		if s.chain.head.Seq == 0 {
			return Entry{}, s.damage(true, "there is no entry in it")
		}
		return Entry{}, io.EOF
	}
	if errors.Is(err, errLong) {
		return Entry{}, s.damage(false, fmt.Sprintf("longer than %d bytes", maxLine))
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return Entry{}, fmt.Errorf("joblog: read after line %d: %w", s.chain.head.Seq, err)
	}
	if errors.Is(err, io.EOF) {
		return Entry{}, s.unfinished(line)
	}
	e, perr := parseLine(line[:len(line)-1])
	if perr != nil {
		if hole(line, s.good) && s.atEnd() {
			s.tail = bytes.Clone(line)
			return Entry{}, s.damage(true, "holds a sector of zeros")
		}
		return Entry{}, s.damage(false, perr.Error())
	}
	if what := s.chain.accept(e); what != "" {
		return Entry{}, s.damage(false, what)
	}
	if e.Kind == KindOpened {
		if err := checkSchema(e); err != nil {
			return Entry{}, err
		}
	}
	s.good += int64(len(line))
	return e, nil
}

// unfinished judges bytes at the end of the file that no newline ends. A whole
// entry with something after it was not left by a crash: an entry is written
// in one piece and nothing follows it before it is whole. (Zeros may: a sector
// that never reached the disk.)
func (s *scanner) unfinished(line []byte) error {
	if i := bytes.LastIndex(line, []byte(hashField)); i >= 0 && len(line) > i+tailLen {
		_, err := parseLine(line[:i+tailLen])
		if err == nil && len(bytes.Trim(line[i+tailLen:], "\x00")) > 0 {
			return s.damage(false, "its newline was changed")
		}
	}
	s.tail = bytes.Clone(line)
	return s.damage(true, fmt.Sprintf("ends after %d bytes, before its newline", len(line)))
}

func (s *scanner) damage(torn bool, what string) *Damage {
	return &Damage{Line: s.chain.head.Seq + 1, Offset: s.good, Torn: torn, What: what}
}

var errLong = errors.New("line too long")

// line returns bytes up to and with a newline, or up to the end with io.EOF.
func (s *scanner) line() ([]byte, error) {
	var line []byte
	for {
		part, err := s.r.ReadSlice('\n')
		if line == nil && err == nil {
			return part, nil // valid until the next read; parseLine copies what it keeps
		}
		line = append(line, part...)
		if len(line) > maxLine {
			return nil, errLong
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, err
		}
	}
}

// atEnd is whether nothing but zeros follows.
func (s *scanner) atEnd() bool {
	for {
		b, err := s.r.ReadByte()
		if err != nil {
			return errors.Is(err, io.EOF)
		}
		if b != 0 {
			return false
		}
	}
}

// sectorSize is the smallest unit that a disk writes whole.
const sectorSize = 512

// hole is whether a line that begins at offset holds a sector, or all that
// it has of one, of zeros: a write that reached the disk in part. Entries
// never hold a zero byte.
func hole(line []byte, offset int64) bool {
	for start := 0; start < len(line); {
		end := min(start+sectorSize-int((offset+int64(start))%sectorSize), len(line))
		if len(bytes.Trim(line[start:end], "\x00")) == 0 && end-start > 1 {
			return true
		}
		start = end
	}
	return false
}

// accept moves the chain past e, or says why e can't come next.
func (c *chain) accept(e Entry) string {
	switch {
	case e.Seq != c.head.Seq+1:
		return fmt.Sprintf("says it is entry %d", e.Seq)
	case e.Prev != c.head.Hash:
		return "does not follow from the entry before it"
	case (e.Kind == KindOpened) != (e.Seq == 1):
		return fmt.Sprintf("a log begins with %q and has no other", KindOpened)
	case c.closed:
		return "comes after the closing entry"
	}
	c.head = Head{Seq: e.Seq, Hash: e.Hash}
	c.closed = e.Kind == KindClosed
	return ""
}
