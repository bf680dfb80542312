package assets

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"os"
	"path/filepath"
	"testing"

	"github.com/sbinet/npyio/npz"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"callout/weights"
)

func archive(t *testing.T, files map[string][]byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "assets.tar.gz")
	f, err := os.Create(path)
	require.NoError(t, err)
	z := gzip.NewWriter(f)
	w := tar.NewWriter(z)
	for n, b := range files {
		require.NoError(t, w.WriteHeader(&tar.Header{Name: n, Mode: 0o644, Size: int64(len(b))}))
		_, err := w.Write(b)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
	return path
}

func melFile(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	z := npz.NewWriter(&b)
	require.NoError(t, z.Write("mel_80.npy", mat.NewDense(80, 2, make([]float64, 160))))
	require.NoError(t, z.Close())
	return b.Bytes()
}

func TestRead(t *testing.T) {
	const at = "openai_whisper-1/whisper/assets/"
	good := map[string][]byte{
		at + "gpt2.tiktoken":         []byte("IQ== 0\nIg== 1\n"),
		at + "multilingual.tiktoken": []byte("IQ== 0\n= 1\n"),
		at + "mel_filters.npz":       melFile(t),
		"elsewhere/gpt2.tiktoken":    []byte("wrong"),
	}
	_, err := Read(archive(t, good), false, 80)
	assert.ErrorIs(t, err, weights.ErrDamaged, "filters are float32, not float64")
	tokens, err := parseTokens(good[at+"multilingual.tiktoken"])
	require.NoError(t, err)
	assert.Equal(t, [][]byte{[]byte("!"), nil}, tokens)

	_, err = Read(archive(t, good), false, 128)
	assert.ErrorIs(t, err, weights.ErrUnfit)
	delete(good, at+"mel_filters.npz")
	_, err = Read(archive(t, good), false, 80)
	assert.ErrorIs(t, err, weights.ErrUnfit)
	for _, bad := range []string{"", "IQ== 1\n", "IQ==\n", "!! 0\n", "IQ== 0\nIQ== 2\n"} {
		_, err := parseTokens([]byte(bad))
		assert.ErrorIs(t, err, weights.ErrDamaged, "%q", bad)
	}
	text := filepath.Join(t.TempDir(), "x.tar.gz")
	require.NoError(t, os.WriteFile(text, []byte("not an archive"), 0o600))
	_, err = Read(text, false, 80)
	assert.ErrorIs(t, err, weights.ErrDamaged)
}
