package review

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"callout/catalogue"
	"callout/internal/visible"

	"github.com/spf13/cobra"
)

// Options are what the command takes from the program that mounts it.
type Options struct {
	// Words gives names to ids.
	Words *catalogue.Catalogue
	// Store is the address to use where --store is not given; "" for an SQLite
	// file in the folder that is reviewed.
	Store string
	// Source is this machine's name; "" for the host's.
	Source string
	// Limits are the defaults of the flags of the same names.
	Limits Limits
	// Log gets what goes wrong while pages are served.
	Log *slog.Logger
	// Heads says in which file heads of logs are kept outside the jobs; nil, or
	// "", for nowhere.
	Heads func(*cobra.Command) (string, error)
}

// indexName is the SQLite file in a folder of jobs; a walk passes over it.
const indexName = ".review.sqlite"

// command is what all subcommands share.
type command struct {
	Options
	store        string
	filter       Filter
	since, until string
	asJSON       bool
	ask          map[Question]*bool
}

// NewCommand makes the command "review" with all below it.
func NewCommand(o Options) *cobra.Command {
	c := &command{Options: o, ask: map[Question]*bool{}}
	if c.Source == "" {
		c.Source, _ = os.Hostname() // "" is a name too
	}
	root := &cobra.Command{
		Use:   "review [FOLDER]",
		Short: "ask many job logs at once",
		Long: "Review reads the job logs under FOLDER into an index, then lists the jobs, or answers the questions that are given as flags.\n" +
			"Without FOLDER it asks the index as it is, which --store must then name.",
		Args: cobra.MaximumNArgs(1),
		RunE: c.run(c.list),
	}
	flags := root.PersistentFlags()
	flags.StringVar(&c.store, "store", o.Store, "the index: an SQLite file or a postgres:// address, its password better in PGPASSWORD or ~/.pgpass (default FOLDER/"+indexName+")")
	flags.StringVar(&c.filter.Technician, "technician", "", "only jobs of this technician's code")
	flags.StringVar(&c.filter.Unit, "unit", "", "only jobs on this unit's code")
	flags.StringVar(&c.filter.Verdict, "verdict", "", "only jobs with this verdict")
	flags.StringVar(&c.filter.Search, "search", "", "only jobs in which these words were heard or noted")
	flags.StringVar(&c.since, "since", "", "only jobs opened on or after this day, as 2026-03-31 (UTC)")
	flags.StringVar(&c.until, "until", "", "only jobs opened before this day")
	flags.IntVar(&c.Limits.Corrected, "corrected-from", o.Limits.Corrected, "--corrected: this many callouts asked back, struck or corrected")
	flags.Float64Var(&c.Limits.Minutes, "long-from", o.Limits.Minutes, "--long: this many minutes")
	flags.Float64Var(&c.Limits.ReturnDays, "returns-within", o.Limits.ReturnDays, "--returns: this many days")
	root.Flags().BoolVar(&c.asJSON, "json", false, "one JSON object a line")
	root.Flags().IntVar(&c.filter.Limit, "limit", 0, "at most this many lines (default all)")
	for _, q := range Questions() {
		c.ask[q] = root.Flags().Bool(string(q), false, strings.ToLower(q.words()))
	}
	root.AddCommand(c.serve(), c.report(), c.export(), c.sync())
	return root
}

// run opens the store, brings it up to date with the folder if there is one,
// and does the rest.
func (c *command) run(do func(cmd *cobra.Command, s *Store, folder string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		var err error
		if c.filter.Since, err = day("since", c.since); err != nil {
			return err
		}
		if c.filter.Until, err = day("until", c.until); err != nil {
			return err
		}
		folder := ""
		if len(args) > 0 {
			folder = args[0]
			if info, err := os.Stat(folder); err != nil {
				return fmt.Errorf("review: %w", err)
			} else if !info.IsDir() {
				return fmt.Errorf("review: %s is no folder; give the folder that holds the jobs", folder)
			}
		}
		store := c.store
		if store == "" && folder == "" {
			return errors.New("review: give a folder of jobs, or an index with --store")
		}
		if store == "" {
			store = filepath.Join(folder, indexName)
		}
		if len(c.filter.Search) > maxAsked {
			return fmt.Errorf("review: --search: more than %d bytes", maxAsked)
		}
		err = c.with(cmd, store, folder, do)
		if err != nil && folder != "" && rebuildable(store, err) {
			if err := setAside(cmd.ErrOrStderr(), store, err); err != nil {
				return err
			}
			err = c.with(cmd, store, folder, do)
		}
		if err != nil && c.store == "" && errors.Is(err, ErrStore) {
			return fmt.Errorf("%w; name another place with --store", err)
		}
		return err
	}
}

// day reads the day that a flag names, if it names one.
func day(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return at, fmt.Errorf("review: --%s: %q is no day; write it as 2026-03-31", flag, text)
	}
	return at, nil
}

func (c *command) upToDate(ctx context.Context, out io.Writer, s *Store, folder string) error {
	done, err := s.Sync(ctx, c.Source, folder)
	for _, d := range done.Damaged {
		fmt.Fprintln(out, "damaged:", visible.Text(d))
	}
	for _, dir := range done.Gone {
		fmt.Fprintf(out, "gone: %s: a head of its record is kept, the record is not there; if you deleted it: callout verify --forget %[1]s\n", visible.Text(dir))
	}
	if err != nil {
		return err
	}
	if done.Read > 0 {
		fmt.Fprintf(out, "read %d of %d logs: %d jobs and %d entries more\n", done.Read, done.Seen, done.Jobs, done.Entries)
	}
	return nil
}

func (c *command) list(cmd *cobra.Command, s *Store, _ string) error {
	ctx, out := cmd.Context(), cmd.OutOrStdout()
	asked := false
	for _, q := range Questions() {
		if !*c.ask[q] {
			continue
		}
		asked = true
		if err := c.answer(ctx, out, s, q); err != nil {
			return err
		}
	}
	if asked {
		return nil
	}
	w := tabwriter.NewWriter(out, 2, 8, 2, ' ', 0)
	if !c.asJSON {
		fmt.Fprintln(w, "OPENED\tJOB\tUNIT\tTECHNICIAN\tMIN\tASKED\tSTRUCK\tVERDICT\tOUTCOME\tRECORD")
	}
	rest := c.filter.Limit
	f := c.filter
	f.Limit = exportPage
	for {
		if c.filter.Limit > 0 {
			f.Limit = min(rest, exportPage)
		}
		rows, err := s.Jobs(ctx, f, c.Limits)
		if err != nil {
			return err
		}
		for _, r := range rows {
			if c.asJSON {
				if err := json.NewEncoder(out).Encode(r); err != nil {
					return fmt.Errorf("review: %w", err)
				}
				continue
			}
			outcome := "open"
			if r.Closed {
				outcome = plain(r.Outcome)
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%.0f\t%d/%d\t%d\t%s\t%s\t%s\n", r.Opened.Format("2006-01-02 15:04"), visible.Text(r.Job), visible.Text(r.Unit),
				visible.Text(r.Technician), r.Minutes, r.Asked, r.Heard, r.Retracted, visible.Text(plain(r.Verdict)), visible.Text(outcome), r.State)
		}
		rest -= len(rows)
		if len(rows) < f.Limit || c.filter.Limit > 0 && rest <= 0 {
			break
		}
		f.After = rows[len(rows)-1].Job
	}
	return w.Flush()
}

func (c *command) answer(ctx context.Context, out io.Writer, s *Store, q Question) error {
	w := tabwriter.NewWriter(out, 2, 8, 2, ' ', 0)
	n := 0
	err := s.Ask(ctx, q, c.filter, c.Limits, func(a Answer) error {
		if c.asJSON {
			return json.NewEncoder(out).Encode(a)
		}
		if n++; n == 1 {
			fmt.Fprintln(w, strings.ToUpper(q.words()))
		}
		where, day := "", "-"
		if !a.Opened.IsZero() {
			day = a.Opened.Format(time.DateOnly)
		}
		if a.Seq > 0 {
			where = fmt.Sprintf("entry %d", a.Seq)
		}
		_, err := fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", day, visible.Text(a.Job), visible.Text(a.Unit), visible.Text(a.Technician), where, visible.Text(a.What))
		return err
	})
	if err != nil {
		return err
	}
	if n == 0 && !c.asJSON {
		fmt.Fprintf(w, "%s: none\n", q.words())
	}
	return w.Flush()
}

func (c *command) sync() *cobra.Command {
	return &cobra.Command{
		Use:   "ship FOLDER",
		Short: "bring the index up to date with the logs under FOLDER, and no more",
		Long: "Ship reads what is new under FOLDER into the index that --store names. With a postgres:// address the logs themselves go there too.\n" +
			"It may be run again at any time, from any number of machines, and after any interruption: nothing is added twice, nothing is lost.",
		Args: cobra.ExactArgs(1),
		RunE: c.run(func(*cobra.Command, *Store, string) error { return nil }),
	}
}

func (c *command) report() *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "report JOB",
		Short: "write one job's report for the customer's file, as one HTML page",
		Long: "Report writes a page that needs no other file; any browser prints it to paper or PDF.\n" +
			"JOB is the folder of a job, or the id of a job in the index that --store names.",
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			job, store, folder := args[0], c.store, ""
			if info, err := os.Stat(job); err == nil && info.IsDir() {
				dir, err := os.MkdirTemp("", "review-*")
				if err != nil {
					return fmt.Errorf("review: %w", err)
				}
				defer os.RemoveAll(dir)
				store, folder = filepath.Join(dir, indexName), job
			}
			if store == "" {
				return fmt.Errorf("review: %s is no folder; give a job's folder, or its id and --store", job)
			}
			heads, err := c.heads(cmd)
			if err != nil {
				return err
			}
			s, err := Open(cmd.Context(), store)
			if err != nil {
				return err
			}
			defer func() { _ = s.Close() }() // nothing is written
			s.CompareWith(heads)
			if folder != "" {
				if err := c.upToDate(cmd.Context(), io.Discard, s, folder); err != nil {
					return err
				}
				rows, err := s.Jobs(cmd.Context(), Filter{Limit: 2}, c.Limits)
				if err != nil {
					return err
				}
				if len(rows) != 1 {
					return fmt.Errorf("review: %s holds %d jobs that can be read; give one job's folder", folder, len(rows))
				}
				job = rows[0].Job
			}
			if to == "" || to == "-" {
				return s.WriteReport(cmd.Context(), cmd.OutOrStdout(), c.Words, job)
			}
			return writeWhole(to, func(w io.Writer) error { return s.WriteReport(cmd.Context(), w, c.Words, job) })
		},
	}
	cmd.Flags().StringVarP(&to, "out", "o", "", "the file to write (default standard output)")
	return cmd
}

// writeWhole makes a file that appears whole or not at all.
func writeWhole(name string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".report-*")
	if err != nil {
		return fmt.Errorf("review: %w", err)
	}
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return fmt.Errorf("review: %w", err)
	}
	return nil
}

func (c *command) export() *cobra.Command {
	var to, format string
	cmd := &cobra.Command{
		Use:   "export [FOLDER] --to DIR",
		Short: "write jobs, readings and findings as CSV or Parquet",
		Args:  cobra.MaximumNArgs(1),
		RunE: c.run(func(cmd *cobra.Command, s *Store, _ string) error {
			n, err := s.Export(cmd.Context(), to, Format(format), c.filter, c.Limits)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%d jobs, %d readings, %d findings in %s\n", n.Jobs, n.Readings, n.Findings, to)
			return err
		}),
	}
	cmd.Flags().StringVar(&to, "to", "", "the folder to write into")
	cmd.Flags().StringVar(&format, "format", string(CSV), "csv or parquet")
	_ = cmd.MarkFlagRequired("to") // it is there, three lines above
	return cmd
}
