package joblog

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/gofrs/flock"
)

// FS is what the log asks of a file system. Tests give one that fails.
type FS interface {
	// OpenFile is as os.OpenFile.
	OpenFile(name string, flag int, perm fs.FileMode) (File, error)
	// MkdirTemp is as os.MkdirTemp.
	MkdirTemp(dir, pattern string) (string, error)
	// MkdirAll is as os.MkdirAll.
	MkdirAll(name string, perm fs.FileMode) error
	// Rename is as os.Rename; onto a folder with anything in it, the error is
	// fs.ErrExist.
	Rename(from, to string) error
	// RemoveAll is as os.RemoveAll.
	RemoveAll(name string) error
	// SyncDir makes the names in a folder durable.
	SyncDir(name string) error
	// Lock takes the exclusive lock that the named file stands for, or fails
	// at once with ErrLocked. Closing it, or the death of the process, frees it.
	Lock(name string) (io.Closer, error)
}

// File is one open file of an FS.
type File interface {
	io.Reader
	io.Writer
	io.Closer
	Sync() error
	Truncate(size int64) error
}

// disk is the real file system.
type disk struct{}

func (disk) OpenFile(name string, flag int, perm fs.FileMode) (File, error) {
	f, err := os.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (disk) MkdirTemp(dir, pattern string) (string, error) { return os.MkdirTemp(dir, pattern) }

func (disk) MkdirAll(name string, perm fs.FileMode) error { return os.MkdirAll(name, perm) }

func (disk) Rename(from, to string) error { return os.Rename(from, to) }

func (disk) RemoveAll(name string) error { return os.RemoveAll(name) }

func (disk) SyncDir(name string) error {
	d, err := os.Open(name)
	if err != nil {
		return err
	}
	syncErr := d.Sync()
	if err := d.Close(); err != nil {
		return err
	}
	return syncErr
}

func (disk) Lock(name string) (io.Closer, error) {
	l := flock.New(name, flock.SetPermissions(0o644))
	ok, err := l.TryLock()
	if err != nil {
		return nil, fmt.Errorf("joblog: lock: %w", err)
	}
	if !ok {
		return nil, fmt.Errorf("%w: %s, by process %s", ErrLocked, filepath.Dir(name), holder(name))
	}
	// The number only serves the message above: the lock holds without it.
	_ = os.WriteFile(name, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o644)
	return l, nil
}

func holder(name string) string {
	b, err := os.ReadFile(name)
	if pid := strings.TrimSpace(string(b)); err == nil && pid != "" {
		return pid
	}
	return "unknown"
}
