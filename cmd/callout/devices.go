package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"callout/audio/device"
)

// chosen are the sound devices that were named last, kept so that they need not
// be named again.
type chosen struct {
	Microphone  device.Choice `json:"microphone"`
	Loudspeaker device.Choice `json:"loudspeaker"`
}

func devicesFile() string { return filepath.Join(dataHome(), "devices.json") }

// readChosen gives what was remembered; nothing if there is no file.
func readChosen(path string) (chosen, error) {
	raw, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return chosen{}, nil
	}
	var c chosen
	if err == nil {
		err = json.Unmarshal(raw, &c)
	}
	if err != nil {
		return chosen{}, fmt.Errorf("remembered sound devices, %s: %w; delete the file and name them again", path, err)
	}
	return c, nil
}

func (c chosen) write(path string) error {
	raw, err := json.MarshalIndent(c, "", " ")
	if err != nil {
		return fmt.Errorf("remembering sound devices: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("remembering sound devices: %w", err)
	}
	temp := path + ".new"
	if err := os.WriteFile(temp, append(raw, '\n'), 0o600); err != nil {
		return fmt.Errorf("remembering sound devices: %w", err)
	}
	if err := os.Rename(temp, path); err != nil {
		return fmt.Errorf("remembering sound devices: %w", err)
	}
	return nil
}

// pick opens a device: the one that the setting names, which must be there; else
// the remembered one; else the sound system's default.
func pick[T any](what, named string, remembered device.Choice, complain io.Writer, open func(device.Choice) (T, error)) (T, error) {
	if named != "" {
		return open(device.Choice{Name: named})
	}
	if remembered != (device.Choice{}) {
		d, err := open(remembered)
		if err == nil || !errors.Is(err, device.ErrNoDevice) {
			return d, err
		}
		fmt.Fprintf(complain, "callout: the %s used last, %q, is not there; trying the system's default\n", what, remembered.Name)
	}
	return open(device.Choice{})
}

// writeDevices lists what there is.
func writeDevices(out io.Writer) error {
	microphones, loudspeakers, err := device.List()
	if err != nil {
		return err
	}
	for _, kind := range []struct {
		what string
		list []device.Info
	}{{"microphones", microphones}, {"loudspeakers", loudspeakers}} {
		fmt.Fprintf(out, "%s\n", kind.what)
		if len(kind.list) == 0 {
			fmt.Fprintln(out, "  none")
		}
		for _, d := range kind.list {
			mark := " "
			if d.Default {
				mark = "*"
			}
			fmt.Fprintf(out, "%s %s\n", mark, d.Name)
		}
	}
	_, err = fmt.Fprintln(out, "* the system's default. Choose with --microphone and --loudspeaker: a part of the name will do, and is remembered.")
	return err
}
