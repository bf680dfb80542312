package review

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
	_ "modernc.org/sqlite"             // the driver "sqlite"
)

// ErrStore marks a store that can't be used: not reached, of another program,
// or of a newer version.
var ErrStore = errors.New("review: the store can't be used")

// storeVersion is the version of the tables. A store of another version that
// holds no logs is made anew.
const storeVersion = 1

// Store is an index of jobs. Its methods may be called from several goroutines.
type Store struct {
	db       *sql.DB
	postgres bool
	heads    string // the file of heads kept outside the jobs, "" for none
	kept     keptHeads
}

// CompareWith has the store compare what it reads and shows with the heads kept
// in a file, and keep there those that it reads. It is called before any other
// method.
func (s *Store) CompareWith(heads string) { s.heads = heads }

// Open opens the store at address, making it if it is not there: a
// "postgres://" address, or else the name of an SQLite file.
func Open(ctx context.Context, address string) (*Store, error) {
	s := &Store{}
	var err error
	if isPostgres(address) {
		s.postgres = true
		s.db, err = sql.Open("pgx", address)
	} else if err = private(address); err == nil {
		s.db, err = sql.Open("sqlite", sqliteAddress(address))
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrStore, hidden(address), secretless(err, address))
	}
	if !s.postgres {
		// One writer at a time is what SQLite has; readers see the last commit.
		s.db.SetMaxOpenConns(4)
	}
	if err := s.prepare(ctx); err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrStore, hidden(address), secretless(errors.Join(err, s.db.Close()), address))
	}
	return s, nil
}

// sqliteAddress names a file with what every connection to it sets: a log
// written ahead, so that pages can be read while the index grows.
func sqliteAddress(name string) string {
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: filepath.ToSlash(name)}).EscapedPath()}
	u.RawQuery = url.Values{
		"_pragma": {"busy_timeout(20000)", "journal_mode(wal)", "synchronous(normal)", "cache_size(-8192)"},
		"_txlock": {"immediate"},
	}.Encode()
	return u.String()
}

// private makes the file, if need be, so that nobody else can read it: it holds
// every word that was heard. SQLite gives the files beside it the same rights.
func private(name string) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

// A password in an address: after the user's name, up to the last @ before the
// path, or as a parameter. It need not be one that can be parsed.
var (
	userPassword  = regexp.MustCompile(`^([a-z]+://[^/?#:@]*):.*@`)
	paramPassword = regexp.MustCompile(`(?i)([?&](?:ssl)?password=)[^&#]*`)
)

// hidden is an address without its password.
func hidden(address string) string {
	if !isPostgres(address) {
		return address
	}
	return paramPassword.ReplaceAllString(userPassword.ReplaceAllString(address, "$1:xxxxx@"), "${1}xxxxx")
}

func isPostgres(address string) bool {
	return strings.HasPrefix(address, "postgres://") || strings.HasPrefix(address, "postgresql://")
}

// secretless is err, which may quote the address, without the password in it.
func secretless(err error, address string) error {
	if err == nil || !isPostgres(address) {
		return err
	}
	u, perr := url.Parse(address)
	if perr != nil || strings.Count(address, "@") > 1 { // it would be quoted, whole or in part
		return errors.New("the address can't be read: in a password write % as %25, @ as %40, / as %2F; better, leave it out and put it into PGPASSWORD or ~/.pgpass")
	}
	words := []string{u.Query().Get("password"), u.Query().Get("sslpassword")}
	if plain, ok := u.User.Password(); ok {
		_, written, _ := strings.Cut(u.User.String(), ":")
		words = append(words, plain, written)
	}
	text := err.Error()
	for _, word := range words {
		if word != "" {
			text = strings.ReplaceAll(text, word, "xxxxx")
		}
	}
	if text == err.Error() {
		return err
	}
	return errors.New(text)
}

// Close closes the store.
func (s *Store) Close() error { return s.db.Close() }

const tables = `
CREATE TABLE IF NOT EXISTS callout_review (version BIGINT NOT NULL);
CREATE TABLE IF NOT EXISTS jobs (
 job TEXT {C} PRIMARY KEY, source TEXT NOT NULL, path TEXT NOT NULL,
 unit TEXT {C} NOT NULL, technician TEXT {C} NOT NULL, complaint TEXT NOT NULL,
 program TEXT NOT NULL, knowledge TEXT NOT NULL,
 opened BIGINT NOT NULL, last BIGINT NOT NULL, month TEXT {C} NOT NULL, took BIGINT NOT NULL,
 closed BIGINT NOT NULL, state TEXT NOT NULL, damage TEXT NOT NULL,
 entries BIGINT NOT NULL, head TEXT NOT NULL,
 heard BIGINT NOT NULL, recorded BIGINT NOT NULL, asked BIGINT NOT NULL, ignored BIGINT NOT NULL, retracted BIGINT NOT NULL,
 verdict TEXT {C} NOT NULL, outcome TEXT NOT NULL, proved BIGINT NOT NULL);
CREATE INDEX IF NOT EXISTS jobs_opened ON jobs (opened DESC, job);
CREATE INDEX IF NOT EXISTS jobs_unit ON jobs (unit, opened, job);
CREATE INDEX IF NOT EXISTS jobs_month ON jobs (month, verdict);
CREATE INDEX IF NOT EXISTS jobs_technician ON jobs (technician, opened DESC, job);
CREATE TABLE IF NOT EXISTS words (job TEXT {C} PRIMARY KEY, said TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS findings (
 job TEXT {C} NOT NULL, seq BIGINT NOT NULL, question TEXT {C} NOT NULL, n BIGINT NOT NULL, what TEXT NOT NULL,
 PRIMARY KEY (job, question, seq, n));
CREATE INDEX IF NOT EXISTS findings_question ON findings (question, job);
CREATE TABLE IF NOT EXISTS files (
 source TEXT {C} NOT NULL, path TEXT {C} NOT NULL, size BIGINT NOT NULL, changed BIGINT NOT NULL,
 job TEXT {C} NOT NULL, state TEXT NOT NULL, damage TEXT NOT NULL, PRIMARY KEY (source, path));
CREATE TABLE IF NOT EXISTS logs (
 job TEXT {C} NOT NULL, first BIGINT NOT NULL, last BIGINT NOT NULL, lines {BLOB} NOT NULL, PRIMARY KEY (job, first));
`

// prepare makes the tables and checks their version.
func (s *Store) prepare(ctx context.Context) error {
	ddl := strings.NewReplacer("{C}", "", "{BLOB}", "BLOB").Replace(tables)
	if s.postgres {
		// The same order of names as SQLite's.
		ddl = strings.NewReplacer("{C}", `COLLATE "C"`, "{BLOB}", "BYTEA").Replace(tables)
	}
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // it fails after a commit, as it should
	if s.postgres {
		// Two programs that start at once would both make the tables.
		if _, err := tx.ExecContext(ctx, `SELECT pg_advisory_xact_lock(4242874)`); err != nil {
			return err
		}
	}
	for stmt := range strings.SplitSeq(ddl, ";") {
		if strings.TrimSpace(stmt) == "" {
			continue
		}
		if _, err := tx.ExecContext(ctx, stmt); err != nil {
			return err
		}
	}
	var version int64
	err = tx.QueryRowContext(ctx, `SELECT version FROM callout_review`).Scan(&version)
	if errors.Is(err, sql.ErrNoRows) {
		version = storeVersion
		_, err = tx.ExecContext(ctx, s.sql(`INSERT INTO callout_review (version) VALUES (?)`), version)
	}
	if err != nil {
		return err
	}
	if version != storeVersion {
		return fmt.Errorf("%w: version %d, this program has %d", errVersion, version, storeVersion)
	}
	return tx.Commit()
}

// sql turns ? into what the database calls its arguments.
func (s *Store) sql(q string) string {
	if !s.postgres {
		return q
	}
	var b strings.Builder
	n := 0
	for _, r := range q {
		if r != '?' {
			b.WriteRune(r)
			continue
		}
		n++
		b.WriteString("$" + strconv.Itoa(n))
	}
	return b.String()
}
