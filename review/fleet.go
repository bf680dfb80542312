package review

import (
	"context"
	"database/sql"
	"fmt"
)

// Fleet is what many jobs tell together.
type Fleet struct {
	Jobs, Closed, Proved int
	Entries              int64
	Months               []MonthCause
	Technicians          []Technician
	// Answers counts the jobs that answer each question.
	Answers map[Question]int
}

// MonthCause counts the verdicts of one month.
type MonthCause struct {
	Month   string // "2026-03", by the day the job was opened, UTC
	Verdict string // "" where none was given
	Jobs    int
}

// Technician is what the jobs of one technician's code tell.
type Technician struct {
	Code    string
	Jobs    int
	Minutes float64 // mean length of a call
	Asked   int     // callouts asked back
	Decided int     // callouts recorded or asked back
}

// AskBackRate is the share of callouts that were asked back, 0 to 1.
func (t Technician) AskBackRate() float64 {
	if t.Decided == 0 {
		return 0
	}
	return float64(t.Asked) / float64(t.Decided)
}

// Fleet sums up the jobs that the filter keeps.
func (s *Store) Fleet(ctx context.Context, f Filter, l Limits) (Fleet, error) {
	fleet := Fleet{Answers: map[Question]int{}}
	run := func(columns, rest string, row func(*sql.Rows) error) error {
		var q query
		q.add(`SELECT ` + columns + ` FROM jobs j`)
		if err := q.where(f, l); err != nil {
			return err
		}
		q.add(rest)
		return s.each(ctx, &q, row)
	}
	err := run(`COUNT(*), COALESCE(SUM(j.closed), 0), COALESCE(SUM(j.proved), 0), COALESCE(SUM(j.entries), 0)`, ``, func(r *sql.Rows) error {
		return r.Scan(&fleet.Jobs, &fleet.Closed, &fleet.Proved, &fleet.Entries)
	})
	if err == nil {
		err = run(`j.month, j.verdict, COUNT(*)`, ` GROUP BY j.month, j.verdict ORDER BY j.month, COUNT(*) DESC, j.verdict`, func(r *sql.Rows) error {
			var m MonthCause
			err := r.Scan(&m.Month, &m.Verdict, &m.Jobs)
			fleet.Months = append(fleet.Months, m)
			return err
		})
	}
	if err == nil {
		err = run(`j.technician, COUNT(*), CAST(SUM(j.took) AS BIGINT), SUM(j.asked), SUM(j.asked + j.recorded)`,
			` GROUP BY j.technician ORDER BY j.technician`, func(r *sql.Rows) error {
				var t Technician
				var took int64
				err := r.Scan(&t.Code, &t.Jobs, &took, &t.Asked, &t.Decided)
				t.Minutes = minutes(took) / float64(t.Jobs)
				fleet.Technicians = append(fleet.Technicians, t)
				return err
			})
	}
	for _, question := range Questions() {
		if err == nil {
			fleet.Answers[question], err = s.countJobs(ctx, question, f, l)
		}
	}
	if err != nil {
		return Fleet{}, fmt.Errorf("review: fleet: %w", err)
	}
	return fleet, nil
}

// countJobs counts the jobs that answer a question, from the answers on: they
// are few.
func (s *Store) countJobs(ctx context.Context, question Question, f Filter, l Limits) (n int, err error) {
	a, err := answersTo(question, l)
	if err != nil {
		return 0, err
	}
	var q query
	q.add(`SELECT COUNT(DISTINCT a.job) FROM (`)
	q.add(a.sql.String(), a.args...)
	q.add(`) a JOIN jobs j ON j.job = a.job`)
	if err := q.where(f, l); err != nil {
		return 0, err
	}
	err = s.each(ctx, &q, func(r *sql.Rows) error { return r.Scan(&n) })
	return n, err
}
