package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/weights/adapters"
)

func TestTheAdapterSettingChoosesTheModelFile(t *testing.T) {
	all, err := adapters.List()
	require.NoError(t, err)
	a := all[0]
	dir := t.TempDir()
	plain, with, other := filepath.Join(dir, a.Base), filepath.Join(dir, a.Merged), filepath.Join(dir, "own.bin")
	choose := func(adapter, model, origin string) string {
		t.Helper()
		got, err := settings{Model: model, Adapter: adapter, origin: map[string]string{"model": origin}}.modelFile()
		require.NoError(t, err)
		return got
	}
	assert.Equal(t, plain, choose("auto", plain, "default"), "the file with the adapter is not there")
	require.NoError(t, os.WriteFile(with, nil, 0o600))
	assert.Equal(t, with, choose("auto", plain, "default"))
	assert.Equal(t, plain, choose("auto", plain, "flag --model"), "what was named is taken")
	assert.Equal(t, with, choose("auto", with, "flag --model"))
	assert.Equal(t, other, choose("auto", other, "default"))
	assert.Equal(t, with, choose("on", plain, "environment CALLOUT_MODEL"))
	assert.Equal(t, with, choose("on", with, "default"))
	assert.Equal(t, plain, choose("off", with, "environment CALLOUT_MODEL"))
	assert.Equal(t, plain, choose("off", plain, "default"))
	assert.Equal(t, other, choose("off", other, "flag --model"))

	_, err = settings{Model: other, Adapter: "on", origin: map[string]string{"adapter": "flag --adapter"}}.modelFile()
	assert.ErrorContains(t, err, "there is none for the model "+other)
}

func TestTheAdapterIsNamedByTheModelsChecksum(t *testing.T) {
	all, err := adapters.List()
	require.NoError(t, err)
	name, sum := adapterIn("whisper.cpp 1.9.1 any.bin sha256:" + all[0].MergedSum)
	assert.Equal(t, all[0].Name+" sha256:"+all[0].SHA256, name)
	assert.Equal(t, all[0].SHA256, sum)
	name, sum = adapterIn("whisper.cpp 1.9.1 any.bin sha256:" + all[0].BaseSum)
	assert.Equal(t, "none", name)
	assert.Empty(t, sum)
}
