package weights

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
)

// Assets is what a ggml file needs beside the weights.
type Assets struct {
	Mel              []float32 // mel filter bank, row-major: bands by spectrum bins
	MelRows, MelCols int
	Tokens           [][]byte // vocabulary without special tokens, by token number
}

// maxAsset bounds one unpacked asset; the largest real one takes under 1 MB.
const maxAsset = 16 << 20

// AssetsFor reads the assets that fit the model m; see ReadAssets.
func AssetsFor(m *CT2, archive string) (Assets, error) {
	c := &converter{m: m}
	emb, conv := c.get("decoder/embeddings/weight", 2), c.get("encoder/conv1/weight", 3)
	if c.err != nil {
		return Assets{}, c.err
	}
	return ReadAssets(archive, emb.Shape[0] >= multilingualVocab, conv.Shape[1])
}

// ReadAssets reads the mel filters and the vocabulary out of the source archive of the
// reference implementation's Python package (openai-whisper, .tar.gz) for a model with
// the given number of mel bands.
func ReadAssets(archive string, multilingual bool, mels int) (Assets, error) {
	f, err := os.Open(archive)
	if err != nil {
		return Assets{}, fmt.Errorf("weights: %w", err)
	}
	defer f.Close()
	vocabulary := "gpt2.tiktoken"
	if multilingual {
		vocabulary = "multilingual.tiktoken"
	}
	files, err := untar(f, vocabulary, "mel_filters.npz")
	if err != nil {
		return Assets{}, fmt.Errorf("weights: %s: %w", archive, err)
	}
	a, err := parseAssets(files[vocabulary], files["mel_filters.npz"], mels)
	if err != nil {
		return Assets{}, fmt.Errorf("weights: %s: %w", archive, err)
	}
	return a, nil
}

func untar(r io.Reader, want ...string) (map[string][]byte, error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, fmt.Errorf("%w: %v", ErrDamaged, err)
	}
	found := make(map[string][]byte)
	for t := tar.NewReader(z); len(found) < len(want); {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("%w: it lacks one of %s", ErrUnfit, strings.Join(want, ", "))
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %v", ErrDamaged, err)
		}
		for _, w := range want {
			if path.Base(h.Name) != w || !strings.HasSuffix(path.Dir(h.Name), "/whisper/assets") {
				continue
			}
			if h.Size > maxAsset {
				return nil, fmt.Errorf("%w: %s unpacks to %d bytes", ErrDamaged, w, h.Size)
			}
			b, err := io.ReadAll(t)
			if err != nil {
				return nil, fmt.Errorf("%w: %s: %v", ErrDamaged, w, err)
			}
			found[w] = b
		}
	}
	return found, nil
}

func parseAssets(tiktoken, mel []byte, mels int) (Assets, error) {
	tokens, err := parseTokens(tiktoken)
	if err != nil {
		return Assets{}, err
	}
	a := Assets{Tokens: tokens}
	z, err := npz.NewReader(bytes.NewReader(mel), int64(len(mel)))
	if err != nil {
		return Assets{}, fmt.Errorf("%w: mel filters: %v", ErrDamaged, err)
	}
	name := fmt.Sprintf("mel_%d.npy", mels)
	h := z.Header(name)
	if h == nil {
		return Assets{}, fmt.Errorf("%w: no mel filters for %d bands", ErrUnfit, mels)
	}
	if shape := h.Descr.Shape; len(shape) != 2 || shape[0] != mels || shape[1] < 1 || h.Descr.Fortran {
		return Assets{}, fmt.Errorf("%w: mel filters have shape %v", ErrDamaged, shape)
	}
	a.MelRows, a.MelCols = h.Descr.Shape[0], h.Descr.Shape[1]
	if err := z.Read(name, &a.Mel); err != nil {
		return Assets{}, fmt.Errorf("%w: mel filters: %v", ErrDamaged, err)
	}
	if len(a.Mel) != a.MelRows*a.MelCols {
		return Assets{}, fmt.Errorf("%w: mel filters have %d values", ErrDamaged, len(a.Mel))
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
			return nil, fmt.Errorf("%w: vocabulary line %d", ErrDamaged, len(tokens)+1)
		}
		tokens = append(tokens, token)
	}
	if len(tokens) == 0 {
		return nil, fmt.Errorf("%w: empty vocabulary", ErrDamaged)
	}
	return tokens, nil
}
