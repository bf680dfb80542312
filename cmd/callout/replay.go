package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"callout/joblog"
	"callout/session"
)

func newReplay() *cobra.Command {
	var asJSON bool
	var with string
	cmd := &cobra.Command{
		Use:   "replay JOB",
		Short: "Tell a recorded job as it was, or what today's callout would do otherwise",
		Long: `Tell a recorded job as it was, from its log alone.

With --with today, hear it again with today's knowledge, at the times of the log,
and list where what was understood, the verdict or the next step would differ.`,
		Args: exactly(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if with != "" && with != "today" {
				return usageError{fmt.Errorf("--with %q: the only choice is today", with)}
			}
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			k, err := session.LoadKnowledge()
			if err != nil {
				return err
			}
			if with != "" {
				return replayToday(cmd, k, s, args[0], asJSON)
			}
			var view session.Output = plainView{cmd.OutOrStdout()}
			if asJSON {
				view = newJSONView(k, cmd.OutOrStdout())
			}
			heads, err := joblog.ReadHeads(s.Heads)
			if err != nil {
				return err
			}
			kept, missing := heads.Of(args[0])
			for e, err := range joblog.Entries(args[0]) {
				if err != nil {
					return err
				}
				missing = missing && kept != joblog.Head{Seq: e.Seq, Hash: e.Hash}
				body, err := joblog.Decode(e)
				if err != nil {
					return fmt.Errorf("%s: entry %d: %w", args[0], e.Seq, err)
				}
				if err := view.Show(cmd.Context(), session.Record{Seq: e.Seq, At: e.At, Body: body}); err != nil {
					return err
				}
			}
			if missing {
				return fmt.Errorf("%s: %w: it does not hold the head %s that was kept of it", args[0], errNotWhole, kept)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write events, or differences, as JSON Lines")
	cmd.Flags().StringVar(&with, "with", "", "\"today\": hear it again with today's knowledge and list the differences")
	return cmd
}

func replayToday(cmd *cobra.Command, k *session.Knowledge, s settings, dir string, asJSON bool) error {
	diffs, err := session.Replay(k, s.policy(), joblog.Entries(dir))
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	for _, d := range diffs {
		if asJSON {
			if err := json.NewEncoder(out).Encode(map[string]any{"seq": d.Seq, "text": d.Text, "what": d.What, "then": d.Then, "now": d.Now}); err != nil {
				return fmt.Errorf("writing: %w", err)
			}
			continue
		}
		fmt.Fprintf(out, "entry %d, heard %q: %s\n  then: %s\n  now:  %s\n", d.Seq, d.Text, d.What, orDash(d.Then), orDash(d.Now))
	}
	if len(diffs) == 0 && !asJSON {
		fmt.Fprintln(out, "today's callout would have done the same")
	}
	return nil
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
