// Package device is the machine's sound: a microphone that comes back after it
// was lost, and a loudspeaker. It is one of the two places with cgo; without cgo
// it builds and answers ErrNoDevice.
//
// The sound system's threads only copy: into a bounded ring, or out of the sound
// that is being played. Everything else happens on Go's side.
package device

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

var (
	// ErrNoDevice is returned when the machine has no microphone or loudspeaker
	// that can be opened, or when the program was built without cgo.
	ErrNoDevice = errors.New("device: no such sound device")
	// ErrLost is returned by Play when the loudspeaker went away.
	ErrLost = errors.New("device: the loudspeaker is gone")
	// ErrClosed is returned after Close.
	ErrClosed = errors.New("device: closed")
)

// Info describes one device.
type Info struct {
	Name    string `json:"name"`
	ID      string `json:"id"` // the sound system's, in hexadecimal; means something on this machine only
	Default bool   `json:"default"`
}

// Choice is a device as it was chosen or remembered. The zero Choice is the
// sound system's default.
type Choice struct {
	Name string `json:"name"` // a part of its name, in any case
	ID   string `json:"id,omitempty"`
}

// Find picks the device that want means: the one with its id, else the one with
// its whole name, else the only one that has the name as a part. The error says
// which there are. For the zero Choice it gives the default, or the first.
func Find(list []Info, want Choice) (Info, error) {
	if len(list) == 0 {
		return Info{}, ErrNoDevice
	}
	for _, d := range list {
		if want.ID != "" && d.ID == want.ID {
			return d, nil
		}
	}
	var part, whole []Info
	for _, d := range list {
		switch {
		case want.Name == "":
			if d.Default {
				return d, nil
			}
		case strings.EqualFold(d.Name, want.Name):
			whole = append(whole, d)
		case strings.Contains(strings.ToLower(d.Name), strings.ToLower(want.Name)):
			part = append(part, d)
		}
	}
	switch {
	case want.Name == "":
		return list[0], nil
	case len(whole) > 0:
		return whole[0], nil
	case len(part) == 1:
		return part[0], nil
	case len(part) > 1:
		return Info{}, fmt.Errorf("%w: %q fits several: %s", ErrNoDevice, want.Name, names(part))
	}
	return Info{}, fmt.Errorf("%w: %q; there are: %s", ErrNoDevice, want.Name, names(list))
}

func names(list []Info) string {
	var n []string
	for _, d := range list {
		n = append(n, fmt.Sprintf("%q", d.Name))
	}
	return strings.Join(n, ", ")
}

// Change is something that happened to a device.
type Change struct {
	At   time.Time
	Lost bool   // gone; else it is there, the first time or again
	Name string // the device's
	Why  string // why it counts as lost
}

// Stats count what a microphone has done since it was opened.
type Stats struct {
	Frames   int64 // samples delivered
	Overruns int64 // samples dropped because nobody read them in time
	Losses   int   // times the device went away
	Silences int   // times it was open and gave nothing
	Stuck    int   // times the sound system did not let the device go; each leaves a thread behind
}
