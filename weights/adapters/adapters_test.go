package adapters

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"regexp"
	"strings"
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
		assert.Regexp(t, sum, a.SHA256)
		assert.Contains(t, string(pins), "\nADAPTER_"+ad.Base+" := weights/adapters/"+a.File+"\n")
		var types []string
		for _, m := range a.Models {
			types = append(types, m.Type)
			_, err := weights.ParseType(m.Type)
			require.NoError(t, err)
			suffix := map[string]string{"bf16": "-bf16"}[m.Type]
			assert.Equal(t, "ggml-"+ad.Base+suffix+".bin", m.Base)
			assert.Regexp(t, sum, m.BaseSum)
			assert.Regexp(t, sum, m.MergedSum)
			assert.Contains(t, string(pins), "\nMODEL_SHA256_"+ad.Base+suffix+" := "+m.BaseSum+"\n")
			assert.Contains(t, string(pins), "\nADAPTED_SHA256_"+ad.Base+suffix+" := "+m.MergedSum+"\n")
			assert.Contains(t, string(pins), "\nADAPTED_"+ad.Base+" := "+strings.TrimSuffix(m.Merged, suffix+".bin")+"\n")
			found, ok := In(m.MergedSum)
			assert.True(t, ok)
			assert.Equal(t, a, found)
			_, ok = In(m.BaseSum)
			assert.False(t, ok)
		}
		assert.Equal(t, []string{"f16", "bf16"}, types, a.Name)
		assert.FileExists(t, filepath.Join("../..", a.Recipe))
		assert.NotEmpty(t, a.Licence)
		listed[a.File] = true
	}
	files, err := filepath.Glob("*.safetensors")
	require.NoError(t, err)
	for _, f := range files {
		assert.True(t, listed[f], "%s is not listed", f)
	}
}
