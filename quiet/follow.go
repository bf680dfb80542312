package quiet

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"callout/joblog"
	"callout/session"
)

// lookEvery is how often a log is looked at for more.
const lookEvery = 150 * time.Millisecond

// Follow reads the log of the job in folder dir, and goes on reading as another
// process writes to it, until the job is closed or ctx is done. It takes no lock
// and writes nothing. Damage is returned.
func Follow(ctx context.Context, dir string, out session.Output) error {
	f, err := joblog.OpenIn(dir, joblog.LogName)
	if err != nil {
		return fmt.Errorf("quiet: following: %w", err)
	}
	defer f.Close()
	for e, err := range joblog.Read(&growing{ctx: ctx, f: f}) {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err != nil {
			return fmt.Errorf("quiet: following %s: %w", dir, err)
		}
		body, err := joblog.Decode(e)
		if err != nil {
			return fmt.Errorf("quiet: following %s: entry %d: %w", dir, e.Seq, err)
		}
		if err := out.Show(ctx, session.Record{Seq: e.Seq, At: e.At, Body: body}); err != nil {
			return err
		}
		if e.Kind == joblog.KindClosed {
			return nil
		}
	}
	return context.Cause(ctx)
}

// most is more than an entry's line can have.
const most = 5 << 20

// growing gives the whole lines of a file whose end is waited at. Half a line is left where
// it is: its writer may yet end it, or may have died in it, and then the next one cuts it off.
type growing struct {
	ctx   context.Context
	f     *os.File
	at    int64  // bytes of the file that were read
	lines []byte // read, and not yet given
}

func (g *growing) Read(p []byte) (int, error) {
	for len(g.lines) == 0 {
		more, err := io.ReadAll(io.NewSectionReader(g.f, g.at, most))
		if err != nil {
			return 0, err
		}
		end := bytes.LastIndexByte(more, '\n') + 1
		if end == 0 && len(more) == most {
			end = most // no entry: let the log's reader say so
		}
		g.lines, g.at = more[:end], g.at+int64(end)
		if end > 0 {
			break
		}
		select {
		case <-g.ctx.Done():
			return 0, io.EOF
		case <-time.After(lookEvery):
		}
	}
	n := copy(p, g.lines)
	g.lines = g.lines[n:]
	return n, nil
}
