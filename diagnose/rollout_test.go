package diagnose

import (
	"math/bits"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

// TestSearchLeavesTheJobAlone: what the search dreams up is no part of the job.
func TestSearchLeavesTheJobAlone(t *testing.T) {
	k := knowledge(t)
	say := func(seq uint64, q catalogue.QuantityID, p catalogue.PlaceID, v catalogue.ValueID) Event {
		return Event{Seq: seq, At: start, Observation: &catalogue.Observation{Quantity: q, Place: p, Value: v}}
	}
	s, plain := k.NewSearching(1), k.NewJob()
	for _, e := range []Event{say(1, "complaint", "unit", "no_cooling"), say(2, "compressor_sound", "compressor", "hum")} {
		s.Add(e)
		plain.Add(e)
	}
	v := s.Job.state.look(start)
	own := k.testAt[plain.Assess(start).Next.Test]
	tried := s.promising(v, own)
	require.Greater(t, len(tried), 2)
	assert.Equal(t, own, tried[0])
	asked := s.search(v, own)
	assert.Contains(t, tried, asked)
	assert.Equal(t, plain.Assess(start), s.Job.Assess(start))
}

// TestADreamIsUnderstood: what a test is made to show is what the job then
// understands, one reading after the other and whatever state it takes.
func TestADreamIsUnderstood(t *testing.T) {
	k := knowledge(t)
	for _, show := range [][]string{
		{"compressor_sound: hum", "outdoor_fan: running", "cap_herm: open"},
		{"compressor_sound: running", "filter: clean", "superheat: high", "subcooling: low"},
		{"breaker_found: tripped", "breaker_reset: trips_at_once", "windings: sound", "ground: grounded"},
	} {
		d := &dreamt{state: newState(k), now: start, shown: map[int]outcome{}}
		l := &loader{k: k}
		for _, s := range show {
			c := l.clause("", s)
			require.NotZero(t, c.mask, s)
			class := bits.TrailingZeros32(c.mask)
			d.answer(c.test, class, false)
			assert.True(t, d.look().holds(c), s)
		}
		assert.Empty(t, l.errs, show)
	}
}

// TestToldIsAModel: what was counted makes predictions that add up, and what was
// never met keeps the engine's own.
func TestToldIsAModel(t *testing.T) {
	k := knowledge(t)
	told, err := k.Told(1000, 20, false)
	require.NoError(t, err)
	changed := 0
	for v, ways := range told.model.rows {
		for w, tests := range ways {
			for i, row := range tests {
				assert.InDelta(t, 1, total(row), 1e-6)
				own := k.model.rows[v][w][i]
				if v&putBackBit != 0 {
					assert.InDeltaSlice(t, own, row, 1e-6)
				}
				if top(own) != top(row) {
					changed++
				}
			}
		}
	}
	assert.Positive(t, changed)
}
