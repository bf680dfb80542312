package joblog

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// memFS is a file system whose power can be cut: it knows, beside what a
// program sees, what is certain to be on the disk. It can fail or die at any
// operation that changes something.
type memFS struct {
	root  *node
	ops   int
	fault func(op int, what string) error // nil error: the operation goes well
	dead  bool
	rnd   *rand.Rand
}

var (
	errPower = errors.New("the power is gone")
	errShort = errors.New("write half of it")
)

// node is a file or a folder, as seen and as durable.
type node struct {
	dir           bool
	data, durable []byte
	kids, kept    map[string]*node
	locked        bool
}

func newDir() *node { return &node{dir: true, kids: map[string]*node{}, kept: map[string]*node{}} }

func newMemFS(seed uint64) *memFS {
	return &memFS{root: newDir(), rnd: rand.New(rand.NewPCG(seed, 1))}
}

// step counts one operation and says whether it fails.
func (m *memFS) step(what string) error {
	if m.dead {
		return errPower
	}
	m.ops++
	if m.fault == nil {
		return nil
	}
	err := m.fault(m.ops, what)
	if errors.Is(err, errPower) {
		m.dead = true
	}
	return err
}

func (m *memFS) find(name string) *node {
	n := m.root
	for part := range strings.SplitSeq(strings.Trim(filepath.ToSlash(name), "/"), "/") {
		if n == nil || !n.dir {
			return nil
		}
		if part != "" && part != "." {
			n = n.kids[part]
		}
	}
	return n
}

func (m *memFS) OpenFile(name string, flag int, _ fs.FileMode) (File, error) {
	if m.dead {
		return nil, errPower
	}
	dir, n := m.find(filepath.Dir(name)), m.find(name)
	switch {
	case dir == nil || n == nil && flag&os.O_CREATE == 0:
		return nil, fs.ErrNotExist
	case n != nil && flag&os.O_EXCL != 0:
		return nil, fs.ErrExist
	case n == nil:
		if err := m.step("create"); err != nil {
			return nil, err
		}
		n = &node{}
		dir.kids[filepath.Base(name)] = n
	}
	return &memFile{fs: m, node: n}, nil
}

func (m *memFS) MkdirTemp(dir, pattern string) (string, error) {
	if err := m.step("mkdir"); err != nil {
		return "", err
	}
	name := filepath.Join(dir, strings.Replace(pattern, "*", fmt.Sprint(m.ops), 1))
	m.find(dir).kids[filepath.Base(name)] = newDir()
	return name, nil
}

func (m *memFS) MkdirAll(name string, _ fs.FileMode) error {
	if m.find(name) != nil {
		return nil
	}
	if err := m.step("mkdir"); err != nil {
		return err
	}
	d := newDir()
	m.root.kids[name], m.root.kept[name] = d, d
	return nil
}

func (m *memFS) Rename(from, to string) error {
	if n := m.find(to); n != nil {
		return fs.ErrExist
	}
	if err := m.step("rename"); err != nil {
		return err
	}
	n := m.find(from)
	delete(m.find(filepath.Dir(from)).kids, filepath.Base(from))
	m.find(filepath.Dir(to)).kids[filepath.Base(to)] = n
	return nil
}

func (m *memFS) RemoveAll(name string) error {
	if err := m.step("remove"); err != nil {
		return err
	}
	delete(m.find(filepath.Dir(name)).kids, filepath.Base(name))
	return nil
}

func (m *memFS) SyncDir(name string) error {
	if err := m.step("sync dir"); err != nil {
		return err
	}
	n := m.find(name)
	n.kept = copyKids(n.kids)
	return nil
}

func (m *memFS) Lock(name string) (io.Closer, error) {
	dir, n := m.find(filepath.Dir(name)), m.find(name)
	if m.dead {
		return nil, errPower
	}
	if n == nil {
		n = &node{}
		dir.kids[filepath.Base(name)] = n
	}
	if n.locked {
		return nil, ErrLocked
	}
	n.locked = true
	return closer(func() error { n.locked = false; return nil }), nil
}

type closer func() error

func (c closer) Close() error { return c() }

func copyKids(kids map[string]*node) map[string]*node {
	c := map[string]*node{}
	for k, v := range kids {
		c[k] = v
	}
	return c
}

// powerCut makes the disk what it may be after the power is gone and back:
// what was synced, and of the rest anything.
func (m *memFS) powerCut() {
	m.dead = false
	m.fault = nil
	m.settle(m.root)
}

func (m *memFS) settle(n *node) {
	n.locked = false
	if !n.dir {
		n.data = m.leftOf(n.data, n.durable)
		n.durable = append([]byte(nil), n.data...)
		return
	}
	if m.rnd.IntN(2) == 0 {
		n.kids = copyKids(n.kept)
	}
	n.kept = copyKids(n.kids)
	for _, k := range n.kids {
		m.settle(k)
	}
}

// leftOf is what a disk may hold of data of which durable was synced.
func (m *memFS) leftOf(data, durable []byte) []byte {
	if len(data) <= len(durable) { // cut shorter, perhaps
		if m.rnd.IntN(2) == 0 {
			return append([]byte(nil), durable...)
		}
		return append([]byte(nil), data...)
	}
	left := append([]byte(nil), data[:len(durable)+m.rnd.IntN(len(data)-len(durable)+1)]...)
	// Sectors may reach the disk out of order, the file's length before them.
	for at := len(durable); at < len(left); {
		end := min(at+sectorSize-at%sectorSize, len(left))
		if end-at > 1 && m.rnd.IntN(3) == 0 {
			clear(left[at:end])
		}
		at = end
	}
	return left
}

type memFile struct {
	fs   *memFS
	node *node
	pos  int
}

func (f *memFile) Read(p []byte) (int, error) {
	if f.pos >= len(f.node.data) {
		return 0, io.EOF
	}
	n := copy(p, f.node.data[f.pos:])
	f.pos += n
	return n, nil
}

func (f *memFile) Write(p []byte) (int, error) {
	err := f.fs.step("write")
	if err != nil { // part of it may have got through
		n := f.fs.rnd.IntN(len(p) + 1)
		f.node.data = append(f.node.data, p[:n]...)
		if errors.Is(err, errShort) {
			return min(n, len(p)-1), nil // a File that breaks io.Writer's promise
		}
		return n, err
	}
	f.node.data = append(f.node.data, p...)
	return len(p), nil
}

func (f *memFile) Sync() error {
	if err := f.fs.step("sync"); err != nil {
		return err
	}
	f.node.durable = append([]byte(nil), f.node.data...)
	return nil
}

func (f *memFile) Truncate(size int64) error {
	if err := f.fs.step("truncate"); err != nil {
		return err
	}
	f.node.data = f.node.data[:size:size]
	return nil
}

func (f *memFile) Close() error { return nil }

var errFull = fmt.Errorf("write: %w", syscall.ENOSPC)
