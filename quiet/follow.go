package quiet

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
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
	f, err := os.Open(filepath.Join(dir, joblog.LogName))
	if err != nil {
		return fmt.Errorf("quiet: following: %w", err)
	}
	defer f.Close()
	for e, err := range joblog.Read(growing{ctx, f}) {
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

// growing is a file whose end is waited at.
type growing struct {
	ctx context.Context
	f   *os.File
}

func (g growing) Read(p []byte) (int, error) {
	for {
		n, err := g.f.Read(p)
		if n > 0 || err != nil && err != io.EOF {
			return n, err
		}
		select {
		case <-g.ctx.Done():
			return 0, io.EOF
		case <-time.After(lookEvery):
		}
	}
}
