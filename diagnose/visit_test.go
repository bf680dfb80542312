package diagnose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"callout/diagnose/internal/simulator"
)

// TestMaintenanceVisit plays visits without a complaint, to units that run: what drifts is
// found by reading everything once, and a sound unit is called sound.
func TestMaintenanceVisit(t *testing.T) {
	n := envInt("CALLOUT_ALONE", 20)
	for fault, least := range map[string]float64{
		"no_fault": 0.7, "run_capacitor_weak": 0.9, "filter_blocked": 0.9, "outdoor_coil_dirty": 0.9, "undercharge": 0.8, "contactor_drop": 0.9,
	} {
		results, _ := playMany(t, 70_000, n, simulator.Setup{Fault: fault, Visit: true})
		s := sumUp(results)
		t.Logf("%-20s right %d of %d, tests %.1f", fault, s.right, n, s.tests/float64(n))
		assert.GreaterOrEqual(t, s.right, leastOf(n, least, 0.001), fault)
		assert.Zero(t, s.condemned, fault)
		assert.Zero(t, s.unsafePrompts(), fault)
		showWrong(t, results, 1)
	}
}
