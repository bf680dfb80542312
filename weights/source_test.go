package weights

import (
	"archive/zip"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
