//go:build whisper && cgo

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/internal/scene"
)

// A folder of a hundred clips is heard faster than it was spoken, one JSON line a clip,
// in memory that stays flat: after the first twenty clips the process grows no more.
func TestHearAFolderOfAHundredClips(t *testing.T) {
	model := os.Getenv("CALLOUT_MODEL")
	if model == "" {
		t.Skip("CALLOUT_MODEL names no model; run make real")
	}
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		t.Skip("espeak-ng is not installed")
	}
	dir := t.TempDir()
	var length time.Duration
	for i := range 20 {
		x, err := scene.Voice("espeak-ng:en-us+m3:rate=150").Speak(t.Context(), fmt.Sprintf("compressor amps %d", 20+i))
		require.NoError(t, err)
		if i%2 == 1 {
			x = scene.Mix(x, scene.Typical(uint64(i)).Make(len(x)), 10, 0.5)
		}
		for n := range 5 {
			f, err := os.Create(filepath.Join(dir, fmt.Sprintf("%d-%02d.wav", n, i)))
			require.NoError(t, err)
			require.NoError(t, audio.WriteWAV(f, x, audio.Rate))
			require.NoError(t, f.Close())
			length += time.Duration(len(x)) * time.Second / audio.Rate
		}
	}
	paths, err := clipPaths([]string{dir})
	require.NoError(t, err)
	require.Len(t, paths, 100)
	t.Setenv("CALLOUT_MODEL", model)
	cmd := newHear()
	settingFlags(cmd.Flags())
	var out grower
	cmd.SetOut(&out)
	cmd.SetArgs([]string{"--json", dir})
	begun := time.Now()
	require.NoError(t, cmd.ExecuteContext(t.Context()))
	took := time.Since(begun)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.Len(t, lines, 100)
	var first, last heardClip
	require.NoError(t, json.Unmarshal([]byte(lines[0]), &first))
	require.NoError(t, json.Unmarshal([]byte(lines[80]), &last))
	assert.Equal(t, first.Text, last.Text, "the same sound is heard the same, whatever came before")
	t.Logf("%d clips, %s of sound in %s: %.1f times real time; resident %d MB after 20 clips, %d MB after 100",
		len(lines), length.Round(time.Second), took.Round(time.Second), length.Seconds()/took.Seconds(), out.resident[19]>>20, out.resident[99]>>20)
	assert.Less(t, took, length, "faster than it was spoken, even on a busy machine")
	assert.Less(t, out.resident[99]-out.resident[19], 32<<20, "memory grows")
}

// grower keeps what is written and how large the process was at each line.
type grower struct {
	bytes.Buffer
	resident []int
}

func (g *grower) Write(p []byte) (int, error) {
	raw, err := os.ReadFile("/proc/self/statm")
	if err == nil {
		pages, _ := strconv.Atoi(strings.Fields(string(raw))[1])
		g.resident = append(g.resident, pages*os.Getpagesize())
	}
	return g.Buffer.Write(p)
}
