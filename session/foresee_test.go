package session

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

func TestForesee(t *testing.T) {
	b := newBench(t)
	b.say("complaint no cooling")
	for _, c := range []struct {
		text              string
		whole, unfinished bool
		grows, doubtful   bool
	}{
		{"compressor amps forty seven", true, false, false, false},
		{"compressor amps 47", true, false, false, false},
		{"compressor amps forty", true, false, true, false},
		{"line voltage two thirty", true, false, true, false},
		{"Line voltage 230.", true, false, true, false},
		{"Suction pressure 100.", true, false, true, false},
		{"Liquid pressure 110", true, false, false, false},
		{"Nameplate RLA 17.60", true, false, false, false},
		{"line voltage 230 volts", true, false, false, false},
		{"line voltage two thirty nine volts", true, false, false, false},
		{"disconnect is pulled", true, false, false, false},
		{"nameplate LRA", false, true, false, false},
		{"compressor amps", false, true, false, false},
		{"did you see the game last night", false, false, false, false},
		{"what's next", true, false, false, false},
		{"disconnect is not pulled", false, false, false, true},
		{"", false, false, false, false},
	} {
		before := b.r.Call().Entries()
		o := b.r.Call().Foresee(Utterance{Text: c.text, Certainty: 1})
		assert.Equal(t, before, b.r.Call().Entries())
		assert.Equal(t, c.whole, o.Whole, "whole: %s", c.text)
		assert.Equal(t, c.unfinished, o.Unfinished, "unfinished: %s", c.text)
		assert.Equal(t, c.grows, o.Grows, "grows: %s", c.text)
		assert.Equal(t, c.doubtful, o.Doubtful, "doubtful: %s", c.text)
	}
}

// The first words foreseen are the first words said.
func TestForeseenReadBackIsWhatIsSaid(t *testing.T) {
	b := newBench(t)
	for _, line := range []string{"complaint no cooling", "compressor amps forty seven", "nameplate LRA fifty eight", "disconnect is pulled", "compressor amps", "outdoor fan is running"} {
		o := b.r.Call().Foresee(Utterance{At: b.now, Text: line, Certainty: 1})
		require.NotEmpty(t, o.ReadBack, line)
		said := bodies[joblog.Said](b.say(line))
		require.NotEmpty(t, said)
		assert.Equal(t, said[0].Text, o.ReadBack, line)
	}
}

func TestWhatBrokeOffIsAskedBack(t *testing.T) {
	b := newBench(t)
	b.say("complaint no cooling")
	hear := func(u Utterance) []Record {
		b.now = b.now.Add(5 * time.Second)
		u.At, u.Source, u.Certainty = b.now, joblog.Speech, 1
		before := len(b.out.records)
		require.NoError(t, b.r.Hear(t.Context(), u))
		return b.out.records[before:]
	}
	got := hear(Utterance{Text: "compressor amps forty", Cut: true})
	assert.Equal(t, []joblog.Decision{joblog.Asked}, decisions(got))
	assert.Contains(t, spoken(got), "Did you say")
	got = hear(Utterance{Text: "current compressor 47", Echo: true})
	assert.Equal(t, []joblog.Decision{joblog.Ignored}, decisions(got))
	assert.Equal(t, "its own voice", bodies[joblog.Callout](got)[0].Because)
	assert.Empty(t, bodies[joblog.Said](got))
}

func TestTellIsLoggedAndSaid(t *testing.T) {
	b := newBench(t)
	before := len(b.log.records)
	require.NoError(t, b.r.Tell(t.Context(), b.now, "microphone_lost", nil))
	require.Len(t, b.log.records, before+1)
	assert.Contains(t, b.log.records[before].Body.(joblog.Said).Text, "microphone is gone")
	require.Error(t, b.r.Tell(t.Context(), b.now, "no_such_phrase", nil))
}
