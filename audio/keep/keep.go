// Package keep stores utterances beside a job log as FLAC files and removes
// them when their time is over.
package keep

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"callout/audio"
)

// block is the number of samples in one FLAC frame.
const block = 4096

// Encode gives samples at audio.Rate as a FLAC stream, 16 bits, one channel.
func Encode(samples []float32) ([]byte, error) {
	var out bytes.Buffer
	enc, err := flac.NewEncoder(&out, &meta.StreamInfo{
		BlockSizeMin: block, BlockSizeMax: block, SampleRate: audio.Rate, NChannels: 1, BitsPerSample: 16, NSamples: uint64(len(samples)),
	})
	if err != nil {
		return nil, fmt.Errorf("keep: %w", err)
	}
	enc.EnablePredictionAnalysis(true)
	for at := 0; at < len(samples); at += block {
		part := samples[at:min(at+block, len(samples))]
		pcm := make([]int32, len(part))
		for i, v := range part {
			pcm[i] = int32(math.Round(float64(max(-1, min(1, v))) * math.MaxInt16))
		}
		err := enc.WriteFrame(&frame.Frame{
			Header:    frame.Header{HasFixedBlockSize: false, BlockSize: uint16(len(pcm)), SampleRate: audio.Rate, Channels: frame.ChannelsMono, BitsPerSample: 16},
			Subframes: []*frame.Subframe{{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, Samples: pcm, NSamples: len(pcm)}},
		})
		if err != nil {
			return nil, fmt.Errorf("keep: %w", err)
		}
	}
	if err := enc.Close(); err != nil {
		return nil, fmt.Errorf("keep: %w", err)
	}
	return out.Bytes(), nil
}

// Save writes the samples as a file called name in dir, which is made if need
// be, and returns the SHA-256 of the file in hexadecimal. The file is whole and
// on disk when Save returns; after an error there is no file.
func Save(dir, name string, samples []float32) (sum string, err error) {
	data, err := Encode(samples)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("keep: %w", err)
	}
	if !folder(dir) {
		return "", fmt.Errorf("keep: %s is a link, not a folder: recordings would go elsewhere", dir)
	}
	f, err := os.CreateTemp(dir, ".new-*")
	if err != nil {
		return "", fmt.Errorf("keep: %w", err)
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), filepath.Join(dir, name))
	}
	if err != nil {
		return "", fmt.Errorf("keep: %w", errors.Join(err, os.Remove(f.Name())))
	}
	hash := sha256.Sum256(data)
	return hex.EncodeToString(hash[:]), nil
}

// Sweep removes the FLAC files under jobs/*/audio that are older than days at
// now, and returns how many. Days of 0 or less removes none.
func Sweep(jobs, audioDir string, days int, now time.Time) (removed int, err error) {
	if days <= 0 {
		return 0, nil
	}
	files, err := filepath.Glob(filepath.Join(jobs, "*", audioDir, "*.flac"))
	if err != nil {
		return 0, fmt.Errorf("keep: %w", err)
	}
	var errs []error
	for _, name := range files {
		info, err := os.Lstat(name)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err == nil && (!info.Mode().IsRegular() || !folder(filepath.Dir(name)) || !folder(filepath.Dir(filepath.Dir(name)))) {
			continue // a link may lead to what is not ours to remove
		}
		if err == nil && now.Sub(info.ModTime()) > time.Duration(days)*24*time.Hour {
			if err = os.Remove(name); err == nil {
				removed++
			}
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("keep: %w", err))
		}
	}
	return removed, errors.Join(errs...)
}

// folder is whether name is a folder, and not a link to one.
func folder(name string) bool {
	info, err := os.Lstat(name)
	return err == nil && info.IsDir()
}
