package quiet

import (
	"bytes"
	"context"
	"io"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
	"callout/session"
)

// terminal is a writer that may be read while it is written to.
type terminal struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (t *terminal) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.buf.Write(p)
}

func (t *terminal) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.buf.String()
}

// Lines typed reach the session, keys that are no text are borne, and Ctrl-C
// leaves.
func TestScreenTypesAndLeaves(t *testing.T) {
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	typed := make(chan string, 4)
	s, err := NewScreen(k, func(text string) { typed <- text })
	require.NoError(t, err)
	in, keys := io.Pipe()
	out := &terminal{}
	done := make(chan error, 1)
	go func() { done <- s.Run(t.Context(), in, out, []string{"TERM=xterm", "NO_COLOR=1"}) }()
	_, err = keys.Write([]byte("compressor amps 47\r"))
	require.NoError(t, err)
	assert.Equal(t, "compressor amps 47", <-typed)
	require.NoError(t, s.Show(t.Context(), session.Record{Seq: 1, At: time.Now(), Body: joblog.Opened{Job: "j"}}))
	s.Level(Level{RMS: -30})
	s.Notice("the microphone is back")
	_, err = keys.Write([]byte("\x1b[A\x1b[B\t\x03"))
	require.NoError(t, err)
	require.NoError(t, <-done)
	assert.NotContains(t, out.String(), "\x1b[31m", "no colour where none is wanted")
}

func TestScreenEnds(t *testing.T) {
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	s, err := NewScreen(k, nil)
	require.NoError(t, err)
	in, _ := io.Pipe()
	done := make(chan error, 1)
	go func() { done <- s.Run(t.Context(), in, &terminal{}, nil) }()
	s.End()
	require.NoError(t, <-done)
	ctx, stop := context.WithCancel(t.Context())
	s, err = NewScreen(k, nil)
	require.NoError(t, err)
	go func() { done <- s.Run(ctx, in, &terminal{}, nil) }()
	stop()
	require.ErrorIs(t, <-done, context.Canceled)
}
