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

// mayImport is the plan: sound and words below, the conversation above, one
// direction. A package that is not named here may import nothing of ours.
func mayImport() map[string][]string {
	return map[string][]string{
		"catalogue":         {},
		"grammar":           {},
		"physics":           {},
		"joblog":            {},
		"weights":           {},
		"weights/adapters":  {},
		"weights/assets":    {"weights"},
		"audio":             {},
		"intents":           {"catalogue", "grammar"},
		"diagnose":          {"catalogue", "physics"},
		"prompts":           {"catalogue", "diagnose"},
		"audio/whisper":     {"audio", "grammar", "weights"},
		"audio/device":      {"audio"},
		"audio/speech":      {"audio"},
		"audio/keep":        {"audio"},
		"audio/audiotest":   {"audio"},
		"intents/hearing":   {"audio", "catalogue", "grammar", "intents", "weights/adapters"},
		"session":           {"catalogue", "diagnose", "diagnose/energy", "intents", "intents/hearing", "joblog", "physics", "prompts"},
		"live":              {"audio", "joblog", "prompts", "session"},
		"quiet":             {"catalogue", "internal/visible", "joblog", "prompts", "session"},
		"review":            {"catalogue", "diagnose", "internal/visible", "joblog"},
		"internal/scene":    {"audio"},
		"cmd/callout":       {"*"},
		"cmd/weights":       {"weights", "weights/assets"},
		"demo":              {"audio", "internal/scene"},
		"training/texts":    {"catalogue", "grammar", "intents"},
		"bench/hearing":     {"audio", "audio/audiotest", "audio/whisper", "catalogue", "intents", "intents/hearing", "internal/scene", "joblog", "session"},
		"bench/saying":      {"audio", "audio/whisper", "catalogue", "internal/scene", "prompts"},
		"internal/arch":     {},
		"internal/visible":  {},
		"diagnose/internal": {"catalogue"},
	}
}

func TestImportsPointOneWay(t *testing.T) {
	for _, p := range list(t) {
		name := strings.TrimPrefix(p.ImportPath, "callout/")
		key := name
		allowed, ok := mayImport()[key]
		for !ok && strings.Contains(key, "/") { // a part of a room keeps the room's rules
			key = key[:strings.LastIndex(key, "/")]
			allowed, ok = mayImport()[key]
		}
		if !assert.True(t, ok, "package %s is not in the plan", name) || slices.Contains(allowed, "*") {
			continue
		}
		for _, imp := range p.Imports {
			if ours, is := strings.CutPrefix(imp, "callout/"); is && ours != key && !strings.HasPrefix(ours, key+"/") {
				assert.Contains(t, allowed, ours, "%s imports %s", name, ours)
			}
		}
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
