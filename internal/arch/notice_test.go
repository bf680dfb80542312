package arch

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// modules lists the modules that packages need, with all tags.
func modules(t *testing.T, args ...string) []string {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list", "-e", "-deps", "-tags", "whisper", "-f", "{{with .Module}}{{.Path}}{{end}}"}, args...)...)
	cmd.Env = append(cmd.Environ(), "CGO_ENABLED=1")
	out, err := cmd.Output()
	require.NoError(t, err)
	list := strings.Fields(string(out))
	slices.Sort(list)
	list = slices.DeleteFunc(slices.Compact(list), func(m string) bool { return m == "callout" })
	require.NotEmpty(t, list)
	return list
}

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", name))
	require.NoError(t, err)
	return string(b)
}

// column gives the names in the first column of the tables of a text.
func column(text string) []string {
	var names []string
	for line := range strings.Lines(text) {
		cells := strings.Split(line, "|")
		if len(cells) < 3 || strings.HasPrefix(line, "|---") {
			continue
		}
		for name := range strings.SplitSeq(cells[1], ",") {
			if name = strings.TrimSpace(name); strings.Contains(name, ".") {
				names = append(names, name)
			}
		}
	}
	slices.Sort(names)
	return names
}

// NOTICE names what is linked into the program, no more and no less, and what
// else go.mod brings in.
func TestNoticeNamesEachModule(t *testing.T) {
	_, tables, ok := strings.Cut(read(t, "NOTICE.md"), "Go modules that are linked into the program")
	require.True(t, ok)
	linked, others, ok := strings.Cut(tables, "Only for tests, set-up, benches and linting")
	require.True(t, ok)
	is := modules(t, "callout/cmd/callout")
	assert.Equal(t, is, column(linked), "what is linked")
	all := modules(t, "-test", "callout/...")
	rest := slices.DeleteFunc(all, func(m string) bool { return slices.Contains(is, m) })
	assert.Equal(t, rest, column(others), "what else is used")
}

// It names what set-up fetches and installs, with the checksums of what becomes
// part of the program or speaks in the bench.
func TestNoticeNamesWhatSetUpBrings(t *testing.T) {
	notice := read(t, "NOTICE.md")
	pins := read(t, "setup/pins.mk")
	wanted := []string{}
	for _, m := range regexp.MustCompile(`(?m)^(?:ENGINE|STYLES)_(?:PACKAGE|PACKAGE_VERSION|VERSION|SHA256) := (\S+)`).FindAllStringSubmatch(pins, -1) {
		wanted = append(wanted, m[1])
	}
	for _, m := range regexp.MustCompile(`(?m)^ADAPTER_\S+ := weights/adapters/(\S+)\.safetensors`).FindAllStringSubmatch(pins, -1) {
		wanted = append(wanted, m[1])
	}
	require.GreaterOrEqual(t, len(wanted), 9)
	lists, err := filepath.Glob("../../setup/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, lists)
	pinned := regexp.MustCompile(`(?m)^([A-Za-z0-9._-]+)==(\S+) --hash=sha256:([0-9a-f]{64})`)
	for _, list := range lists {
		found := pinned.FindAllStringSubmatch(read(t, filepath.Join("setup", filepath.Base(list))), -1)
		require.NotEmpty(t, found, list)
		for _, m := range found {
			if strings.HasSuffix(list, "kokoro.txt") && !strings.HasPrefix(m[1], "kokoro") {
				wanted = append(wanted, m[1]) // what runs the voice: its list has the checksums
				continue
			}
			name := regexp.MustCompile(`-\d$`).ReplaceAllString(m[1], "") // one of several parts
			wanted = append(wanted, name, m[2], m[3])
		}
	}
	for _, m := range regexp.MustCompile(`(?m)^([a-z]+)==`).FindAllStringSubmatch(read(t, "training/requirements.txt"), -1) {
		wanted = append(wanted, m[1])
	}
	debian := regexp.MustCompile(`packages="(?:\$packages )?([^"]+)"`).FindAllStringSubmatch(read(t, "setup/debian.sh"), -1)
	require.Len(t, debian, 2)
	for _, m := range debian {
		wanted = append(wanted, strings.Fields(m[1])...)
	}
	for _, what := range wanted {
		assert.Contains(t, notice, what)
	}
}
