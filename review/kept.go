package review

import (
	"fmt"
	"os"
	"sync"
	"time"

	"callout/joblog"
)

// keptHeads reads the file of kept heads again when it has changed.
type keptHeads struct {
	mu      sync.Mutex
	heads   *joblog.Heads
	size    int64
	changed time.Time
}

// of is the head that was kept of the job in folder dir.
func (k *keptHeads) of(file, dir string) (joblog.Head, bool, error) {
	if file == "" {
		return joblog.Head{}, false, nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	info, err := os.Stat(file)
	if os.IsNotExist(err) {
		return joblog.Head{}, false, nil
	}
	if err != nil {
		return joblog.Head{}, false, fmt.Errorf("review: kept heads: %w", err)
	}
	if k.heads == nil || k.size != info.Size() || !k.changed.Equal(info.ModTime()) {
		if k.heads, err = joblog.ReadHeads(file); err != nil {
			return joblog.Head{}, false, err
		}
		k.size, k.changed = info.Size(), info.ModTime()
	}
	h, ok := k.heads.Of(dir)
	return h, ok, nil
}

// comparison holds a log that is being read against the heads it must go through.
type comparison struct{ wanted []joblog.Head }

// compare begins one for a job that is shown: its head in the index, and the one
// that was kept of its folder, if the log is read from there.
func (s *Store) compare(r Row) (*comparison, error) {
	c := &comparison{}
	h := joblog.Head{Seq: r.Entries}
	if err := h.Hash.UnmarshalText([]byte(r.Head)); err == nil && h.Seq > 0 {
		c.wanted = append(c.wanted, h)
	}
	if s.postgres {
		return c, nil
	}
	kept, ok, err := s.kept.of(s.heads, r.Path)
	if ok {
		c.wanted = append(c.wanted, kept)
	}
	return c, err
}

func (c *comparison) add(e joblog.Entry) {
	met := joblog.Head{Seq: e.Seq, Hash: e.Hash}
	for i := 0; i < len(c.wanted); {
		if c.wanted[i] == met {
			c.wanted = append(c.wanted[:i], c.wanted[i+1:]...)
			continue
		}
		i++
	}
}

// missing says what a whole log of so many entries did not go through, "" if nothing.
func (c *comparison) missing(entries uint64) string {
	if len(c.wanted) == 0 {
		return ""
	}
	state, why := missing(c.wanted[0], entries)
	return state + ": " + why
}
