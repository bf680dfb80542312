package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"callout/audio/keep"
	"callout/joblog"
	"callout/session"
)

// openJob begins the job in folder dir, or goes on with it if it is there. An
// empty dir makes a new job in the settings' folder.
func openJob(ctx context.Context, k *session.Knowledge, s settings, dir, engine string, at time.Time, outputs ...session.Output) (*session.Runner, *joblog.Writer, error) {
	jobs, id := s.Jobs, ""
	if dir != "" {
		abs, err := filepath.Abs(dir)
		if err != nil {
			return nil, nil, fmt.Errorf("job folder %s: %w", dir, err)
		}
		jobs, id = filepath.Split(filepath.Clean(abs))
		if _, err := os.Stat(filepath.Join(abs, joblog.LogName)); err == nil {
			return resumeJob(ctx, k, s, abs, at, outputs...)
		} else if !errors.Is(err, fs.ErrNotExist) {
			return nil, nil, fmt.Errorf("job folder %s: %w", dir, err)
		}
	} else {
		id = newJobID(at)
	}
	call := session.NewCall(k, s.policy())
	_, adapter := adapterIn(engine)
	opened := joblog.Opened{Program: "callout " + version(), Job: id, Technician: s.Technician, Unit: s.Unit, Knowledge: k.Engine.Version(), Model: weightsSum(engine), Adapter: adapter}
	w, err := joblog.Create(jobs, opened, at, joblog.KeepHeadIn(s.Heads))
	if err != nil {
		return nil, nil, err
	}
	if err := call.Apply(1, at, w.Opened()); err != nil {
		return nil, nil, errors.Join(err, w.Close())
	}
	r := session.NewRunner(call, w, outputs...)
	keepSound(r, s, w.Dir())
	if err := r.Begin(ctx, at); err != nil {
		return nil, nil, errors.Join(err, w.Close())
	}
	return r, w, nil
}

func resumeJob(ctx context.Context, k *session.Knowledge, s settings, dir string, at time.Time, outputs ...session.Output) (*session.Runner, *joblog.Writer, error) {
	w, err := joblog.Open(dir, at, joblog.KeepHeadIn(s.Heads))
	if err != nil {
		return nil, nil, err
	}
	call := session.NewCall(k, s.policy())
	for e, err := range joblog.Entries(dir) {
		if err != nil {
			return nil, nil, errors.Join(err, w.Close())
		}
		body, err := joblog.Decode(e)
		if err == nil {
			err = call.Apply(e.Seq, e.At, body)
		}
		if err != nil {
			return nil, nil, errors.Join(fmt.Errorf("%s: entry %d: %w", dir, e.Seq, err), w.Close())
		}
	}
	r := session.NewRunner(call, w, outputs...)
	keepSound(r, s, w.Dir())
	if err := r.Resume(ctx, at); err != nil {
		return nil, nil, errors.Join(err, w.Close())
	}
	return r, w, nil
}

// tellMissed says that the job's record lost or changed entries, if it is gone on with.
func tellMissed(complain io.Writer, s settings, w *joblog.Writer) {
	if kept, missed := w.Missed(); missed {
		fmt.Fprintf(complain, "callout: %s: entry %d is not the one whose head was kept in %s: the record was cut or rewritten; callout verify says so from now on\n",
			w.Dir(), kept.Seq, s.Heads)
	}
}

// weightsSum is the SHA-256 of the weights that an engine names; "" if it names
// none.
func weightsSum(engine string) string {
	_, sum, _ := strings.Cut(engine, "sha256:")
	sum, _, _ = strings.Cut(sum, " ")
	return sum
}

// newJobID is the time, for people, and four random bytes, so that two jobs
// begun in one second stay apart.
func newJobID(at time.Time) string {
	var b [4]byte
	_, _ = rand.Read(b[:]) // it never fails
	return at.UTC().Format("20060102-150405-") + hex.EncodeToString(b[:])
}

// keepSound stores utterances in the job's audio folder, if the settings say so.
func keepSound(r *session.Runner, s settings, dir string) {
	if !s.KeepAudio {
		return
	}
	r.KeepSound(func(seq uint64, sound []float32) (string, string, error) {
		name := fmt.Sprintf("%06d.flac", seq)
		sum, err := keep.Save(filepath.Join(dir, joblog.AudioDir), name, sound)
		if err != nil {
			return "", "", err
		}
		return name, sum, nil
	})
}

// sweepSound removes recordings whose time is over. A failure is told and stops
// nothing.
func sweepSound(s settings, complain io.Writer) {
	if _, err := keep.Sweep(s.Jobs, joblog.AudioDir, s.AudioDays, time.Now()); err != nil {
		fmt.Fprintln(complain, "callout:", err)
	}
}
