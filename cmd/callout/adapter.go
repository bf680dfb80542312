package main

import (
	"fmt"
	"os"
	"path/filepath"

	"callout/weights/adapters"
)

// modelFile gives the weights that the settings model and adapter ask for together. The
// model files that set-up makes without and with an adapter lie side by side: on and off
// choose between them, auto takes the file that was named, and of the default files the
// one with the adapter where it is there.
func (s settings) modelFile() (string, error) {
	all, err := adapters.List()
	if err != nil {
		return "", err
	}
	dir, name := filepath.Split(s.Model)
	for _, a := range all {
		with := filepath.Join(dir, a.Merged)
		switch {
		case s.Adapter == "off" && name == a.Merged:
			return filepath.Join(dir, a.Base), nil
		case s.Adapter == "on" && name == a.Merged:
			return s.Model, nil
		case s.Adapter == "on" && name == a.Base:
			return with, nil
		case s.Adapter == "auto" && name == a.Base && s.origin["model"] == "default":
			if _, err := os.Stat(with); err == nil {
				return with, nil
			}
		}
	}
	if s.Adapter == "on" {
		return "", fmt.Errorf("settings: adapter is on (from %s), but there is none for the model %s; turn it off, or leave model unset", s.origin["adapter"], s.Model)
	}
	return s.Model, nil
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
