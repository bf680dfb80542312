package joblog

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// ErrNotRegular is returned for something in a job's folder that is no regular
// file where one belongs: a link leads elsewhere, and a pipe waits for ever.
var ErrNotRegular = errors.New("joblog: not a regular file")

// OpenIn opens for reading the file name of the folder dir, or of one folder in it. A job's folder may come from anywhere: nothing but a regular
// file of that folder is opened, no link is followed, and nothing blocks.
func OpenIn(dir, name string) (*os.File, error) { return openIn(dir, name, os.O_RDONLY, 0) }

func openIn(dir, name string, flag int, perm fs.FileMode) (_ *os.File, err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	if within := filepath.Dir(name); within != "." {
		if d, err := root.Lstat(within); err == nil && !d.IsDir() {
			return nil, fmt.Errorf("%w: %s lies in %s, which is no folder", ErrNotRegular, filepath.Base(name), filepath.Join(dir, within))
		}
	}
	seen, err := root.Lstat(name)
	if err == nil && !seen.Mode().IsRegular() {
		return nil, fmt.Errorf("%w: %s", ErrNotRegular, filepath.Join(dir, name))
	}
	if err != nil && (!errors.Is(err, fs.ErrNotExist) || flag&os.O_CREATE == 0) {
		return nil, err
	}
	if seen == nil {
		flag |= os.O_EXCL // what appears meanwhile is somebody else's
	}
	f, err := root.OpenFile(name, flag|syscall.O_NONBLOCK, perm)
	if err != nil {
		return nil, err
	}
	now, err := f.Stat()
	if err == nil && (!now.Mode().IsRegular() || seen != nil && !os.SameFile(seen, now)) {
		err = fmt.Errorf("%w: %s", ErrNotRegular, filepath.Join(dir, name))
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}
