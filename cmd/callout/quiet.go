package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"callout/internal/visible"
	"callout/joblog"
	"callout/live"
	"callout/quiet"
	"callout/session"
)

func newQuiet() *cobra.Command {
	var dir, follow string
	cmd := &cobra.Command{
		Use:   "quiet",
		Short: "Work a job as text, or look on at one: what was heard, values, what is live, what's next",
		Long: `Work a job as text on the laptop: typing is as good as speaking, and waits are
told when they are over. With --follow it looks on at a job that another process is
working, such as callout live, and changes nothing.

In a terminal it draws a screen; with its output in a pipe, or TERM=dumb, it writes
plain lines. NO_COLOR is obeyed. Ctrl-C leaves the job open.`,
		Args: exactly(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			if dir != "" && follow != "" {
				return usageError{errors.New("--job works a job, --follow looks on at one: name only one of them")}
			}
			k, err := session.LoadKnowledge()
			if err != nil {
				return err
			}
			q := quietRun{know: k, settings: s, in: cmd.InOrStdin(), out: cmd.OutOrStdout(), complain: cmd.ErrOrStderr()}
			if follow != "" {
				return q.follow(cmd.Context(), follow)
			}
			return q.work(cmd.Context(), dir)
		},
	}
	cmd.Flags().StringVar(&dir, "job", "", "the job's folder; one that is there is gone on with (default: a new job in --jobs)")
	cmd.Flags().StringVar(&follow, "follow", "", "look on at the job in this folder")
	return cmd
}

type quietRun struct {
	know          *session.Knowledge
	settings      settings
	in            io.Reader
	out, complain io.Writer
}

// drawn reports whether both ends are a terminal that can be drawn on.
func drawn(in io.Reader, out io.Writer) bool {
	i, ok := in.(*os.File)
	o, also := visible.Under(out).(*os.File)
	return ok && also && term.IsTerminal(i.Fd()) && term.IsTerminal(o.Fd()) && os.Getenv("TERM") != "dumb"
}

// follow looks on.
func (q quietRun) follow(ctx context.Context, dir string) error {
	if !drawn(q.in, q.out) {
		return left(ctx, quiet.Follow(ctx, dir, plainView{q.out}))
	}
	screen, err := quiet.NewScreen(q.know, nil)
	if err != nil {
		return err
	}
	inner, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() {
		err := quiet.Follow(inner, dir, screen)
		if err != nil && inner.Err() == nil {
			screen.End() // the error is told once the screen is gone
		}
		done <- err
	}()
	err = screen.Run(ctx, q.in, visible.Under(q.out), os.Environ())
	stop()
	return errors.Join(left(ctx, err), left(inner, <-done))
}

// left is err, or nil if the person left.
func left(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil && errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// work holds the session itself.
func (q quietRun) work(ctx context.Context, dir string) error {
	talk := live.New(live.Config{Book: q.know.Book})
	inner, stop := context.WithCancel(ctx)
	defer stop()
	var view session.Output = plainView{q.out}
	var screen *quiet.Screen
	if drawn(q.in, q.out) {
		var err error
		if screen, err = quiet.NewScreen(q.know, func(text string) { talk.Typed(inner, text) }); err != nil {
			return err
		}
		view = screen
	}
	if screen != nil {
		if err := showKept(ctx, dir, screen); err != nil {
			return err
		}
	}
	r, w, err := openJob(ctx, q.know, q.settings, dir, "", time.Now(), view, talk)
	if err != nil {
		return err
	}
	tellMissed(q.complain, q.settings, w)
	if screen != nil {
		if err := screen.Show(ctx, session.Record{Seq: 1, Body: w.Opened()}); err != nil {
			return errors.Join(err, w.Close())
		}
	}
	r.Through(talk.TimeLog)
	ended := make(chan error, 1)
	go func() {
		ended <- talk.Run(inner, live.Of(r))
		if screen != nil {
			screen.Close(r.Call().Closed())
		}
	}()
	if screen != nil {
		err = screen.Run(ctx, q.in, visible.Under(q.out), os.Environ())
		stop()
	} else {
		err = q.lines(inner, talk, ended)
		stop()
	}
	ran := <-ended
	err = errors.Join(left(ctx, err), left(inner, ran), w.Close())
	if !r.Call().Closed() {
		fmt.Fprintf(q.complain, "callout: the job stays open; go on with: callout quiet --job %s\n", w.Dir())
	} else {
		fmt.Fprintln(q.complain, "callout: job log:", w.Dir())
	}
	return err
}

// showKept shows the log of a job that is gone on with; nothing if there is none.
func showKept(ctx context.Context, dir string, out session.Output) error {
	if dir == "" {
		return nil
	}
	if _, err := os.Stat(filepath.Join(dir, joblog.LogName)); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	for e, err := range joblog.Entries(dir) {
		var damage *joblog.Damage
		if errors.As(err, &damage) {
			return nil // opening the job says what is wrong, or mends it
		}
		if err != nil {
			return err
		}
		body, err := joblog.Decode(e)
		if err != nil {
			return fmt.Errorf("%s: entry %d: %w", dir, e.Seq, err)
		}
		if err := out.Show(ctx, session.Record{Seq: e.Seq, At: e.At, Body: body}); err != nil {
			return err
		}
	}
	return nil
}

// lines types what comes on standard input, until it ends or the job is closed.
func (q quietRun) lines(ctx context.Context, talk *live.Session, ended chan error) error {
	list := inputLines(ctx, q.in)
	for {
		select {
		case l, more := <-list:
			switch {
			case !more:
				return talk.Settle(ctx)
			case errors.Is(l.err, errLongLine):
				fmt.Fprintf(q.complain, "callout: line %d: %v\n", l.n, l.err)
			case l.err != nil:
				return fmt.Errorf("standard input: %w", l.err)
			default:
				if text := strings.TrimSpace(l.text); text != "" {
					talk.Typed(ctx, text)
				}
			}
		case err := <-ended:
			ended <- err // for the caller, too
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
