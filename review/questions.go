package review

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Limits say from where on something is worth asking about.
type Limits struct {
	Corrected  int     // this many asked back, struck and corrected callouts in a call
	Minutes    float64 // a call this long
	ReturnDays float64 // two calls to a unit within this many days
}

// DefaultLimits are a start; common practice, no source.
func DefaultLimits() Limits { return Limits{Corrected: 5, Minutes: 120, ReturnDays: 30} }

// Filter narrows which jobs are meant. The zero Filter means all.
type Filter struct {
	Technician, Unit, Verdict string
	Search                    string    // words that were heard or noted, in any case
	Since, Until              time.Time // when the job was opened: from, and before
	// Question keeps the jobs that answer it.
	Question Question
	// Limit bounds the number of jobs, 0 for no bound. After is the job that the
	// page before ended with.
	Limit int
	After string
}

// Row is one job as listed.
type Row struct {
	Job        string    `json:"job"`
	Unit       string    `json:"unit"`
	Technician string    `json:"technician"`
	Complaint  string    `json:"complaint"`
	Opened     time.Time `json:"opened"`
	Last       time.Time `json:"last"`
	Minutes    float64   `json:"minutes"`
	Closed     bool      `json:"closed"`
	State      string    `json:"state"`
	Damage     string    `json:"damage,omitempty"`
	Entries    uint64    `json:"entries"`
	Head       string    `json:"head"`
	Heard      int       `json:"heard"`
	Recorded   int       `json:"recorded"`
	Asked      int       `json:"asked"`
	Ignored    int       `json:"ignored"`
	Retracted  int       `json:"retracted"`
	Verdict    string    `json:"verdict"`
	Outcome    string    `json:"outcome"`
	Proved     bool      `json:"proved"`
	// Source and Path say where the log was read.
	Source string `json:"source"`
	Path   string `json:"path"`
}

const rowColumns = `j.job, j.unit, j.technician, j.complaint, j.opened, j.last, j.took, j.closed, j.state, j.damage,
 j.entries, j.head, j.heard, j.recorded, j.asked, j.ignored, j.retracted, j.verdict, j.outcome, j.proved, j.source, j.path`

func scanRow(rows interface{ Scan(...any) error }) (Row, error) {
	var r Row
	var opened, last, took, closed, proved int64
	err := rows.Scan(&r.Job, &r.Unit, &r.Technician, &r.Complaint, &opened, &last, &took, &closed, &r.State, &r.Damage,
		&r.Entries, &r.Head, &r.Heard, &r.Recorded, &r.Asked, &r.Ignored, &r.Retracted, &r.Verdict, &r.Outcome, &proved, &r.Source, &r.Path)
	r.Opened, r.Last = time.UnixMicro(opened).UTC(), time.UnixMicro(last).UTC()
	r.Minutes = minutes(took)
	r.Closed, r.Proved = closed != 0, proved != 0
	return r, err
}

// minutes of milliseconds, the unit in which lengths are kept: sums of whole
// numbers are the same in any order.
func minutes(took int64) float64 { return float64(took) / 60000 }

// query is a piece of SQL with its arguments.
type query struct {
	sql  strings.Builder
	args []any
}

func (q *query) add(sql string, args ...any) {
	q.sql.WriteString(sql)
	q.args = append(q.args, args...)
}

// where adds the filter's conditions on jobs j.
func (q *query) where(f Filter, l Limits) error {
	q.add(` WHERE 1 = 1`)
	if f.Technician != "" {
		q.add(` AND j.technician = ?`, f.Technician)
	}
	if f.Unit != "" {
		q.add(` AND j.unit = ?`, f.Unit)
	}
	if f.Verdict != "" {
		q.add(` AND j.verdict = ?`, f.Verdict)
	}
	if !f.Since.IsZero() {
		q.add(` AND j.opened >= ?`, micros(f.Since))
	}
	if !f.Until.IsZero() {
		q.add(` AND j.opened < ?`, micros(f.Until))
	}
	if f.Search != "" {
		q.add(` AND EXISTS (SELECT 1 FROM words w WHERE w.job = j.job AND w.said LIKE ? ESCAPE '!')`, likeOf(f.Search))
	}
	if f.Question != "" {
		answers, err := answersTo(f.Question, l)
		if err != nil {
			return err
		}
		q.add(` AND j.job IN (SELECT job FROM (`)
		q.add(answers.sql.String(), answers.args...)
		q.add(`) x)`)
	}
	return nil
}

// likeOf is a pattern that finds words anywhere.
func likeOf(words string) string {
	return "%" + strings.NewReplacer("!", "!!", "%", "!%", "_", "!_").Replace(strings.ToLower(text(words))) + "%"
}

// Jobs lists jobs, the latest first.
func (s *Store) Jobs(ctx context.Context, f Filter, l Limits) ([]Row, error) {
	var q query
	q.add(`SELECT ` + rowColumns + ` FROM jobs j`)
	if err := q.where(f, l); err != nil {
		return nil, err
	}
	if f.After != "" {
		q.add(` AND (j.opened < (SELECT opened FROM jobs WHERE job = ?) OR (j.opened = (SELECT opened FROM jobs WHERE job = ?) AND j.job > ?))`,
			f.After, f.After, f.After)
	}
	q.add(` ORDER BY j.opened DESC, j.job`)
	if f.Limit > 0 {
		q.add(` LIMIT ?`, f.Limit)
	}
	var out []Row
	err := s.each(ctx, &q, func(rows *sql.Rows) error {
		r, err := scanRow(rows)
		out = append(out, r)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("review: jobs: %w", err)
	}
	return out, nil
}

// Job gives one job, or ErrNoJob.
func (s *Store) Job(ctx context.Context, job string) (Row, error) {
	r, err := scanRow(s.db.QueryRowContext(ctx, s.sql(`SELECT `+rowColumns+` FROM jobs j WHERE j.job = ?`), job))
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNoJob
	}
	if err != nil {
		return Row{}, fmt.Errorf("review: job %s: %w", job, err)
	}
	return r, nil
}

func (s *Store) each(ctx context.Context, q *query, row func(*sql.Rows) error) error {
	rows, err := s.db.QueryContext(ctx, s.sql(q.sql.String()), q.args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Answer is one answer to a Question.
type Answer struct {
	Question   Question  `json:"question"`
	Job        string    `json:"job"`
	Unit       string    `json:"unit"`
	Technician string    `json:"technician"`
	Opened     time.Time `json:"opened"`
	// Seq is the entry that it is about, 0 if it is about the whole job.
	Seq  uint64 `json:"seq,omitempty"`
	What string `json:"what"`
	// Number is what was counted or measured: callouts, minutes, days; else 0.
	Number float64 `json:"number,omitempty"`
}

// answersTo gives the SQL with columns job, seq, what and number.
func answersTo(question Question, l Limits) (*query, error) {
	q := &query{}
	switch question {
	case Safety, Unproved, Overturned, Condemned:
		q.add(`SELECT job, seq, what, 0.0 AS number FROM findings WHERE question = ?`, string(question))
	case Corrected:
		q.add(`SELECT job, 0 AS seq, '' AS what, 1.0 * (asked + retracted) AS number FROM jobs WHERE asked + retracted >= ?`, l.Corrected)
	case Long:
		q.add(`SELECT job, 0 AS seq, '' AS what, took / 60000.0 AS number FROM jobs WHERE took >= ?`, int64(l.Minutes*60000))
	case Returns:
		q.add(`SELECT job, 0 AS seq, before AS what, days AS number FROM (
			SELECT job, LAG(job) OVER w AS before, (opened - LAG(opened) OVER w) / 86400e6 AS days
			FROM jobs WHERE unit <> '' WINDOW w AS (PARTITION BY unit ORDER BY opened, job)) r
			WHERE before IS NOT NULL AND days <= ?`, l.ReturnDays)
	case Damaged:
		q.add(`SELECT job, 0 AS seq, state || ': ' || damage || ' (' || path || ')' AS what, 0.0 AS number FROM files WHERE state <> 'whole'`)
	default:
		return nil, fmt.Errorf("review: no question %q", question)
	}
	return q, nil
}

// Ask answers a question, the latest job first. It calls answer for each, and
// ends with its error if there is one.
func (s *Store) Ask(ctx context.Context, question Question, f Filter, l Limits, answer func(Answer) error) error {
	a, err := answersTo(question, l)
	if err != nil {
		return err
	}
	f.Question = ""
	var q query
	q.add(`SELECT a.job, j.unit, j.technician, j.opened, a.seq, a.what, a.number FROM (`)
	q.add(a.sql.String(), a.args...)
	// A log of which not even the first entry can be read has no job.
	if question == Damaged {
		q.add(`) a LEFT JOIN jobs j ON j.job = a.job`)
	} else {
		q.add(`) a JOIN jobs j ON j.job = a.job`)
	}
	if err := q.where(f, l); err != nil {
		return err
	}
	// Databases differ in where they put what is missing.
	q.add(` ORDER BY COALESCE(j.opened, 0) DESC, a.job, a.seq, a.what`)
	if f.Limit > 0 {
		q.add(` LIMIT ?`, f.Limit)
	}
	err = s.each(ctx, &q, func(rows *sql.Rows) error {
		x := Answer{Question: question}
		var unit, technician sql.NullString
		var opened sql.NullInt64
		if err := rows.Scan(&x.Job, &unit, &technician, &opened, &x.Seq, &x.What, &x.Number); err != nil {
			return err
		}
		x.Unit, x.Technician = unit.String, technician.String
		if opened.Valid {
			x.Opened = time.UnixMicro(opened.Int64).UTC()
		}
		switch question {
		case Corrected:
			x.What = fmt.Sprintf("%.0f callouts asked back, struck or corrected", x.Number)
		case Long:
			x.What = fmt.Sprintf("%.0f minutes", x.Number)
		case Returns:
			x.What = fmt.Sprintf("%.1f days after %s", x.Number, x.What)
		}
		return answer(x)
	})
	if err != nil {
		return fmt.Errorf("review: %s: %w", question, err)
	}
	return nil
}

// Findings are all that stands in the index about one job, in the order of its log.
func (s *Store) Findings(ctx context.Context, job string) ([]Finding, error) {
	var q query
	q.add(`SELECT question, seq, what FROM findings WHERE job = ? ORDER BY seq, n`, job)
	var out []Finding
	err := s.each(ctx, &q, func(rows *sql.Rows) error {
		var f Finding
		err := rows.Scan(&f.Question, &f.Seq, &f.What)
		out = append(out, f)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("review: findings of %s: %w", job, err)
	}
	return out, nil
}
