// Package arch holds the house to its plan: which package may import which.
package arch

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type listed struct {
	ImportPath, Dir string
	Imports         []string
	Doc             string
	GoFiles         []string
	CgoFiles        []string
}

// list asks the go command for every package, as built with cgo and all tags,
// so that no file hides behind one.
func list(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-e", "-tags", "whisper", "-json=ImportPath,Dir,Imports,Doc,GoFiles,CgoFiles", "callout/...")
	cmd.Env = append(cmd.Environ(), "CGO_ENABLED=1")
	out, err := cmd.Output()
	require.NoError(t, err)
	var all []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		all = append(all, p)
	}
	require.Greater(t, len(all), 8)
	return all
}

// plan is what each package imports of ours, no more and no less: sound and
// words below, the conversation above, one direction. The picture of the flow in
// docs/architecture.md is drawn from it.
func plan() map[string][]string {
	return map[string][]string{
		"audio":                       {},
		"audio/audiotest":             {"audio"},
		"audio/device":                {"audio"},
		"audio/keep":                  {"audio"},
		"audio/speech":                {"audio"},
		"audio/whisper":               {"audio", "weights"},
		"bench/hearing":               {"audio", "audio/audiotest", "audio/whisper", "catalogue", "intents", "intents/hearing", "internal/scene", "joblog", "session"},
		"bench/saying":                {"audio", "audio/whisper", "catalogue", "internal/scene", "prompts"},
		"catalogue":                   {},
		"cmd/callout":                 {"audio", "audio/device", "audio/keep", "audio/speech", "audio/whisper", "catalogue", "diagnose", "intents/hearing", "internal/visible", "joblog", "live", "quiet", "review", "session", "weights/adapters"},
		"cmd/weights":                 {"weights", "weights/assets"},
		"demo":                        {"audio", "internal/scene"},
		"diagnose":                    {"catalogue", "diagnose/energy", "physics"},
		"diagnose/energy":             {"catalogue"},
		"diagnose/internal/simulator": {},
		"grammar":                     {},
		"intents":                     {"catalogue", "grammar"},
		"intents/hearing":             {"audio", "catalogue", "grammar", "intents", "weights/adapters"},
		"internal/arch":               {},
		"internal/scene":              {"audio"},
		"internal/visible":            {},
		"joblog":                      {},
		"live":                        {"audio", "joblog", "prompts", "session"},
		"physics":                     {},
		"prompts":                     {"catalogue"},
		"quiet":                       {"catalogue", "internal/visible", "joblog", "prompts", "session"},
		"review":                      {"catalogue", "internal/visible", "joblog"},
		"session/internal/hazard":     {"catalogue"},
		"session":                     {"catalogue", "diagnose", "diagnose/energy", "intents", "intents/hearing", "joblog", "physics", "prompts"},
		"training/texts":              {"catalogue", "grammar", "intents"},
		"weights":                     {},
		"weights/adapters":            {},
		"weights/assets":              {"weights"},
	}
}

func TestImportsAreThePlan(t *testing.T) {
	is := map[string][]string{}
	for _, p := range list(t) {
		ours := []string{}
		for _, imp := range p.Imports {
			if name, ok := strings.CutPrefix(imp, "callout/"); ok {
				ours = append(ours, name)
			}
		}
		slices.Sort(ours)
		is[strings.TrimPrefix(p.ImportPath, "callout/")] = ours
	}
	for name, imports := range is {
		planned, ok := plan()[name]
		if assert.True(t, ok, "package %s is not in the plan", name) {
			assert.Equal(t, planned, imports, "what %s imports", name)
		}
	}
	for name := range plan() {
		assert.Contains(t, is, name, "the plan has a package that is not there")
	}
}

// Each library has one home.
func TestLibrariesHaveOneHome(t *testing.T) {
	homes := map[string]string{
		"github.com/spf13/viper":                       "callout/cmd/callout",
		"github.com/gen2brain/malgo":                   "callout/audio/device",
		"github.com/ggerganov/whisper.cpp/bindings/go": "callout/audio/whisper",
		"C": "callout/audio/whisper",
	}
	for _, p := range list(t) {
		for _, imp := range p.Imports {
			if home, ok := homes[imp]; ok {
				assert.Equal(t, home, p.ImportPath, "%s belongs in %s", imp, home)
			}
		}
		assert.True(t, len(p.CgoFiles) == 0 || p.ImportPath == "callout/audio/whisper", "C in %s", p.ImportPath)
	}
}

func TestPackagesSayWhatTheyAre(t *testing.T) {
	for _, p := range list(t) {
		if len(p.GoFiles)+len(p.CgoFiles) > 0 {
			assert.NotEmpty(t, p.Doc, "%s has no package comment", p.ImportPath)
		}
	}
}
