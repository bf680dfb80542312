package review

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"

	"callout/joblog"
)

type queryer interface {
	QueryContext(ctx context.Context, q string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, q string, args ...any) *sql.Row
}

// ErrNoJob is returned for a job that the store does not have.
var ErrNoJob = errors.New("review: no such job")

// Log gives the log of a job, from the store where it holds logs, else from
// its file.
func (s *Store) Log(ctx context.Context, job string) (io.ReadCloser, error) {
	r, err := s.lines(ctx, s.db, job)
	if err != nil {
		return nil, fmt.Errorf("review: log of %s: %w", job, err)
	}
	return r, nil
}

func (s *Store) lines(ctx context.Context, q queryer, job string) (io.ReadCloser, error) {
	if !s.postgres {
		var path string
		err := q.QueryRowContext(ctx, s.sql(`SELECT path FROM jobs WHERE job = ?`), job).Scan(&path)
		if errors.Is(err, sql.ErrNoRows) {
			return nil, ErrNoJob
		}
		if err != nil {
			return nil, err
		}
		return joblog.OpenIn(path, joblog.LogName)
	}
	rows, err := q.QueryContext(ctx, s.sql(`SELECT lines FROM logs WHERE job = ? ORDER BY first`), job)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []byte
	for rows.Next() {
		var part []byte
		if err := rows.Scan(&part); err != nil {
			return nil, err
		}
		all = append(all, part...)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, ErrNoJob
	}
	return io.NopCloser(bytes.NewReader(all)), nil
}
