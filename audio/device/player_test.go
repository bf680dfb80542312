//go:build cgo

package device

import (
	"context"
	"testing"
	"time"

	"github.com/gen2brain/malgo"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// silent is miniaudio's own null backend. The binding's constant is off by one
// (it means "custom"), which this test notices when it is mended upstream.
const silent = malgo.Backend(14)

func TestBindingsNullBackendIsOffByOne(t *testing.T) {
	assert.Equal(t, malgo.Backend(13), malgo.Backend(malgo.BackendNull))
}

func TestPlayTakesAsLongAsTheSound(t *testing.T) {
	p, err := openPlayer([]malgo.Backend{silent})
	require.NoError(t, err)
	assert.NotEmpty(t, p.Name())
	start := time.Now()
	require.NoError(t, p.Play(t.Context(), make([]float32, 4800), 16000)) // 300 ms
	assert.Greater(t, time.Since(start), 250*time.Millisecond)
	require.NoError(t, p.Play(t.Context(), nil, 16000))
	require.NoError(t, p.Close())
	require.NoError(t, p.Close())
}

func TestPlayStopsWithItsContext(t *testing.T) {
	p, err := openPlayer([]malgo.Backend{silent})
	require.NoError(t, err)
	defer p.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	start := time.Now()
	require.ErrorIs(t, p.Play(ctx, make([]float32, 16000*30), 16000), context.DeadlineExceeded)
	assert.Less(t, time.Since(start), 2*time.Second)
}

func TestNoBackendIsNoDevice(t *testing.T) {
	_, err := openPlayer([]malgo.Backend{malgo.BackendSndio})
	require.ErrorIs(t, err, ErrNoDevice)
}
