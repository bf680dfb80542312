package review

import (
	"strings"
	"testing"
	"time"

	"callout/joblog"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// found folds a log and gives what it finds, as "question@seq".
func found(t *testing.T, dir string) []string {
	t.Helper()
	l, err := readLog(dir)
	require.NoError(t, err)
	var out []string
	for _, f := range l.facts.Findings {
		out = append(out, string(f.Question)+": "+f.What)
	}
	return out
}

func TestWhatIsFound(t *testing.T) {
	verdict := func(fault string) joblog.Assessment {
		return joblog.Assessment{Causes: causes(1), Verdict: fault, Because: "why " + fault}
	}
	part := joblog.Repair{Repair: "replace_run_capacitor", Part: "run capacitor", Fault: "a"}
	dead := joblog.Energy{State: "dead", Outdoor: "proved_dead"}
	for name, c := range map[string]struct {
		bodies []joblog.Body
		want   []string
	}{
		"nothing":                  {nil, nil},
		"a verdict that stands":    {[]joblog.Body{verdict("a"), verdict("a"), joblog.Closed{Outcome: "x"}}, nil},
		"a verdict given up":       {[]joblog.Body{verdict("a"), verdict("")}, []string{"overturned: from a to none"}},
		"a second fault, in order": {[]joblog.Body{verdict("a"), dead, part, joblog.Proof{Repair: 4, Proved: true}, verdict("b")}, nil},
		"a repair that did not mend": {[]joblog.Body{verdict("a"), dead, part, joblog.Proof{Repair: 4, Because: "still hums"}, joblog.Closed{Outcome: "x"}},
			[]string{"overturned: replace run capacitor did not mend it: still hums", "unproved: no proof of replace run capacitor"}},
		"proof of a part of it": {[]joblog.Body{dead, part, joblog.Proof{Repair: 3, Proved: true}, joblog.Closed{Outcome: "x"}}, []string{"unproved: no proof of replace run capacitor"}},
		"proof of all of it":    {[]joblog.Body{dead, part, joblog.Proof{Repair: 3, Proved: true}, joblog.Closed{Outcome: "x", Proved: true}}, nil},
		"a part that was not earned": {[]joblog.Body{dead, part, joblog.Caution{Caution: "unproved_repair", Say: "not earned"}, joblog.Proof{Repair: 3, Proved: true}},
			[]string{"unproved: not earned"}},
		"work without a part needs no proof": {[]joblog.Body{joblog.Repair{Repair: "repair_terminal"}, joblog.Closed{Outcome: "x"}}, nil},
		"a part while it is live": {[]joblog.Body{joblog.Energy{State: "outdoor unit live", Outdoor: "live"}, part, joblog.Proof{Repair: 3, Proved: true}},
			[]string{"safety: replace run capacitor told while nothing was proved dead (outdoor unit live)"}},
		"a part while it is only said to be dead": {[]joblog.Body{joblog.Energy{State: "claimed", Outdoor: "declared_dead"}, part, joblog.Proof{Repair: 3, Proved: true}},
			[]string{"safety: replace run capacitor told while nothing was proved dead (claimed)"}},
		"a part of the air handler": {[]joblog.Body{joblog.Energy{State: "x", Outdoor: "live", Indoor: "proved_dead"}, part, joblog.Proof{Repair: 3, Proved: true}}, nil},
		"a compressor": {[]joblog.Body{dead, verdict("open winding"), joblog.Repair{Repair: "replace_compressor", Part: "compressor"}, joblog.Proof{Repair: 4, Proved: true}},
			[]string{"condemned: replaced: why open winding []"}},
		"a compressor, on nothing": {[]joblog.Body{dead, joblog.Repair{Repair: "replace_compressor", Part: "compressor"}, joblog.Proof{Repair: 3, Proved: true}},
			[]string{"condemned: replaced: nothing in the record"}},
		"proposed again and again": {[]joblog.Body{joblog.Next{Does: "repair", Repair: "replace_compressor", Say: "x"}, joblog.Next{Does: "repair", Repair: "replace_compressor", Say: "x"}},
			[]string{"condemned: proposed: nothing in the record"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := begin(t, t.TempDir(), "j", "U", "T", march)
			s.add(c.bodies...)
			assert.Equal(t, c.want, found(t, s.close()))
		})
	}
}

func TestWordsAreBounded(t *testing.T) {
	s := begin(t, t.TempDir(), "j", "U", "T", march)
	for range 5 {
		s.add(joblog.Note{Text: strings.Repeat("Long ", 20_000)})
	}
	s.add(joblog.Note{Text: "Later"})
	l, err := readLog(s.close())
	require.NoError(t, err)
	assert.LessOrEqual(t, len(l.facts.Words), maxWords)
	assert.Contains(t, l.facts.Words, "later")
}

func TestSince(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "+0:00", 61 * time.Second: "+1:01", time.Hour + 2*time.Minute + 3*time.Second: "+1:02:03",
		-5 * time.Second: "−0:05", 1400 * time.Millisecond: "+0:01"} {
		assert.Equal(t, want, since(march, march.Add(d)))
	}
}

// A clock that was set back, a job of one entry, one of years: the chart holds.
func TestChartsOfOddCalls(t *testing.T) {
	for name, at := range map[string]time.Duration{"one moment": 0, "back": -time.Hour, "years": 3 * 365 * 24 * time.Hour} {
		c := newCharter(words(t))
		c.add(joblog.Entry{Seq: 1, At: march, Kind: joblog.KindOpened}, joblog.Opened{})
		c.add(joblog.Entry{Seq: 2, At: march.Add(at)}, joblog.Assessment{Causes: causes(0.5, 0.5)})
		c.add(joblog.Entry{Seq: 3, At: march.Add(at)}, joblog.Callout{Decision: joblog.Recorded, Readings: []joblog.Reading{amps(1e300), amps(-1e300), amps(0)}})
		got := c.chart()
		require.Len(t, got.Lines, 2, name)
		assert.NotEmpty(t, got.Ticks, name)
		assert.LessOrEqual(t, len(got.Ticks), 100)
		for _, d := range got.Strips[0].Dots {
			assert.GreaterOrEqual(t, d.X, chartLeft, name)
			assert.LessOrEqual(t, d.X, chartWidth, name)
		}
	}
}
