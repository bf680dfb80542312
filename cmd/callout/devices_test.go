package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/audio/device"
)

func TestChosenDevicesAreRemembered(t *testing.T) {
	path := filepath.Join(t.TempDir(), "new", "devices.json")
	none, err := readChosen(path)
	require.NoError(t, err)
	assert.Zero(t, none)
	want := chosen{Microphone: device.Choice{Name: "Headset", ID: "01ff"}, Loudspeaker: device.Choice{Name: "Headset"}}
	require.NoError(t, want.write(path))
	got, err := readChosen(path)
	require.NoError(t, err)
	assert.Equal(t, want, got)
	require.NoError(t, os.WriteFile(path, []byte("{"), 0o644))
	_, err = readChosen(path)
	require.ErrorContains(t, err, "delete the file")
}

// A device that is named must be there; one that is only remembered need not.
func TestPickADevice(t *testing.T) {
	there := map[device.Choice]string{{}: "default", {Name: "head"}: "headset"}
	open := func(c device.Choice) (string, error) {
		if name, ok := there[c]; ok {
			return name, nil
		}
		return "", device.ErrNoDevice
	}
	for _, c := range []struct {
		named      string
		remembered device.Choice
		want       string
		told       bool
		err        error
	}{
		{"", device.Choice{}, "default", false, nil},
		{"head", device.Choice{Name: "radio"}, "headset", false, nil},
		{"", device.Choice{Name: "head"}, "headset", false, nil},
		{"", device.Choice{Name: "radio"}, "default", true, nil},
		{"radio", device.Choice{}, "", false, device.ErrNoDevice},
	} {
		var complaint bytes.Buffer
		got, err := pick("microphone", c.named, c.remembered, &complaint, open)
		assert.Equal(t, c.want, got)
		assert.True(t, errors.Is(err, c.err) && (err != nil) == (c.err != nil), err)
		assert.Equal(t, c.told, complaint.Len() > 0)
	}
}
