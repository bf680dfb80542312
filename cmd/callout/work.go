package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"callout/joblog"
	"callout/session"
)

// scheduleName is the optional file in a folder of clips that says when each
// was spoken.
const scheduleName = "schedule.tsv"

func newWork() *cobra.Command {
	var dir string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "work CLIP.wav…",
		Short: "Work a whole job from recordings instead of a microphone",
		Long: `Work a whole job from recordings, in the order given, instead of a microphone:
the same recogniser, engine, answers and job log. A folder stands for the WAV
files in it, sorted by name.

If the folder holds ` + scheduleName + `, its lines say when each clip was spoken: the
file's name, a tab, and the time since the start, such as 4m30s. Waits then pass
as they did; without it the clips follow each other.`,
		Args: exactly(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			clips, err := schedule(args)
			if err != nil {
				return err
			}
			h, err := openHearing(s)
			if err != nil {
				return err
			}
			defer h.engine.Close()
			var view session.Output = plainView{cmd.OutOrStdout()}
			if asJSON {
				view = newJSONView(h.know, cmd.OutOrStdout())
			}
			sweepSound(s, cmd.ErrOrStderr())
			late := &lateOutput{}
			begin := time.Now()
			r, w, err := openJob(cmd.Context(), h.know, s, dir, h.engine.Engine(), begin, view, late)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, w.Close()) }()
			tellMissed(cmd.ErrOrStderr(), s, w)
			sp, err := openSpeaker(h.know, s, w.Dir(), cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			if sp != nil {
				defer func() { err = errors.Join(err, sp.Close()) }()
				if err := late.become(cmd.Context(), sp); err != nil {
					return err
				}
			}
			if err := workClips(cmd.Context(), r, h.ear, clips, begin); err != nil {
				return err
			}
			if !asJSON {
				fmt.Fprintln(cmd.OutOrStdout(), "job log:", w.Dir())
				if sp != nil {
					fmt.Fprintln(cmd.OutOrStdout(), "speech: ", sp.voice.Name()+", to", sp.sink.Name())
				}
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&dir, "job", "", "the job's folder; one that is there is gone on with (default: a new job in --jobs)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "write events as JSON Lines")
	return cmd
}

// lateOutput holds back the first records until the job's folder, and with it
// the speaker, is there.
type lateOutput struct {
	held []session.Record
	out  session.Output
}

func (l *lateOutput) Show(ctx context.Context, r session.Record) error {
	if l.out == nil {
		l.held = append(l.held, r)
		return nil
	}
	return l.out.Show(ctx, r)
}

func (l *lateOutput) become(ctx context.Context, out session.Output) error {
	l.out = out
	for _, r := range l.held {
		if err := out.Show(ctx, r); err != nil {
			return err
		}
	}
	l.held = nil
	return nil
}

// scheduled is one clip with the moment that it begins; at < 0 follows on.
type scheduled struct {
	path string
	at   time.Duration
}

func schedule(args []string) ([]scheduled, error) {
	paths, err := clipPaths(args)
	if err != nil {
		return nil, err
	}
	clips := make([]scheduled, len(paths))
	times := map[string]map[string]time.Duration{}
	for i, p := range paths {
		clips[i] = scheduled{p, -1}
		dir := filepath.Dir(p)
		if times[dir] == nil {
			if times[dir], err = readSchedule(filepath.Join(dir, scheduleName)); err != nil {
				return nil, err
			}
		}
		if at, ok := times[dir][filepath.Base(p)]; ok {
			clips[i].at = at
		}
	}
	return clips, nil
}

func readSchedule(path string) (map[string]time.Duration, error) {
	times := map[string]time.Duration{}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return times, nil
	}
	if err != nil {
		return nil, fmt.Errorf("schedule: %w", err)
	}
	defer f.Close()
	rows := csv.NewReader(f)
	rows.Comma, rows.Comment, rows.FieldsPerRecord, rows.LazyQuotes = '\t', '#', -1, true
	list, err := rows.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("schedule %s: %w", path, err)
	}
	for i, row := range list {
		if len(row) < 2 {
			return nil, fmt.Errorf("schedule %s: row %d: want the clip's name, a tab and a time such as 4m30s", path, i+1)
		}
		at, err := time.ParseDuration(strings.TrimSpace(row[1]))
		if err != nil || at < 0 {
			return nil, fmt.Errorf("schedule %s: row %d: %q is no time since the start, such as 4m30s", path, i+1, row[1])
		}
		times[row[0]] = at
	}
	return times, nil
}

// workClips plays the clips through the session on a clock of their own, which
// starts at begin and never goes back.
func workClips(ctx context.Context, r *session.Runner, ear ear, clips []scheduled, begin time.Time) error {
	now := begin
	for _, clip := range clips {
		if at := begin.Add(clip.at); clip.at >= 0 && at.After(now) {
			now = at
		}
		parts, err := readClip(clip.path)
		if err != nil {
			return err
		}
		start := now
		for _, part := range parts {
			now = start.Add(part.End)
			ear.Expect(r.Call())
			u, err := ear.Hear(ctx, part, now)
			if err != nil {
				return fmt.Errorf("clip %s: %w", clip.path, err)
			}
			u.Source = joblog.Speech
			if err := r.Hear(ctx, u); err != nil {
				return err
			}
		}
	}
	return nil
}
