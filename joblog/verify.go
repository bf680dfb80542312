package joblog

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"sort"
	"time"
)

// State says how far a log can be believed.
type State string

// The states of a log.
const (
	// Whole: every entry is as it was written.
	Whole State = "whole"
	// TornTail: whole but for an unfinished last line.
	TornTail State = "torn"
	// Altered: believable up to Damage and no further.
	Altered State = "altered"
)

// Report is what Verify found.
type Report struct {
	Job     string
	State   State
	Damage  *Damage // nil if whole
	Entries uint64  // whole entries
	Head    Head    // of the whole part
	First   time.Time
	Last    time.Time
	Closed  bool
	// Folder is the name of the folder that the log lies in, where that is not
	// the job's id: the log, or the folder's name, is another's.
	Folder string
	// Backwards are the entries whose time is before that of the entry they
	// follow: the clock was set back. Their order is still certain.
	Backwards []uint64
	// TornFiles are the unfinished lines set aside, by name.
	TornFiles []string
	// Audio counts the recordings that the log tells of: those as they were
	// written, those gone (retention may delete them), those altered, by entry.
	AudioKept, AudioGone int
	AudioAltered         []uint64

	held []Head // of the heads asked about, those that the log goes through
}

// Holds reports whether the log still goes through a head that was kept
// elsewhere: false if that entry was cut off or rewritten. Only a Report of
// [VerifyAgainst] that head can say true.
func (r Report) Holds(kept Head) bool { return slices.Contains(r.held, kept) }

// Verify reads the log in a job's folder and checks every entry, its body and
// the recordings beside it. What is wrong with the record is in the report;
// the error is for a record that can't be read at all, or [ErrNewer].
func Verify(dir string) (Report, error) { return VerifyAgainst(dir) }

// VerifyAgainst is Verify with heads that were kept elsewhere.
func VerifyAgainst(dir string, kept ...Head) (Report, error) {
	f, err := OpenIn(dir, LogName)
	if err != nil {
		return Report{}, fmt.Errorf("joblog: verify: %w", err)
	}
	defer f.Close()
	r, err := verify(f, dir, kept...)
	if err != nil {
		return r, fmt.Errorf("joblog: verify %s: %w", dir, err)
	}
	if abs, err := filepath.Abs(dir); err != nil {
		return r, fmt.Errorf("joblog: verify %s: %w", dir, err)
	} else if name := filepath.Base(abs); r.Job != "" && name != r.Job {
		r.Folder = name
	}
	torn, err := filepath.Glob(filepath.Join(dir, tornName+"*"))
	if err != nil {
		return r, fmt.Errorf("joblog: verify %s: %w", dir, err)
	}
	for _, name := range torn {
		r.TornFiles = append(r.TornFiles, filepath.Base(name))
	}
	sort.Strings(r.TornFiles)
	return r, nil
}

func verify(f io.Reader, dir string, kept ...Head) (Report, error) {
	r := Report{State: Whole}
	s := newScanner(f)
	for {
		offset := s.good
		e, err := s.next()
		if errors.Is(err, io.EOF) {
			return r, nil
		}
		if errors.As(err, &r.Damage) {
			r.State = Altered
			if r.Damage.Torn {
				r.State = TornTail
			}
			return r, nil
		}
		if err != nil {
			return r, err
		}
		body, err := Decode(e)
		if err != nil {
			r.State = Altered
			r.Damage = &Damage{Line: e.Seq, Offset: offset, What: err.Error()}
			return r, nil
		}
		if e.Seq > 1 && e.At.Before(r.Last) {
			r.Backwards = append(r.Backwards, e.Seq)
		}
		switch b := body.(type) {
		case Opened:
			r.Job, r.First = b.Job, e.At
		case Heard:
			if err := r.audio(e.Seq, b, dir); err != nil {
				return r, err
			}
		}
		r.Entries, r.Last = e.Seq, e.At
		r.Head, r.Closed = s.chain.head, s.chain.closed
		if slices.Contains(kept, r.Head) {
			r.held = append(r.held, r.Head)
		}
	}
}

func (r *Report) audio(seq uint64, h Heard, dir string) error {
	if h.Audio == "" {
		return nil
	}
	got, err := sumOfFile(dir, filepath.Join(AudioDir, h.Audio))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		r.AudioGone++
	case errors.Is(err, ErrNotRegular):
		r.AudioAltered = append(r.AudioAltered, seq)
	case err != nil:
		return err
	case got != h.AudioSHA256:
		r.AudioAltered = append(r.AudioAltered, seq)
	default:
		r.AudioKept++
	}
	return nil
}

func sumOfFile(dir, name string) (string, error) {
	f, err := OpenIn(dir, name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func sumOf(b []byte) string { return Hash(sha256.Sum256(b)).String() }
