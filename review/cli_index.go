package review

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"callout/internal/visible"
	"callout/joblog"

	"github.com/spf13/cobra"
	"modernc.org/sqlite"
)

// with opens the store, brings it up to date with the folder, and does the rest.
func (c *command) with(cmd *cobra.Command, store, folder string, do func(*cobra.Command, *Store, string) error) error {
	heads, err := c.heads(cmd)
	if err != nil {
		return err
	}
	made := false
	if c.store == "" {
		if made, err = ownIndex(store); err != nil {
			return err
		}
	}
	s, err := Open(cmd.Context(), store)
	if err != nil {
		return err
	}
	s.CompareWith(heads)
	err = func() error {
		if folder == "" {
			return do(cmd, s, folder)
		}
		if c.store == "" {
			if err := noteIndex(cmd.ErrOrStderr(), heads, store, made); err != nil {
				return err
			}
		}
		if err := c.upToDate(cmd.Context(), cmd.ErrOrStderr(), s, folder); err != nil {
			return err
		}
		return do(cmd, s, folder)
	}()
	return errors.Join(err, s.Close())
}

func (c *command) heads(cmd *cobra.Command) (string, error) {
	if c.Heads == nil {
		return "", nil
	}
	return c.Heads(cmd)
}

// ownIndex readies the place of the index in a folder of jobs, which may come
// from anywhere: no link there is followed, and nobody else can read it. It
// reports whether the index is not there yet.
func ownIndex(store string) (made bool, err error) {
	for _, name := range []string{store, store + "-wal", store + "-shm", store + "-journal"} {
		info, err := os.Lstat(name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			made = made || name == store
		case err != nil:
			return made, fmt.Errorf("%w: %w", ErrStore, err)
		case !info.Mode().IsRegular():
			return made, fmt.Errorf("%w: %s is no regular file; remove it, or name another place with --store", ErrStore, name)
		case info.Mode().Perm()&0o077 != 0: // an older program made it
			if err := os.Chmod(name, 0o600); err != nil {
				return made, fmt.Errorf("%w: %w", ErrStore, err)
			}
		}
	}
	return made, nil
}

// noteIndex remembers that an index was made, as a head of entry 1 without a
// hash, and tells if one that was made is not there any more.
func noteIndex(out io.Writer, file, store string, made bool) error {
	heads, err := joblog.ReadHeads(file)
	if err != nil {
		return err
	}
	if _, known := heads.Of(store); known && made {
		fmt.Fprintf(out, "gone: the index %s was deleted; it is made anew, and the logs are compared with the heads kept in %s\n", visible.Text(store), visible.Text(file))
	}
	return heads.Keep(map[string]joblog.Head{store: {Seq: 1}})
}

// errVersion is of an index whose tables another program made.
var errVersion = errors.New("its tables are of another version")

// SQLite's codes of a file that is damaged, or no database.
const (
	sqliteCorrupt = 11
	sqliteNotADB  = 26
)

// rebuildable is whether a store is a file that can be made anew from the logs,
// and err says that it must be.
func rebuildable(store string, err error) bool {
	if isPostgres(store) {
		return false
	}
	var e *sqlite.Error
	return errors.Is(err, errVersion) || errors.As(err, &e) && (e.Code()&0xff == sqliteCorrupt || e.Code()&0xff == sqliteNotADB)
}

// setAside renames a damaged index, so that a new one can be made from the logs.
func setAside(out io.Writer, store string, why error) error {
	aside := store + ".damaged"
	for n := 2; ; n++ {
		if _, err := os.Lstat(aside); errors.Is(err, fs.ErrNotExist) {
			break
		}
		aside = fmt.Sprintf("%s.damaged-%d", store, n)
	}
	if err := os.Rename(store, aside); err != nil {
		return fmt.Errorf("review: %w", err)
	}
	for _, name := range []string{store + "-wal", store + "-shm", store + "-journal"} { // they belong to what was set aside
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("review: %w", err)
		}
	}
	fmt.Fprintf(out, "the index is damaged and is made anew from the logs; the old one is %s: %s\n", visible.Text(filepath.Base(aside)), visible.Text(why.Error()))
	return nil
}
