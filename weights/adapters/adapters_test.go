package adapters

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/weights"
)

// The list and the files agree: each file is there, whole, readable and small, and the
// set-up's pins are the list's.
func TestListIsOfTheFiles(t *testing.T) {
	all, err := List()
	require.NoError(t, err)
	require.NotEmpty(t, all)
	pins, err := os.ReadFile("../../setup/pins.mk")
	require.NoError(t, err)
	sum := regexp.MustCompile(`^[0-9a-f]{64}$`)
	listed := map[string]bool{}
	for _, a := range all {
		data, err := os.ReadFile(a.File)
		require.NoError(t, err)
		got := sha256.Sum256(data)
		assert.Equal(t, hex.EncodeToString(got[:]), a.SHA256, a.Name)
		assert.Less(t, len(data), 8<<20)
		ad, err := weights.ReadAdapter(data)
		require.NoError(t, err)
		assert.Equal(t, "ggml-"+ad.Base+".bin", a.Base)
		for _, s := range []string{a.SHA256, a.BaseSum, a.MergedSum} {
			assert.Regexp(t, sum, s)
		}
		assert.Contains(t, string(pins), "MODEL_SHA256_"+ad.Base+" := "+a.BaseSum)
		assert.Contains(t, string(pins), "ADAPTED_SHA256_"+ad.Base+" := "+a.MergedSum)
		assert.Contains(t, string(pins), a.File)
		assert.FileExists(t, filepath.Join("../..", a.Recipe))
		assert.NotEmpty(t, a.Licence)
		found, ok := In(a.MergedSum)
		assert.True(t, ok)
		assert.Equal(t, a, found)
		_, ok = In(a.BaseSum)
		assert.False(t, ok)
		listed[a.File] = true
	}
	files, err := filepath.Glob("*.safetensors")
	require.NoError(t, err)
	for _, f := range files {
		assert.True(t, listed[f], "%s is not listed", f)
	}
}
