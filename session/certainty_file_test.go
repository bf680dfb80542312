package session

import (
	"path"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAModelHasItsOwnWeightsOfCertaintyOrTheCommonOnes(t *testing.T) {
	files, err := certaintyFiles.ReadDir("data/certainty")
	require.NoError(t, err)
	for _, f := range files {
		require.Regexp(t, `^[0-9a-f]{12}\.json$`, f.Name())
		engine := "whisper.cpp 1.9.1 any.bin sha256:" + f.Name()[:12] + "0000"
		require.Equal(t, path.Join("data/certainty", f.Name()), CertaintyFile(engine))
		own, err := loadCalibration(certaintyOf(engine))
		require.NoError(t, err, f.Name())
		assert.NotEmpty(t, own.One.Source)
	}
	for _, engine := range []string{"", "script", "whisper.cpp 1.9.1 any.bin sha256:", "x sha256:ffffffffffff", "x sha256:../../../../x"} {
		assert.Equal(t, "data/certainty.json", CertaintyFile(engine), engine)
	}
	assert.Equal(t, certaintyData, certaintyOf("script"))
}
