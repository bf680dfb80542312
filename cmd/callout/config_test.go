package main

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whatever stands in the settings file, it is read or refused; what is read is
// within its limits.
func FuzzSettingsFile(f *testing.F) {
	for _, s := range []string{"technician: T-12\n", "ask: 0.5\n", "ask: seven\n", "threads: -1\n", "jobs: [1, 2]\n", "a: {b: c}\n", "\x00", "- x\n", "ask: .inf\n", "ask: .nan\n", "keep-audio: maybe\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "settings.yaml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		flags := pflag.NewFlagSet("test", pflag.ContinueOnError)
		settingFlags(flags)
		require.NoError(t, flags.Parse([]string{"--config", path}))
		s, err := loadSettings(flags)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.NoError(t, s.check())
		require.True(t, s.Ask >= 0 && s.Ask <= 1 && s.Threads >= 0 && s.AudioDays >= 0)
	})
}

// The version that the program tells is the one that CHANGELOG.md begins with.
func TestTheChangelogHasTheVersion(t *testing.T) {
	changes, err := os.ReadFile("../../CHANGELOG.md")
	require.NoError(t, err)
	m := regexp.MustCompile(`(?m)^## (\d+\.\d+\.\d+)`).FindSubmatch(changes)
	require.NotNil(t, m)
	assert.Equal(t, release, string(m[1]))
	assert.Equal(t, release+" (development)", version())
}
