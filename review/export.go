package review

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"callout/joblog"

	"github.com/parquet-go/parquet-go"
)

// Format is a kind of file that Export writes.
type Format string

// The formats of an export.
const (
	CSV     Format = "csv"
	Parquet Format = "parquet"
)

// jobRecord is one line of jobs.csv. Times are UTC.
type jobRecord struct {
	Job        string    `parquet:"job"`
	Unit       string    `parquet:"unit"`
	Technician string    `parquet:"technician"`
	Complaint  string    `parquet:"complaint"`
	Opened     time.Time `parquet:"opened,timestamp(microsecond)"`
	Last       time.Time `parquet:"last,timestamp(microsecond)"`
	Minutes    float64   `parquet:"minutes"`
	Closed     bool      `parquet:"closed"`
	State      string    `parquet:"state"`
	Entries    int64     `parquet:"entries"`
	Head       string    `parquet:"head"`
	Heard      int64     `parquet:"heard"`
	Recorded   int64     `parquet:"recorded"`
	Asked      int64     `parquet:"asked"`
	Ignored    int64     `parquet:"ignored"`
	Retracted  int64     `parquet:"retracted"`
	Verdict    string    `parquet:"verdict"`
	Outcome    string    `parquet:"outcome"`
	Proved     bool      `parquet:"proved"`
}

// readingRecord is one line of readings.csv: a recorded reading. Struck ones
// are there too, and say so.
type readingRecord struct {
	Job       string    `parquet:"job"`
	Seq       int64     `parquet:"seq"`
	At        time.Time `parquet:"at,timestamp(microsecond)"`
	Quantity  string    `parquet:"quantity"`
	Place     string    `parquet:"place"`
	Value     float64   `parquet:"value"`
	Unit      string    `parquet:"unit"` // UCUM
	Qualifier string    `parquet:"qualifier"`
	Certainty float64   `parquet:"certainty"`
	Struck    bool      `parquet:"struck"`
}

// findingRecord is one line of findings.csv: one answer to one question.
type findingRecord struct {
	Question   string  `parquet:"question"`
	Job        string  `parquet:"job"`
	Unit       string  `parquet:"unit"`
	Technician string  `parquet:"technician"`
	Seq        int64   `parquet:"seq"`
	What       string  `parquet:"what"`
	Number     float64 `parquet:"number"`
}

// Exported counts what Export wrote.
type Exported struct{ Jobs, Readings, Findings int }

// Export writes jobs, readings and findings that the filter keeps as three
// files into the folder dir, which is made if need be. Each file appears whole
// or not at all, and only the user can read it.
func (s *Store) Export(ctx context.Context, dir string, format Format, f Filter, l Limits) (Exported, error) {
	var n Exported
	if format != CSV && format != Parquet {
		return n, fmt.Errorf("review: export: no format %q", format)
	}
	err := os.MkdirAll(dir, 0o700)
	if err == nil {
		n.Jobs, err = export(dir, "jobs", format, func(put func(jobRecord) error) error { return s.exportJobs(ctx, f, l, put) })
	}
	if err == nil {
		n.Readings, err = export(dir, "readings", format, func(put func(readingRecord) error) error { return s.exportReadings(ctx, f, l, put) })
	}
	if err == nil {
		n.Findings, err = export(dir, "findings", format, func(put func(findingRecord) error) error { return s.exportFindings(ctx, f, l, put) })
	}
	if err != nil {
		return n, fmt.Errorf("review: export: %w", err)
	}
	return n, nil
}

// exportPage bounds how many jobs are in memory at once.
const exportPage = 500

func (s *Store) eachJob(ctx context.Context, f Filter, l Limits, do func(Row) error) error {
	f.Limit = exportPage
	for {
		rows, err := s.Jobs(ctx, f, l)
		if err != nil || len(rows) == 0 {
			return err
		}
		for _, r := range rows {
			if err := do(r); err != nil {
				return err
			}
		}
		f.After = rows[len(rows)-1].Job
	}
}

func (s *Store) exportJobs(ctx context.Context, f Filter, l Limits, put func(jobRecord) error) error {
	return s.eachJob(ctx, f, l, func(r Row) error {
		return put(jobRecord{r.Job, r.Unit, r.Technician, r.Complaint, r.Opened, r.Last, r.Minutes, r.Closed, r.State, int64(r.Entries), r.Head,
			int64(r.Heard), int64(r.Recorded), int64(r.Asked), int64(r.Ignored), int64(r.Retracted), r.Verdict, r.Outcome, r.Proved})
	})
}

func (s *Store) exportReadings(ctx context.Context, f Filter, l Limits, put func(readingRecord) error) error {
	return s.eachJob(ctx, f, l, func(r Row) error {
		log, err := s.Log(ctx, r.Job)
		if err != nil {
			return err
		}
		defer log.Close()
		var rs []readingRecord
		struck := map[int64]bool{}
		for e, err := range joblog.Read(log) {
			var d *joblog.Damage
			if errors.As(err, &d) {
				break // jobs.csv says that the record is damaged
			}
			if err != nil {
				return err
			}
			body, err := joblog.Decode(e)
			if err != nil {
				break
			}
			switch b := body.(type) {
			case joblog.Retracted:
				struck[int64(b.Entry)] = true
			case joblog.Callout:
				for _, x := range b.Readings {
					if b.Decision == joblog.Recorded {
						rs = append(rs, readingRecord{r.Job, int64(e.Seq), e.At, x.Quantity, x.Place, x.Value, x.Unit, string(x.Qualifier), x.Certainty, false})
					}
				}
			}
		}
		for _, x := range rs {
			x.Struck = struck[x.Seq]
			if err := put(x); err != nil {
				return err
			}
		}
		return nil
	})
}

func (s *Store) exportFindings(ctx context.Context, f Filter, l Limits, put func(findingRecord) error) error {
	for _, q := range Questions() {
		err := s.Ask(ctx, q, f, l, func(a Answer) error {
			return put(findingRecord{string(a.Question), a.Job, a.Unit, a.Technician, int64(a.Seq), a.What, a.Number})
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// record is a row that can be a line of CSV.
type record interface {
	jobRecord | readingRecord | findingRecord
}

func export[T record](dir, name string, format Format, rows func(put func(T) error) error) (n int, err error) {
	f, err := os.CreateTemp(dir, "."+name+"-*")
	if err != nil {
		return 0, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}()
	put, finish := csvWriter[T](f)
	if format == Parquet {
		put, finish = parquetWriter[T](f)
	}
	if err := rows(func(r T) error { n++; return put(r) }); err != nil {
		return n, err
	}
	if err := errors.Join(finish(), f.Sync(), f.Close()); err != nil {
		return n, err
	}
	return n, os.Rename(f.Name(), filepath.Join(dir, name+"."+string(format)))
}

func parquetWriter[T record](w io.Writer) (put func(T) error, finish func() error) {
	p := parquet.NewGenericWriter[T](w, parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(100_000))
	return func(r T) error { _, err := p.Write([]T{r}); return err }, p.Close
}

func csvWriter[T record](w io.Writer) (put func(T) error, finish func() error) {
	c := csv.NewWriter(w)
	var zero T
	var header []string
	for _, col := range parquet.SchemaOf(zero).Columns() {
		header = append(header, col[0])
	}
	err := c.Write(header)
	put = func(r T) error { return c.Write(cells(r)) }
	return put, func() error { c.Flush(); return errors.Join(err, c.Error()) }
}

// cells gives a row in the order of its fields.
func cells(r any) []string {
	at := func(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	whole := func(v int64) string { return strconv.FormatInt(v, 10) }
	switch x := r.(type) {
	case jobRecord:
		return []string{cell(x.Job), cell(x.Unit), cell(x.Technician), cell(x.Complaint), at(x.Opened), at(x.Last), number(x.Minutes),
			strconv.FormatBool(x.Closed), cell(x.State), whole(x.Entries), x.Head, whole(x.Heard), whole(x.Recorded), whole(x.Asked),
			whole(x.Ignored), whole(x.Retracted), cell(x.Verdict), cell(x.Outcome), strconv.FormatBool(x.Proved)}
	case readingRecord:
		return []string{cell(x.Job), whole(x.Seq), at(x.At), cell(x.Quantity), cell(x.Place), number(x.Value), cell(x.Unit), cell(x.Qualifier),
			number(x.Certainty), strconv.FormatBool(x.Struck)}
	case findingRecord:
		return []string{cell(x.Question), cell(x.Job), cell(x.Unit), cell(x.Technician), whole(x.Seq), cell(x.What), number(x.Number)}
	}
	panic(fmt.Sprintf("review: no cells for %T", r))
}

// cell keeps a spreadsheet from taking text for a formula.
func cell(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
