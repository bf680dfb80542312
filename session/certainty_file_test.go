package session

import (
	"path"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
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
			own, err := loadCalibration(certaintyOf(engine))
			require.NoError(t, err, f.Name())
			assert.NotEmpty(t, own.One.Source)
		}
	}
	for _, engine := range []string{"", "script", "whisper.cpp 1.9.1 any.bin sha256:", "x sha256:ffffffffffff", "x sha256:../../../../x"} {
		assert.Equal(t, "data/certainty.json", CertaintyFile(engine), engine)
	}
	assert.Equal(t, certaintyData, certaintyOf("script"))
}

// A callout of one certainty is asked back or recorded by the limit of the recogniser that
// heard it, unless the policy has one; and a model with an adapter hears without the prompt.
func TestEachModelHasItsOwnLimitAndPrompt(t *testing.T) {
	all, err := adapters.List()
	require.NoError(t, err)
	_, k := newTestEar(t)
	for _, a := range all {
		engine := "whisper.cpp 1.9.1 any.bin sha256:" + a.Models[0].MergedSum
		if CertaintyFile(engine) == CommonCertaintyFile {
			continue // the second ear has no weights of its own
		}
		own, common := AskBelow(engine), AskBelow("whisper.cpp 1.9.1 any.bin sha256:none")
		require.Greater(t, own, common)
		u := Utterance{Text: "Compressor amps 47.", Source: joblog.Speech, Certainty: (own + common) / 2}
		for _, c := range []struct {
			engine string
			ask    float64
			want   joblog.Decision
		}{{engine, 0, joblog.Asked}, {"", 0, joblog.Recorded}, {engine, common, joblog.Recorded}, {"", own, joblog.Asked}} {
			u.Engine = c.engine
			j, err := Judge(k, Policy{Ask: c.ask, AskSafety: 0.9, Ignore: 0.25}, u)
			require.NoError(t, err)
			assert.Equal(t, c.want, j.Action, "%+v", c)
		}
		e, _ := newTestEar(t)
		primed := e.Calibration()
		defer e.Calibrate(primed)
		assert.NotEmpty(t, e.Hints().Prompt)
		adapted, err := loadCalibration(certaintyOf(engine))
		require.NoError(t, err)
		e.Calibrate(adapted)
		assert.Empty(t, e.Hints().Prompt)
	}
}
