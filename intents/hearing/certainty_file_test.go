package hearing

import (
	"path"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/weights/adapters"
)

func TestAModelHasItsOwnWeightsOfCertaintyOrTheCommonOnes(t *testing.T) {
	all, err := adapters.List()
	require.NoError(t, err)
	engines := map[string][]string{} // by the file's name
	for _, a := range all {
		for _, m := range a.Models {
			engine := "whisper.cpp 1.9.1 " + m.Merged + " sha256:" + m.MergedSum
			engines[a.Name+".json"] = append(engines[a.Name+".json"], engine)
			assert.Equal(t, "data/certainty/"+a.Name+".json", OwnCertaintyFile(engine))
		}
	}
	files, err := certaintyFiles.ReadDir("data/certainty")
	require.NoError(t, err)
	for _, f := range files {
		of := engines[f.Name()]
		if sum := strings.TrimSuffix(f.Name(), ".json"); regexp.MustCompile(`^[0-9a-f]{12}$`).MatchString(sum) {
			of = []string{"whisper.cpp 1.9.1 any.bin sha256:" + sum + "0000"}
		}
		require.NotEmpty(t, of, "%s is of no model", f.Name())
		for _, engine := range of {
			require.Equal(t, path.Join("data/certainty", f.Name()), CertaintyFile(engine))
			own, err := CalibrationOf(engine)
			require.NoError(t, err, f.Name())
			assert.NotEmpty(t, own.One.Source)
		}
	}
	for _, engine := range []string{"", "script", "whisper.cpp 1.9.1 any.bin sha256:", "x sha256:ffffffffffff", "x sha256:../../../../x"} {
		assert.Equal(t, "data/certainty.json", CertaintyFile(engine), engine)
	}
	assert.Equal(t, certaintyData, certaintyOf("script"))
}
