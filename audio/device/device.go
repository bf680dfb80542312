// Package device plays sound on the machine's loudspeaker. It is one of the two
// places with cgo; without cgo it builds and answers ErrNoDevice.
package device

import "errors"

// ErrNoDevice is returned when the machine has no loudspeaker that can be
// opened, or when the program was built without cgo.
var ErrNoDevice = errors.New("device: no loudspeaker found")
