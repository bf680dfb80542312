package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"

	"callout/intents"
)

const (
	sphinxModel = "/usr/share/pocketsphinx/model/en-us"
	sphinxWords = "cmudict-en-us.dict"
)

var hypothesis = regexp.MustCompile(`^(.*?) ?\((\S+) -?\d+\)$`)

// sphinx recognises clips with pocketsphinx and a JSGF grammar of the same language: a
// classic recogniser that can say nothing else. It gives one text a clip, by its ID. The
// sounds are passed as 16-bit files.
func sphinx(ctx context.Context, p *intents.Parser, list []clip, sound func(clip) ([]float32, error)) (map[string]string, error) {
	dir, err := os.MkdirTemp("", "callout-sphinx-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	jsgf, err := p.Grammar(intents.Spoken).JSGF("callouts")
	if err != nil {
		return nil, err
	}
	header, rules, _ := strings.Cut(jsgf, "\n")
	words, err := os.ReadFile(filepath.Join(sphinxModel, sphinxWords))
	if err != nil {
		return nil, fmt.Errorf("pocketsphinx-en-us is not installed: %w", err)
	}
	more, err := textFiles.ReadFile("texts/pronounced.dict")
	if err != nil {
		return nil, err
	}
	var ids bytes.Buffer
	for _, c := range list {
		x, err := sound(c)
		if err != nil {
			return nil, err
		}
		if err := writeWAV(filepath.Join(dir, c.ID+".wav"), x); err != nil {
			return nil, err
		}
		fmt.Fprintln(&ids, c.ID)
	}
	for name, data := range map[string][]byte{"gram": []byte(header + "\n" + strings.ToLower(rules)), "dict": append(words, more...), "ids": ids.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			return nil, err
		}
	}
	cmd := exec.CommandContext(ctx, "pocketsphinx_batch", "-adcin", "yes", "-adchdr", "44", "-cepdir", dir, "-cepext", ".wav", "-ctl", filepath.Join(dir, "ids"),
		"-jsgf", filepath.Join(dir, "gram"), "-dict", filepath.Join(dir, "dict"), "-hmm", filepath.Join(sphinxModel, "en-us"), "-hyp", filepath.Join(dir, "hyp"))
	if out, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("pocketsphinx_batch: %w: %s", err, out[max(0, len(out)-400):])
	}
	hyp, err := os.ReadFile(filepath.Join(dir, "hyp"))
	if err != nil {
		return nil, err
	}
	texts := map[string]string{}
	for line := range strings.Lines(string(hyp)) {
		if m := hypothesis.FindStringSubmatch(strings.TrimSpace(line)); m != nil {
			texts[m[2]] = m[1]
		}
	}
	return texts, nil
}
