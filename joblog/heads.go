package joblog

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"github.com/gofrs/flock"
)

// Heads are the heads of logs, kept in one file outside the folders of jobs:
// they show what a chain alone can't, see [Report.Holds]. The file has a line
// of JSON for each; the last of a folder's lines counts. It helps against who
// can change the jobs and not this file; it is no signature.
type Heads struct {
	file  string
	of    map[string]Head // by folder
	lines int
}

type headLine struct {
	Dir  string `json:"dir"`
	Seq  uint64 `json:"seq"` // 0: forgotten
	Hash Hash   `json:"hash"`
}

// ReadHeads reads the file, which need not be there yet. With no file named
// nothing is kept. A line that can't be read is passed over: a crash may have
// left half of one.
func ReadHeads(file string) (*Heads, error) {
	h := &Heads{file: file, of: map[string]Head{}}
	if file == "" {
		return h, nil
	}
	raw, err := os.ReadFile(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("joblog: kept heads: %w", err)
	}
	for line := range bytes.Lines(raw) {
		h.lines++
		var l headLine
		if json.Unmarshal(line, &l) != nil || l.Dir == "" {
			continue
		}
		if l.Seq == 0 {
			delete(h.of, l.Dir)
			continue
		}
		h.of[l.Dir] = Head{Seq: l.Seq, Hash: l.Hash}
	}
	return h, nil
}

// Of is the head that was kept of the job in folder dir.
func (h *Heads) Of(dir string) (Head, bool) {
	k, ok := h.of[headKey(dir)]
	return k, ok
}

// Under lists the folders below root of which a head is kept, sorted.
func (h *Heads) Under(root string) []string {
	in := headKey(root)
	var dirs []string
	for dir := range h.of {
		if dir == in || strings.HasPrefix(dir, strings.TrimSuffix(in, "/")+"/") {
			dirs = append(dirs, dir)
		}
	}
	slices.Sort(dirs)
	return dirs
}

// Keep puts heads, by folder, in the place of those kept before; one of entry 0
// is forgotten. The caller has seen that each log goes through the head before.
func (h *Heads) Keep(heads map[string]Head) error {
	if h.file == "" || len(heads) == 0 {
		return nil
	}
	var more []byte
	for _, dir := range slices.Sorted(maps.Keys(heads)) {
		k, key := heads[dir], headKey(dir)
		if old := h.of[key]; old == k {
			continue
		}
		line, err := json.Marshal(headLine{Dir: key, Seq: k.Seq, Hash: k.Hash})
		if err != nil {
			return fmt.Errorf("joblog: keeping heads: %w", err)
		}
		more = append(append(more, line...), '\n')
		if k.Seq == 0 {
			delete(h.of, key)
		} else {
			h.of[key] = k
		}
		h.lines++
	}
	if len(more) == 0 {
		return nil
	}
	if err := h.write(more); err != nil {
		return fmt.Errorf("joblog: keeping heads: %w", err)
	}
	return nil
}

// spareLines is how many lines that count no more the file may have beside as
// many as count.
const spareLines = 1000

func (h *Heads) write(more []byte) (err error) {
	if err := os.MkdirAll(filepath.Dir(h.file), 0o700); err != nil {
		return err
	}
	lock := flock.New(h.file+".lock", flock.SetPermissions(0o600))
	if err := lock.Lock(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	f, err := os.OpenFile(h.file, os.O_CREATE|os.O_RDWR|os.O_APPEND|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0o600)
	if err != nil {
		return err
	}
	// A line that a crash cut short must not swallow the next.
	if size, err := f.Seek(0, 2); err == nil && size > 0 {
		last := make([]byte, 1)
		if _, err := f.ReadAt(last, size-1); err == nil && last[0] != '\n' {
			more = append([]byte{'\n'}, more...)
		}
	}
	_, err = f.Write(more)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if h.lines <= 2*len(h.of)+spareLines {
		return nil
	}
	now, err := ReadHeads(h.file) // others may have added theirs
	if err != nil {
		return err
	}
	return now.rewrite()
}

// rewrite makes the file anew with one line for each folder.
func (h *Heads) rewrite() error {
	f, err := os.CreateTemp(filepath.Dir(h.file), ".heads-*")
	if err != nil {
		return err
	}
	var all []byte
	for _, dir := range slices.Sorted(maps.Keys(h.of)) {
		line, err := json.Marshal(headLine{Dir: dir, Seq: h.of[dir].Seq, Hash: h.of[dir].Hash})
		if err != nil {
			return errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
		all = append(append(all, line...), '\n')
	}
	_, err = f.Write(all)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), h.file)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	h.lines = len(h.of)
	return nil
}

// headKey is a folder's one name, whichever way it is named.
func headKey(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		return real
	}
	return filepath.Clean(dir)
}

// String writes a head as [ParseHead] reads it.
func (h Head) String() string { return strconv.FormatUint(h.Seq, 10) + ":" + h.Hash.String() }

// ParseHead reads a head as verify prints it: the entry's number, a colon and
// its hash.
func ParseHead(text string) (Head, error) {
	seq, hash, ok := strings.Cut(text, ":")
	var h Head
	n, err := strconv.ParseUint(seq, 10, 64)
	if err == nil && ok {
		err = h.Hash.UnmarshalText([]byte(hash))
	}
	if err != nil || !ok || n == 0 {
		return Head{}, fmt.Errorf("joblog: head %q: write it as verify prints it, the entry's number, a colon and its 64 hexadecimal digits", text)
	}
	h.Seq = n
	return h, nil
}
