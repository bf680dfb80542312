package session

import (
	"testing"

	"callout/joblog"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The log tells once what each reading was held against. A run capacitor is
// good within the tolerance on its label (common practice, no
// source): 45 µF ±5% reads 42.75 to 47.25.
func TestLimitsAreToldOnce(t *testing.T) {
	b := newBench(t)
	var told []joblog.Expected
	for _, line := range []string{"nameplate LRA sixty one", "nameplate RLA twelve point six", "rated forty five", "capacitor tolerance five percent", "compressor amps fifty one", "herm forty three microfarads", "note the dog is friendly"} {
		for _, x := range bodies[joblog.Assessment](b.say(line)) {
			told = append(told, x.Expected...)
		}
	}
	by := map[string]joblog.Expected{}
	for _, x := range told {
		by[x.Quantity] = x
		assert.NotZero(t, x.Entry)
		assert.NotEmpty(t, x.Source)
	}
	require.Contains(t, by, "current")
	assert.Less(t, *by["current"].High, 51.0)
	assert.Greater(t, *by["current"].High, 12.6)
	if x, ok := by["capacitance"]; assert.True(t, ok) {
		assert.InDelta(t, 42.75, *x.Low, 1e-9)
		assert.InDelta(t, 47.25, *x.High, 1e-9)
		assert.Equal(t, "uF", x.Unit)
	}
	assert.Len(t, told, len(by), "each once")
}
