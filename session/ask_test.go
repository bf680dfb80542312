package session

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

// TestWhatCannotBeIsNeverKept: no meter reads it, so yes keeps nothing, and the reading is
// asked for again with its range.
func TestWhatCannotBeIsNeverKept(t *testing.T) {
	for said, want := range map[string]struct {
		most string
		then float64
	}{
		"herm minus five microfarads":           {"400 µF", 38},
		"line voltage five thousand":            {"300 V", 240},
		"suction pressure minus twenty":         {"400 psig", 118},
		"suction line temperature nine hundred": {"300°F", 55},
	} {
		b := newBench(t)
		got := b.say(said)
		require.Equal(t, []joblog.Decision{joblog.Asked}, decisions(got), said)
		assert.Contains(t, spoken(got), want.most, said)
		got = b.say("yes")
		assert.Equal(t, []joblog.Decision{joblog.Ignored}, decisions(got), said)
		assert.Contains(t, spoken(got), want.most, "%s: it is asked again", said)
		readings := bodies[joblog.Callout](b.say(strconv.FormatFloat(want.then, 'f', -1, 64)))[0].Readings
		require.Len(t, readings, 1, said)
		assert.Equal(t, want.then, readings[0].Value, said)
		assert.Empty(t, b.r.Call().Open(), said)
	}
}

// TestAMendedNumberCannotBeImpossible: "no, five thousand" is weighed like a reading.
func TestAMendedNumberCannotBeImpossible(t *testing.T) {
	b := newBench(t)
	b.say("line voltage two hundred thirty eight")
	got := b.say("no, five thousand")
	assert.Equal(t, []joblog.Decision{joblog.Asked}, decisions(got))
	assert.Contains(t, spoken(got), "can't be")
	b.say("yes")
	last, _ := b.r.Call().lastNumber()
	assert.Equal(t, 238.0, last.Value)
}

// TestANumberIsFiledNowhereWhileItsPlaceIsAsked: a place that the quantity doesn't have,
// and then a bare number.
func TestANumberIsFiledNowhereWhileItsPlaceIsAsked(t *testing.T) {
	for _, said := range []string{"amps on the filter twelve", "amps on the filter", "twelve amps on the filter"} {
		b := newBench(t)
		for _, s := range []string{said, "42", "amps 42"} {
			got := b.say(s)
			require.Equal(t, []joblog.Decision{joblog.Asked}, decisions(got), "%s: %s", said, s)
			assert.Contains(t, spoken(got), "where", s)
		}
		assert.Equal(t, []joblog.Decision{joblog.Ignored}, decisions(b.say("yes")), "no yes says where")
		got := bodies[joblog.Callout](b.say("fan"))
		require.Len(t, got[0].Readings, 1, said)
		assert.Equal(t, "fan", got[0].Readings[0].Place)
		assert.Equal(t, 42.0, got[0].Readings[0].Value)
		assert.Empty(t, b.r.Call().Open())
	}
	b := newBench(t)
	b.say("no volts")
	assert.Equal(t, []joblog.Decision{joblog.Asked}, decisions(b.say("42")), "of no place yet")
}
