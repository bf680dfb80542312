package simulator

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestStartKit: a kit starts what lacks torque, whatever for, and nothing that is
// stuck or has no way to its start winding. Without one nothing is said of it.
func TestStartKit(t *testing.T) {
	for truth, want := range map[string]string{
		"compressor_hard_start": "starts", "start_gear_failed": "starts", "run_capacitor_failed": "starts", "run_capacitor_weak": "starts",
		"compressor_seized": "stalled", "start_wire_broken": "stalled", "capacitor_terminal_broken": "stalled", "start_winding_open": "stalled", "run_winding_open": "stalled",
		"common_wire_broken": "silent",
	} {
		for seed := range uint64(40) {
			w := NewCall(seed, Setup{Fault: truth, Expert: true})
			w.breakerOn, w.tripped, w.overloadUntil, w.cache = true, false, 0, nil
			assert.False(t, w.Ask("start_kit", "compressor").Can, truth)
			alone := w.settle().state
			w.Declare("start_kit_on")
			w.Now += 10 // past the board's delay
			w.cache = nil
			want := want
			if w.p.runWire {
				want = "stalled" // the start winding still has its current
			}
			assert.Equal(t, want, w.Ask("start_kit", "compressor").Choice, "%s, seed %d", truth, seed)
			if truth == "compressor_hard_start" {
				assert.Equal(t, "locked", alone, "seed %d", seed)
				w.Mend("fit_start_kit")
				assert.Equal(t, "quick", w.Ask("starts_again", "compressor").Choice, "seed %d", seed)
			}
		}
	}
}

// TestWiringIsHandsOn: a start kit prompted onto what is not proved dead is unsafe.
func TestWiringIsHandsOn(t *testing.T) {
	w := NewCall(3, Setup{Fault: "compressor_seized"})
	assert.Equal(t, HandsOnLive, w.touching(wiring("start_kit_on")))
	w.Declare("disconnect_pulled")
	assert.Equal(t, HandsOnUnproved, w.touching(wiring("start_kit_on")))
	assert.Empty(t, w.touching(wiring("panel_open")))
}
