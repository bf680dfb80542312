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
	for _, m := range all[0].Models {
		t.Run(m.Type, func(t *testing.T) { choosesTheModelFile(t, m) })
	}
}

func choosesTheModelFile(t *testing.T, a adapters.Model) {
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

	_, err := settings{Model: other, Adapter: "on", origin: map[string]string{"adapter": "flag --adapter"}}.modelFile()
	assert.ErrorContains(t, err, "there is none for the model "+other)
}

func TestTheAdapterIsNamedByTheModelsChecksum(t *testing.T) {
	all, err := adapters.List()
	require.NoError(t, err)
	for _, m := range all[0].Models {
		name, sum := adapterIn("whisper.cpp 1.9.1 any.bin sha256:" + m.MergedSum)
		assert.Equal(t, all[0].Name+" sha256:"+all[0].SHA256, name)
		assert.Equal(t, all[0].SHA256, sum)
		name, sum = adapterIn("whisper.cpp 1.9.1 any.bin sha256:" + m.BaseSum)
		assert.Equal(t, "none", name)
		assert.Empty(t, sum)
	}
}

// Of the weights that set-up made, in whichever type, those are the default that the
// processor is fastest with.
func TestTheDefaultModelIsOfTheProcessorsType(t *testing.T) {
	const other = "ggml-silero.bin"
	assert.Equal(t, []string{modelName, "ggml-base-bf16.bin"}, inTypes(modelName, false))
	assert.Equal(t, []string{"ggml-base-bf16.bin", modelName}, inTypes(modelName, true))
	assert.Equal(t, []string{other}, inTypes(other, true))

	near, far := t.TempDir(), t.TempDir()
	half, brain := filepath.Join(near, modelName), filepath.Join(near, "ggml-base-bf16.bin")
	find := func(bf16 bool) string { return findIn([]string{near, far}, modelName, bf16) }
	assert.Equal(t, filepath.Join(far, modelName), find(true), "there is none")
	require.NoError(t, os.WriteFile(filepath.Join(far, "ggml-base-bf16.bin"), nil, 0o600))
	require.NoError(t, os.WriteFile(half, nil, 0o600))
	assert.Equal(t, half, find(true), "the tree's own comes first")
	require.NoError(t, os.WriteFile(brain, nil, 0o600))
	assert.Equal(t, brain, find(true))
	assert.Equal(t, half, find(false))
	require.NoError(t, os.Remove(half))
	assert.Equal(t, brain, find(false), "what is there will do")
}
