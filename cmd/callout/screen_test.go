package main

import (
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The screen in a real terminal, at both sizes, without colour and with: typed
// callouts show, what is live stands out, and Ctrl-C leaves the job open.
func TestQuietScreenInATerminal(t *testing.T) {
	if _, err := exec.LookPath("tmux"); err != nil {
		t.Skip("tmux is not installed; run: sh setup/debian.sh test")
	}
	program, err := exec.LookPath("callout")
	require.NoError(t, err)
	for _, size := range []struct {
		width, height int
		environment   string
	}{{80, 24, "NO_COLOR=1"}, {200, 50, "TZ=UTC"}} {
		home := t.TempDir()
		job := filepath.Join(home, "screen")
		tmux := func(args ...string) string {
			t.Helper()
			out, err := exec.Command("tmux", append([]string{"-L", "callout-test-" + strconv.Itoa(size.width), "-f", "/dev/null"}, args...)...).CombinedOutput()
			require.NoError(t, err, "%s", out)
			return string(out)
		}
		tmux("new-session", "-d", "-s", "s", "-x", strconv.Itoa(size.width), "-y", strconv.Itoa(size.height),
			"env", size.environment, "HOME="+home, "XDG_DATA_HOME="+home, "XDG_CONFIG_HOME="+home, "sh", "-c", program+" quiet --job "+job+"; sleep 60")
		t.Cleanup(func() {
			_ = exec.Command("tmux", "-L", "callout-test-"+strconv.Itoa(size.width), "kill-server").Run()
		})
		screen := ""
		see := func(text string) {
			t.Helper()
			for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
				if screen = tmux("capture-pane", "-p", "-t", "s"); strings.Contains(screen, text) {
					return
				}
				require.True(t, time.Now().Before(deadline), "%q is not on the screen:\n%s", text, screen)
			}
		}
		see("Give me the complaint")
		tmux("send-keys", "-t", "s", "complaint no cooling", "Enter")
		see("typed complaint no cooling")
		tmux("send-keys", "-t", "s", "nameplate LRA fifty eight", "Enter")
		see("typed nameplate LRA fifty eight")
		tmux("send-keys", "-t", "s", "compressor amps forty seven", "Enter")
		see("of 58 A locked-rotor amps")
		see("NEXT")
		lines := strings.Split(strings.TrimRight(screen, "\n"), "\n")
		assert.LessOrEqual(t, len(lines), size.height)
		assert.True(t, strings.HasPrefix(lines[0], "callout  screen"), lines[0])
		assert.True(t, strings.HasPrefix(lines[1], "!!! DO NOT TOUCH: outdoor unit live"), lines[1])
		assert.Contains(t, screen, "VERDICT")
		assert.True(t, strings.HasPrefix(lines[len(lines)-1], ">"), "the line to type on is the last")
		coloured := tmux("capture-pane", "-p", "-e", "-t", "s")
		assert.Equal(t, size.environment != "NO_COLOR=1", strings.Contains(coloured, "[31m") || strings.Contains(coloured, ";31m"), "red where colour is wanted")
		t.Logf("%dx%d\n%s", size.width, size.height, screen)
		tmux("send-keys", "-t", "s", "C-c")
		see("the job stays open")
	}
}
