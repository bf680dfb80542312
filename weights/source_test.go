package weights

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"os"
	"path/filepath"
	"testing"

	"github.com/sbinet/npyio/npz"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

func wheel(t *testing.T, dir, name string, files map[string][]byte) string {
	t.Helper()
	path := filepath.Join(dir, name)
	f, err := os.Create(path)
	require.NoError(t, err)
	z := zip.NewWriter(f)
	for n, b := range files {
		w, err := z.Create(n)
		require.NoError(t, err)
		_, err = w.Write(b)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
	return path
}

func TestReadModel(t *testing.T) {
	dir := t.TempDir()
	model := tinyModel()
	half := len(model) / 2
	plain := filepath.Join(dir, "model.bin")
	require.NoError(t, os.WriteFile(plain, model, 0o600))
	one := wheel(t, dir, "one.whl", map[string][]byte{"pkg/data/model.bin": model, "pkg/config.json": []byte("{}")})
	first := wheel(t, dir, "first.whl", map[string][]byte{"a/model.bin.part1": model[:half]})
	second := wheel(t, dir, "second.whl", map[string][]byte{"b/model.bin.part2": model[half:]})
	none := wheel(t, dir, "none.whl", map[string][]byte{"pkg/readme": nil})
	want, err := ReadCT2(model)
	require.NoError(t, err)
	for _, paths := range [][]string{{plain}, {one}, {first, second}, {second, first}} {
		got, err := ReadModel(paths...)
		require.NoError(t, err, "%v", paths)
		assert.Equal(t, want, got, "%v", paths)
	}
	for _, paths := range [][]string{{second}, {none}, {one, first}, {first, none}} {
		_, err := ReadModel(paths...)
		assert.Error(t, err, "%v", paths)
	}
	b, err := os.ReadFile(one)
	require.NoError(t, err)
	b[len(b)/3] ^= 1 // the archive's own checksum notices
	damaged := filepath.Join(dir, "damaged.whl")
	require.NoError(t, os.WriteFile(damaged, b, 0o600))
	_, err = ReadModel(damaged)
	assert.ErrorIs(t, err, ErrDamaged)
	_, err = ReadModel(filepath.Join(dir, "missing.whl"))
	assert.Error(t, err)
}

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

func TestReadAssets(t *testing.T) {
	const at = "openai_whisper-1/whisper/assets/"
	good := map[string][]byte{
		at + "gpt2.tiktoken":         []byte("IQ== 0\nIg== 1\n"),
		at + "multilingual.tiktoken": []byte("IQ== 0\n= 1\n"),
		at + "mel_filters.npz":       melFile(t),
		"elsewhere/gpt2.tiktoken":    []byte("wrong"),
	}
	_, err := ReadAssets(archive(t, good), false, 80)
	assert.ErrorIs(t, err, ErrDamaged, "filters are float32, not float64")
	tokens, err := parseTokens(good[at+"multilingual.tiktoken"])
	require.NoError(t, err)
	assert.Equal(t, [][]byte{[]byte("!"), nil}, tokens)

	_, err = ReadAssets(archive(t, good), false, 128)
	assert.ErrorIs(t, err, ErrUnfit)
	delete(good, at+"mel_filters.npz")
	_, err = ReadAssets(archive(t, good), false, 80)
	assert.ErrorIs(t, err, ErrUnfit)
	for _, bad := range []string{"", "IQ== 1\n", "IQ==\n", "!! 0\n", "IQ== 0\nIQ== 2\n"} {
		_, err := parseTokens([]byte(bad))
		assert.ErrorIs(t, err, ErrDamaged, "%q", bad)
	}
	text := filepath.Join(t.TempDir(), "x.tar.gz")
	require.NoError(t, os.WriteFile(text, []byte("not an archive"), 0o600))
	_, err = ReadAssets(text, false, 80)
	assert.ErrorIs(t, err, ErrDamaged)
}
