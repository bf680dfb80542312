package joblog

import (
	"errors"
	"fmt"
)

var (
	// ErrExists is returned by Create when the job's folder is there already.
	ErrExists = errors.New("joblog: the job exists already")
	// ErrLocked is returned by Create and Open when another process, or
	// another Writer of this one, is writing the job.
	ErrLocked = errors.New("joblog: the job is being written elsewhere")
	// ErrSignedOff is returned by Open and Append after the closing entry.
	ErrSignedOff = errors.New("joblog: the job is signed off")
	// ErrUnusable is returned by Append after a failure that left the end of
	// the file in doubt, and after Close. Opening the job again reads what is
	// there.
	ErrUnusable = errors.New("joblog: the log can't be written any more, open the job again")
	// ErrRefused is returned by Append for a body that the format doesn't
	// allow; nothing was written and the Writer goes on.
	ErrRefused = errors.New("joblog: entry refused")
	// ErrNewer is returned when a log was written in a format later than Schema.
	ErrNewer = errors.New("joblog: written by a newer program")
	// ErrUnknownKind is returned by Decode for a kind this program does not know.
	ErrUnknownKind = errors.New("joblog: unknown kind of entry")
)

// Damage says where a log stops being believable. Everything before it is
// whole and has been read.
type Damage struct {
	// Line counts from 1.
	Line uint64
	// Offset is where that line begins, in bytes; the log is whole up to here.
	Offset int64
	// Torn is true for an unfinished last line, as a crash or a cut leaves it:
	// opening the job again sets it aside. False means that something whole
	// was changed, and nothing mends that.
	Torn bool
	// What says what is wrong with the line.
	What string
}

// Error implements error.
func (d *Damage) Error() string {
	how := "altered"
	if d.Torn {
		how = "torn"
	}
	return fmt.Sprintf("joblog: %s at line %d (byte %d): %s", how, d.Line, d.Offset, d.What)
}
