package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func command(args ...string) (status int, stdout, stderr string) {
	var o, e bytes.Buffer
	status = run(args, &o, &e)
	return status, o.String(), e.String()
}

func TestWrongUse(t *testing.T) {
	for _, args := range [][]string{nil, {"help"}, {"convert"}, {"convert", "-out", "x"}, {"convert", "-bogus"}, {"verify"}, {"verify", "a", "b", "c"}} {
		status, stdout, stderr := command(args...)
		assert.Equal(t, 2, status, "%v", args)
		assert.Empty(t, stdout)
		assert.Contains(t, stderr, "usage:")
	}
}

func TestFailuresAreOneLine(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.bin")
	require.NoError(t, os.WriteFile(text, []byte("not a model"), 0o600))
	out := filepath.Join(dir, "out.bin")
	for _, args := range [][]string{
		{"verify", filepath.Join(dir, "none")},
		{"verify", text},
		{"convert", "-assets", text, "-out", out, text},
		{"convert", "-assets", text, "-out", out, filepath.Join(dir, "none.whl")},
		{"convert", "-type", "q8_0", "-assets", text, "-out", out, text},
	} {
		status, stdout, stderr := command(args...)
		assert.Equal(t, 1, status, "%v", args)
		assert.Empty(t, stdout)
		assert.Equal(t, 1, strings.Count(stderr, "\n"), "%q", stderr)
		assert.True(t, strings.HasPrefix(stderr, "weights: "), "%q", stderr)
	}
	assert.NoFileExists(t, out)
}

// With the real model that set-up made, when there is one.
func TestVerifyTheModel(t *testing.T) {
	model := os.Getenv("CALLOUT_MODEL")
	if model == "" {
		t.Skip("CALLOUT_MODEL names no model; run make test, which makes one and sets it")
	}
	status, stdout, stderr := command("verify", model)
	require.Equal(t, 0, status, stderr)
	sum, _, _ := strings.Cut(stdout, " ")
	assert.Len(t, sum, 64)
	status, _, _ = command("verify", model, strings.ToUpper(sum))
	assert.Equal(t, 0, status)
	status, _, stderr = command("verify", model, strings.Repeat("0", 64))
	assert.Equal(t, 1, status)
	assert.Contains(t, stderr, "its SHA-256 is "+sum)
}
