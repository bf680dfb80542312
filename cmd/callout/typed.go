package main

import (
	"bufio"
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

// maxLine bounds one typed line, in bytes.
const maxLine = 16 << 10

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
			where, err := typedJob(cmd.Context(), k, s, dir, cmd.InOrStdin(), view)
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

// typedJob plays the lines of in and returns the job's folder.
func typedJob(ctx context.Context, k *session.Knowledge, s settings, dir string, in io.Reader, view session.Output) (where string, err error) {
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 0, 4096), maxLine)
	var r *session.Runner
	var w *joblog.Writer
	defer func() {
		if w != nil {
			err = errors.Join(err, w.Close())
		}
	}()
	for n := 1; ctx.Err() == nil && lines.Scan(); n++ {
		at, text, err := typedLine(lines.Text())
		if err != nil {
			return where, fmt.Errorf("line %d: %w", n, err)
		}
		if text == "" {
			continue
		}
		if r == nil {
			if r, w, err = openJob(ctx, k, s, dir, "", at, view); err != nil {
				return "", err
			}
			where = w.Dir()
		}
		if err := r.Hear(ctx, session.Utterance{At: at, Source: joblog.Typed, Text: text, Certainty: 1}); err != nil {
			return where, fmt.Errorf("line %d: %w", n, err)
		}
	}
	if err := lines.Err(); err != nil {
		if errors.Is(err, bufio.ErrTooLong) {
			err = fmt.Errorf("a line is longer than %d bytes; say one callout a line", maxLine)
		}
		return where, fmt.Errorf("standard input: %w", err)
	}
	return where, ctx.Err()
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
