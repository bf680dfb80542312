package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"callout/joblog"
)

var errNotWhole = errors.New("the record is not whole")

func newVerify() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "verify JOB…",
		Short: "Tell whether job logs are whole and unaltered",
		Long: `Tell whether each job's record is whole and unaltered. JOB is the job's folder.

Exit code 0: every record is whole. 3: at least one is torn or altered. A record
that ends before the job was closed is whole as far as it goes; entries cut off
its end can only be noticed against a head that was kept elsewhere.`,
		Args: exactly(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, dirs []string) error {
			var errs []error
			for _, dir := range dirs {
				report, err := joblog.Verify(dir)
				if err != nil {
					errs = append(errs, err)
					continue
				}
				if asJSON {
					if err := json.NewEncoder(cmd.OutOrStdout()).Encode(report); err != nil {
						return fmt.Errorf("writing: %w", err)
					}
				} else {
					writeReport(cmd.OutOrStdout(), dir, report)
				}
				if report.State != joblog.Whole || len(report.AudioAltered) > 0 {
					errs = append(errs, fmt.Errorf("%s: %w", dir, errNotWhole))
				}
			}
			return errors.Join(errs...)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write one JSON object a job")
	return cmd
}

func writeReport(out io.Writer, dir string, r joblog.Report) {
	state := string(r.State)
	if r.State == joblog.Whole && !r.Closed {
		state = "whole so far, not closed"
	}
	fmt.Fprintf(out, "%s: %s\n", dir, state)
	fmt.Fprintf(out, "  job %s, %d entries, %s to %s\n", r.Job, r.Entries, r.First.Local().Format(time.DateTime), r.Last.Local().Format(time.DateTime))
	fmt.Fprintf(out, "  head %d %s\n", r.Head.Seq, r.Head.Hash)
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
