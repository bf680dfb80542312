package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"callout/joblog"
)

var errNotWhole = errors.New("the record is not whole")

func newVerify() *cobra.Command {
	var asJSON, forget bool
	var heads []string
	cmd := &cobra.Command{
		Use:   "verify JOB…",
		Short: "Tell whether job logs are whole and unaltered",
		Long: `Tell whether each job's record is whole and unaltered. JOB is the job's folder.

A record by itself shows any entry that was changed, but not that entries were cut
off its end, nor that somebody changed it and worked out every later hash anew. It
is therefore compared with the head that was kept of it when it was last worked or
reviewed on this machine (see --heads), and with any that you kept yourself: verify
prints the head of each record, give it back with --head.

Exit code 0: every record is whole. 3: at least one is torn or altered, does not
hold a kept head, or lies in a folder of another name than its job.`,
		Example: "  callout verify --head 41:9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08 jobs/20260308-140500-1a2b3c4d",
		Args:    exactly(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, dirs []string) error {
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			given, err := parseHeads(heads, dirs)
			if err != nil {
				return usageError{err}
			}
			kept, err := joblog.ReadHeads(s.Heads)
			if err != nil {
				return err
			}
			if forget {
				return forgetHeads(kept, dirs)
			}
			var errs []error
			for _, dir := range dirs {
				errs = append(errs, verifyJob(cmd.OutOrStdout(), dir, kept, given, asJSON))
			}
			return errors.Join(errs...)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write one JSON object a job")
	cmd.Flags().StringArrayVar(&heads, "head", nil, "a head of the record that you kept, as verify prints it; may be given several times")
	cmd.Flags().BoolVar(&forget, "forget", false, "forget the heads kept of these jobs, as after you deleted one, and no more")
	return cmd
}

func parseHeads(texts, dirs []string) ([]joblog.Head, error) {
	if len(texts) > 0 && len(dirs) > 1 {
		return nil, errors.New("--head belongs to one record: name one job")
	}
	var heads []joblog.Head
	for _, text := range texts {
		h, err := joblog.ParseHead(text)
		if err != nil {
			return nil, err
		}
		heads = append(heads, h)
	}
	return heads, nil
}

func forgetHeads(kept *joblog.Heads, dirs []string) error {
	none := map[string]joblog.Head{}
	for _, dir := range dirs {
		none[dir] = joblog.Head{}
	}
	return kept.Keep(none)
}

// verified is a report with what it was compared with.
type verified struct {
	joblog.Report
	// Missing are kept heads that the log does not go through.
	Missing []joblog.Head `json:",omitempty"`
}

func (v verified) whole() bool {
	return v.State == joblog.Whole && len(v.AudioAltered) == 0 && v.Folder == "" && len(v.Missing) == 0
}

func verifyJob(out io.Writer, dir string, heads *joblog.Heads, given []joblog.Head, asJSON bool) error {
	compare := slices.Clone(given)
	if h, ok := heads.Of(dir); ok {
		compare = append(compare, h)
	}
	r, err := joblog.VerifyAgainst(dir, compare...)
	if err != nil {
		return err
	}
	v := verified{Report: r}
	for _, h := range compare {
		if !r.Holds(h) && !slices.Contains(v.Missing, h) {
			v.Missing = append(v.Missing, h)
		}
	}
	if asJSON {
		if err := json.NewEncoder(out).Encode(v); err != nil {
			return fmt.Errorf("writing: %w", err)
		}
	} else {
		writeReport(out, dir, v, len(compare))
	}
	if !v.whole() {
		return fmt.Errorf("%s: %w", dir, errNotWhole)
	}
	return nil
}

func writeReport(out io.Writer, dir string, r verified, compared int) {
	state := string(r.State)
	if r.State == joblog.Whole && !r.Closed {
		state = "whole so far, not closed"
	}
	if len(r.Missing) > 0 && r.State == joblog.Whole {
		state = "cut or rewritten"
	}
	fmt.Fprintf(out, "%s: %s\n", dir, state)
	fmt.Fprintf(out, "  job %s, %d entries, %s to %s\n", r.Job, r.Entries, r.First.Local().Format(time.DateTime), r.Last.Local().Format(time.DateTime))
	fmt.Fprintf(out, "  head %s\n", r.Head)
	for _, h := range r.Missing {
		fmt.Fprintf(out, "  it does not hold the kept head %s\n", h)
	}
	if compared == 0 {
		fmt.Fprintln(out, "  no head of it was kept: what was cut off its end, or hashed anew, can't be seen")
	}
	if r.Folder != "" {
		fmt.Fprintf(out, "  it is the record of job %s, and lies in the folder %s\n", r.Job, r.Folder)
	}
	if r.Damage != nil {
		fmt.Fprintf(out, "  %v\n", r.Damage)
	}
	if len(r.Backwards) > 0 {
		fmt.Fprintf(out, "  the clock was set back before entries %v; their order is still certain\n", r.Backwards)
	}
	for _, name := range r.TornFiles {
		fmt.Fprintf(out, "  an unfinished line was set aside in %s\n", name)
	}
	if n := r.AudioKept + r.AudioGone + len(r.AudioAltered); n > 0 {
		fmt.Fprintf(out, "  recordings: %d kept, %d gone, %d altered\n", r.AudioKept, r.AudioGone, len(r.AudioAltered))
	}
}
