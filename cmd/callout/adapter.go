package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"callout/weights/adapters"
)

// modelFile gives the weights that the settings model and adapter ask for together.
func (s settings) modelFile() (string, error) {
	path, known, err := s.adapted(s.Model, "model")
	if err == nil && !known && s.Adapter == "on" {
		return "", fmt.Errorf("settings: adapter is on (from %s), but there is none for the model %s; turn it off, or leave model unset", s.origin["adapter"], s.Model)
	}
	return path, err
}

// secondFile does the same for the second recogniser, which may be any model. It is not
// wanted where it is the first, or is there only by default and isn't.
func (s settings) secondFile() (path string, wanted bool, err error) {
	if path, _, err = s.adapted(s.Second, "second"); err != nil {
		return "", false, err
	}
	_, missing := os.Stat(path)
	return path, path != "" && s.Second != s.Model && (missing == nil || s.origin["second"] != "default"), nil
}

// adapted is the file to use for the one that a setting names, and whether an adapter
// belongs to it. The model files that set-up makes without and with an adapter lie side
// by side: on and off choose between them, auto takes the file that was named, and of the
// default files the one with the adapter where it is there.
func (s settings) adapted(path, setting string) (file string, known bool, err error) {
	all, err := adapters.List()
	if err != nil {
		return "", false, err
	}
	dir, name := filepath.Split(path)
	for _, m := range modelsOf(all) {
		if name != m.Merged && name != m.Base {
			continue
		}
		plain, with := filepath.Join(dir, m.Base), filepath.Join(dir, m.Merged)
		switch s.Adapter {
		case "off":
			return plain, true, nil
		case "on":
			return with, true, nil
		}
		if _, missing := os.Stat(with); s.origin[setting] == "default" && missing == nil {
			return with, true, nil
		}
		return path, true, nil
	}
	return path, false, nil
}

func modelsOf(all []adapters.Adapter) (out []adapters.Model) {
	for _, a := range all {
		out = append(out, a.Models...)
	}
	return out
}

// inTypes gives the files that may hold the model which set-up names so: one for each type
// of weights, that which the processor is fastest with first.
func inTypes(name string, bf16 bool) []string {
	all, err := adapters.List()
	if err != nil {
		return []string{name}
	}
	for _, a := range all {
		if !slices.ContainsFunc(a.Models, func(m adapters.Model) bool { return m.Base == name }) {
			continue
		}
		var out []string
		for _, m := range a.Models {
			if (m.Type == "bf16") == bf16 {
				out = append([]string{m.Base}, out...)
			} else {
				out = append(out, m.Base)
			}
		}
		return out
	}
	return []string{name}
}

// adapterIn names the adapter in the weights of an engine, for people, and gives its
// SHA-256; "none" and nothing without one.
func adapterIn(engine string) (name, sum string) {
	a, ok := adapters.In(weightsSum(engine))
	if !ok {
		return "none", ""
	}
	return fmt.Sprintf("%s sha256:%s", a.Name, a.SHA256), a.SHA256
}
