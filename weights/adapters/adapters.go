// Package adapters lists the adapters in this folder and the model files that set-up
// makes with them, all by checksum, so that a model file tells which adapter is in it.
package adapters

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
)

// Adapter is one adapter file and what becomes of it. Sums are SHA-256 in hexadecimal.
type Adapter struct {
	Name    string  `json:"name"`
	File    string  `json:"file"` // in this folder
	SHA256  string  `json:"sha256"`
	Licence string  `json:"licence"`
	Recipe  string  `json:"recipe"` // in the source tree
	Models  []Model `json:"models"`
}

// Model is the model of an adapter with its matrices in one type: the file without the
// adapter and the one with it, as set-up names them.
type Model struct {
	Type      string `json:"type"` // f16 or bf16
	Base      string `json:"base"`
	BaseSum   string `json:"base_sha256"`
	Merged    string `json:"merged"`
	MergedSum string `json:"merged_sha256"`
}

//go:embed adapters.json
var list []byte

// List gives the adapters. The file is part of the program: an error is a broken build.
func List() ([]Adapter, error) {
	d := json.NewDecoder(bytes.NewReader(list))
	d.DisallowUnknownFields()
	var out []Adapter
	if err := d.Decode(&out); err != nil {
		return nil, fmt.Errorf("adapters: adapters.json: %w", err)
	}
	return out, nil
}

// In gives the adapter that is merged into the model file of that checksum, whatever the
// type; false for none.
func In(modelSum string) (Adapter, bool) {
	all, err := List()
	if err != nil {
		return Adapter{}, false
	}
	for _, a := range all {
		for _, m := range a.Models {
			if m.MergedSum == modelSum {
				return a, true
			}
		}
	}
	return Adapter{}, false
}
