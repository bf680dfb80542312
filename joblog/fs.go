package joblog

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"github.com/gofrs/flock"
)

// FS is what the log asks of a file system. Tests give one that fails.
type FS interface {
	// OpenFile is as os.OpenFile, for regular files only.
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
	// Lock takes the exclusive lock of the named log, which exists, or fails
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
	f, err := openIn(filepath.Dir(name), filepath.Base(name), flag, perm)
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

// Lock locks the log itself, so that it holds whatever becomes of other files.
func (disk) Lock(name string) (io.Closer, error) {
	l := flock.New(name, flock.SetFlag(os.O_RDWR|syscall.O_NOFOLLOW|syscall.O_NONBLOCK))
	ok, err := l.TryLock()
	if err != nil {
		return nil, fmt.Errorf("joblog: lock: %w", err)
	}
	dir := filepath.Dir(name)
	if !ok {
		return nil, fmt.Errorf("%w: %s, by process %s", ErrLocked, dir, holder(dir))
	}
	if err := sign(dir); err != nil {
		return nil, fmt.Errorf("joblog: lock: %w", errors.Join(err, l.Close()))
	}
	return l, nil
}

// sign writes this process's number into the lock file. It only serves the
// message above: the lock holds without it.
func sign(dir string) error {
	f, err := openIn(dir, LockName, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	err = f.Truncate(0)
	if err == nil {
		_, err = f.WriteString(strconv.Itoa(os.Getpid()) + "\n")
	}
	if err = errors.Join(err, f.Close()); errors.Is(err, syscall.ENOSPC) {
		return nil // the log's own writes say so
	}
	return err
}

func holder(dir string) string {
	f, err := OpenIn(dir, LockName)
	if err != nil {
		return "unknown"
	}
	defer f.Close()
	b := make([]byte, 32)
	n, _ := f.Read(b)
	if pid, err := strconv.Atoi(strings.TrimSpace(string(b[:n]))); err == nil {
		return strconv.Itoa(pid)
	}
	return "unknown"
}
