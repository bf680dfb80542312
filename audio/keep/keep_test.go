package keep

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/mewkiz/flac"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio"
)

func sound(n int) []float32 {
	x := make([]float32, n)
	for i := range x {
		x[i] = float32(0.3*math.Sin(float64(i)*0.05) + 0.01*math.Sin(float64(i*i)))
	}
	return x
}

func decode(t *testing.T, data []byte) []float32 {
	t.Helper()
	s, err := flac.New(bytes.NewReader(data))
	require.NoError(t, err)
	var got []float32
	for {
		f, err := s.ParseNext()
		if errors.Is(err, io.EOF) {
			return got
		}
		require.NoError(t, err)
		for _, v := range f.Subframes[0].Samples {
			got = append(got, float32(v)/math.MaxInt16)
		}
	}
}

func TestEncodeKeepsTheSound(t *testing.T) {
	for _, n := range []int{1, 100, block, block + 1, 3*block + 17} {
		x := sound(n)
		data, err := Encode(x)
		require.NoError(t, err)
		require.InDeltaSlice(t, x, decode(t, data), 1.0/32000, n)
	}
	data, err := Encode(sound(10 * audio.Rate))
	require.NoError(t, err)
	assert.Less(t, len(data), 2*10*audio.Rate*9/10, "smaller than plain samples")
}

// The reference decoder, where it is installed, accepts the stream bit for bit.
func TestReferenceDecoderAccepts(t *testing.T) {
	if _, err := exec.LookPath("flac"); err != nil {
		t.Skip("the reference flac program is not installed (Debian: flac)")
	}
	dir := t.TempDir()
	_, err := Save(dir, "a.flac", sound(2*block+5))
	require.NoError(t, err)
	out, err := exec.Command("flac", "--test", filepath.Join(dir, "a.flac")).CombinedOutput()
	require.NoError(t, err, string(out))
}

func TestSaveTellsTheSumOfTheFile(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "audio")
	sum, err := Save(dir, "00007.flac", sound(5000))
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join(dir, "00007.flac"))
	require.NoError(t, err)
	want := sha256.Sum256(data)
	assert.Equal(t, hex.EncodeToString(want[:]), sum)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, left, 1, "no half-written file stays")
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	_, err = Save(filepath.Join(file, "audio"), "x.flac", sound(5))
	assert.ErrorContains(t, err, "keep:")
}

func TestSweepRemovesWhatIsOld(t *testing.T) {
	jobs := t.TempDir()
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	for name, age := range map[string]int{"one": 10, "two": 40} {
		dir := filepath.Join(jobs, name, "audio")
		_, err := Save(dir, "00001.flac", sound(10))
		require.NoError(t, err)
		old := now.AddDate(0, 0, -age)
		require.NoError(t, os.Chtimes(filepath.Join(dir, "00001.flac"), old, old))
	}
	n, err := Sweep(jobs, "audio", 0, now)
	require.NoError(t, err)
	assert.Zero(t, n, "0 keeps all")
	n, err = Sweep(jobs, "audio", 30, now)
	require.NoError(t, err)
	assert.Equal(t, 1, n)
	assert.FileExists(t, filepath.Join(jobs, "one", "audio", "00001.flac"))
	assert.NoFileExists(t, filepath.Join(jobs, "two", "audio", "00001.flac"))
}

// A job's folder may come from anywhere: links in it lead nowhere.
func TestLinksAreNotFollowed(t *testing.T) {
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	jobs, elsewhere := t.TempDir(), t.TempDir()
	_, err := Save(filepath.Join(elsewhere, "audio"), "00001.flac", sound(10))
	require.NoError(t, err)
	theirs := filepath.Join(elsewhere, "audio", "00001.flac")
	old := now.AddDate(-1, 0, 0)
	require.NoError(t, os.Chtimes(theirs, old, old))
	require.NoError(t, os.Symlink(elsewhere, filepath.Join(jobs, "one")))
	require.NoError(t, os.Mkdir(filepath.Join(jobs, "two"), 0o700))
	require.NoError(t, os.Symlink(filepath.Dir(theirs), filepath.Join(jobs, "two", "audio")))
	n, err := Sweep(jobs, "audio", 30, now)
	require.NoError(t, err)
	assert.Zero(t, n)
	assert.FileExists(t, theirs)
	_, err = Save(filepath.Join(jobs, "two", "audio"), "00002.flac", sound(10))
	require.ErrorContains(t, err, "is a link")
	info, err := os.Stat(filepath.Dir(theirs))
	require.NoError(t, err)
	assert.Zero(t, info.Mode().Perm()&0o077, "sound is private")
}
