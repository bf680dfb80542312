// Package assets reads what a converted model needs beside its weights, the vocabulary
// and the mel filters, out of the reference implementation's package. It is apart from
// package weights so that its array library stays out of programs that only load models.
package assets

import (
	"archive/tar"
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"strconv"
	"strings"

	"github.com/sbinet/npyio/npz"

	"callout/weights"
)

// maxAsset bounds one unpacked asset; the largest real one takes under 1 MB.
const maxAsset = 16 << 20

// Read reads the mel filters and the vocabulary out of the source archive of the
// reference implementation's Python package (openai-whisper, .tar.gz) for a model with
// the given number of mel bands.
func Read(archive string, multilingual bool, mels int) (weights.Assets, error) {
	f, err := os.Open(archive)
	if err != nil {
		return weights.Assets{}, fmt.Errorf("assets: %w", err)
	}
	defer f.Close()
	vocabulary := "gpt2.tiktoken"
	if multilingual {
		vocabulary = "multilingual.tiktoken"
	}
	files, err := untar(f, vocabulary, "mel_filters.npz")
	if err != nil {
		return weights.Assets{}, fmt.Errorf("assets: %s: %w", archive, err)
	}
	a, err := parseAssets(files[vocabulary], files["mel_filters.npz"], mels)
	if err != nil {
		return weights.Assets{}, fmt.Errorf("assets: %s: %w", archive, err)
	}
	return a, nil
}

func untar(r io.Reader, want ...string) (map[string][]byte, error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, fmt.Errorf("%w: %v", weights.ErrDamaged, err)
	}
	found := make(map[string][]byte)
	for t := tar.NewReader(z); len(found) < len(want); {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("%w: it lacks one of %s", weights.ErrUnfit, strings.Join(want, ", "))
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %v", weights.ErrDamaged, err)
		}
		for _, w := range want {
			if path.Base(h.Name) != w || !strings.HasSuffix(path.Dir(h.Name), "/whisper/assets") {
				continue
			}
			if h.Size > maxAsset {
				return nil, fmt.Errorf("%w: %s unpacks to %d bytes", weights.ErrDamaged, w, h.Size)
			}
			b, err := io.ReadAll(t)
			if err != nil {
				return nil, fmt.Errorf("%w: %s: %v", weights.ErrDamaged, w, err)
			}
			found[w] = b
		}
	}
	return found, nil
}

func parseAssets(tiktoken, mel []byte, mels int) (weights.Assets, error) {
	tokens, err := parseTokens(tiktoken)
	if err != nil {
		return weights.Assets{}, err
	}
	a := weights.Assets{Tokens: tokens}
	z, err := npz.NewReader(bytes.NewReader(mel), int64(len(mel)))
	if err != nil {
		return weights.Assets{}, fmt.Errorf("%w: mel filters: %v", weights.ErrDamaged, err)
	}
	name := fmt.Sprintf("mel_%d.npy", mels)
	h := z.Header(name)
	if h == nil {
		return weights.Assets{}, fmt.Errorf("%w: no mel filters for %d bands", weights.ErrUnfit, mels)
	}
	if shape := h.Descr.Shape; len(shape) != 2 || shape[0] != mels || shape[1] < 1 || h.Descr.Fortran {
		return weights.Assets{}, fmt.Errorf("%w: mel filters have shape %v", weights.ErrDamaged, shape)
	}
	a.MelRows, a.MelCols = h.Descr.Shape[0], h.Descr.Shape[1]
	if err := z.Read(name, &a.Mel); err != nil {
		return weights.Assets{}, fmt.Errorf("%w: mel filters: %v", weights.ErrDamaged, err)
	}
	if len(a.Mel) != a.MelRows*a.MelCols {
		return weights.Assets{}, fmt.Errorf("%w: mel filters have %d values", weights.ErrDamaged, len(a.Mel))
	}
	return a, nil
}

// parseTokens reads lines of "base64-token rank". Ranks run from 0 without a gap.
func parseTokens(b []byte) ([][]byte, error) {
	var tokens [][]byte
	for s := bufio.NewScanner(bytes.NewReader(b)); s.Scan(); {
		if len(bytes.TrimSpace(s.Bytes())) == 0 {
			continue
		}
		word, rank, ok := strings.Cut(s.Text(), " ")
		token, err := base64.StdEncoding.DecodeString(word)
		n, err2 := strconv.Atoi(rank)
		// One token of the multilingual vocabulary is written as "=", an empty token.
		if word == "=" {
			token, err = nil, nil
		}
		if !ok || err != nil || err2 != nil || n != len(tokens) {
			return nil, fmt.Errorf("%w: vocabulary line %d", weights.ErrDamaged, len(tokens)+1)
		}
		tokens = append(tokens, token)
	}
	if len(tokens) == 0 {
		return nil, fmt.Errorf("%w: empty vocabulary", weights.ErrDamaged)
	}
	return tokens, nil
}
