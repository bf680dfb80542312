package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"callout/joblog"
	"callout/session"
)

func newTyped() *cobra.Command {
	var asJSON bool
	var dir string
	cmd := &cobra.Command{
		Use:   "typed",
		Short: "Work a job by typing: one callout a line on standard input",
		Long: `Work a job by typing, one callout a line. It is the same session as by speech.

A line may start with @ and a time (RFC 3339), which is then the clock, so that
a whole call can be played back in a blink:

  @2026-03-08T14:05:09Z compressor amps seventy two

Lines that start with # are comments. With --json each event is one JSON object
a line: "event" and "at", then its fields; callout catalogue lists the ids.`,
		Example: "  printf 'compressor amps seventy two\\nnameplate LRA eighty four\\n' | callout typed",
		Args:    exactly(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			k, err := session.LoadKnowledge()
			if err != nil {
				return err
			}
			var view session.Output = plainView{cmd.OutOrStdout()}
			if asJSON {
				view = newJSONView(k, cmd.OutOrStdout())
			}
			p := typing{know: k, settings: s, dir: dir, view: view, complain: cmd.ErrOrStderr()}
			where, err := p.play(cmd.Context(), cmd.InOrStdin())
			if where != "" && !asJSON {
				fmt.Fprintln(cmd.OutOrStdout(), "job log:", where)
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write events as JSON Lines")
	cmd.Flags().StringVar(&dir, "job", "", "the job's folder; one that is there is gone on with (default: a new job in --jobs)")
	return cmd
}

// typing is a job that is typed.
type typing struct {
	know     *session.Knowledge
	settings settings
	dir      string
	view     session.Output
	complain io.Writer

	runner *session.Runner
	log    *joblog.Writer
	bad    int // lines that could not be taken
}

// play takes the lines of in and returns the job's folder. What is wrong with a
// line is told, and the next is taken.
func (p *typing) play(ctx context.Context, in io.Reader) (where string, err error) {
	defer func() {
		if p.log != nil {
			where, err = p.log.Dir(), errors.Join(err, p.log.Close())
		}
	}()
	list := inputLines(ctx, in)
	for {
		select {
		case <-ctx.Done():
			return "", context.Cause(ctx)
		case l, more := <-list:
			if !more && p.bad > 0 {
				return "", fmt.Errorf("lines that could not be taken: %d", p.bad)
			}
			if !more {
				return "", nil
			}
			if err := p.line(ctx, l); err != nil {
				return "", err
			}
		}
	}
}

func (p *typing) line(ctx context.Context, l inputLine) error {
	if l.err != nil && !errors.Is(l.err, errLongLine) {
		return fmt.Errorf("standard input: %w", l.err)
	}
	at, text, err := typedLine(l.text)
	if err = errors.Join(l.err, err); err != nil {
		p.bad++
		fmt.Fprintf(p.complain, "callout: line %d: %v\n", l.n, err)
		return nil
	}
	if text == "" {
		return nil
	}
	if p.runner == nil {
		if p.runner, p.log, err = openJob(ctx, p.know, p.settings, p.dir, "", at, p.view); err != nil {
			return err
		}
		tellMissed(p.complain, p.settings, p.log)
	}
	if err := p.runner.Hear(ctx, session.Utterance{At: at, Source: joblog.Typed, Text: text, Certainty: 1}); err != nil {
		return fmt.Errorf("line %d: %w", l.n, err)
	}
	return nil
}

// typedLine splits "@time text"; a line without a time happens now.
func typedLine(line string) (time.Time, string, error) {
	line = strings.TrimSpace(line)
	if strings.HasPrefix(line, "#") {
		return time.Time{}, "", nil
	}
	stamp, timed := strings.CutPrefix(line, "@")
	if !timed {
		return time.Now(), line, nil
	}
	stamp, text, _ := strings.Cut(stamp, " ")
	at, err := time.Parse(time.RFC3339, stamp)
	if err != nil {
		return time.Time{}, "", fmt.Errorf("%q is not a time as RFC 3339 has it, such as @2026-03-08T14:05:09Z", "@"+stamp)
	}
	return at, strings.TrimSpace(text), nil
}
