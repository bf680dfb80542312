package diagnose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
	"callout/diagnose/internal/simulator"
)

// TestReasonsAreWhatWasRead and TestBeliefIsCalibratedOnTheWay play simulated
// calls: every reason of a verdict is a finding that was made, and a cause that
// is believed at some share on the way is the cause about as often.
func TestReasonsAreWhatWasRead(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	c, k := loaded(t)
	verdicts := 0
	for i := range 60 {
		e := &watching{played: played{job: k.NewJob(), cat: c}, t: t}
		simulator.Play(simulator.NewCall(uint64(71_000_000+i), simulator.Setup{}), e, uint64(i), false)
		verdicts += e.verdicts
	}
	assert.Greater(t, verdicts, 30)
}

func loaded(t testing.TB) (*catalogue.Catalogue, *diagnose.Knowledge) {
	c, err := catalogue.Load()
	require.NoError(t, err)
	k, err := diagnose.Load(c)
	require.NoError(t, err)
	return c, k
}

// watching looks at every assessment of a call.
type watching struct {
	played
	t        *testing.T
	verdicts int
	first    map[int]bool // bins of belief that the leading cause was in
	sample   func(bin int, fault string, p float64)
}

func (w *watching) Next(at float64) simulator.Step {
	step := w.played.Next(at)
	a := w.job.Assess(clock(at))
	if w.sample != nil && len(w.repaired()) == 0 && len(a.Causes) > 0 && len(a.Causes[0].Faults) == 1 {
		p := a.Causes[0].Probability
		bin := int(p * 5)
		if !w.first[bin] {
			w.first[bin] = true
			w.sample(bin, string(a.Causes[0].Faults[0]), p)
		}
	}
	if a.Verdict == nil || w.sample != nil {
		return step
	}
	w.verdicts++
	made := map[string]bool{}
	for _, f := range a.Findings {
		made[f.Text] = true
	}
	assert.NotEmpty(w.t, a.Verdict.Because, a.Verdict.Name)
	assert.NotEmpty(w.t, a.Verdict.Reasons, a.Verdict.Name)
	for _, r := range a.Verdict.Reasons {
		assert.True(w.t, made[r], "%s: %q was never found", a.Verdict.Name, r)
	}
	return step
}

func (w *watching) repaired() []catalogue.RepairID { return w.job.Assess(clock(0)).Proof.Repairs }

// TestBeliefIsCalibratedOnTheWay: one sample a call from each fifth of belief,
// the first time the leading cause is in it.
func TestBeliefIsCalibratedOnTheWay(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	c, k := loaded(t)
	var n, stated, held [6]float64
	for i := range min(envInt("CALLOUT_CALLS", 200), 1000) {
		type seen struct {
			bin   int
			fault string
			p     float64
		}
		var list []seen
		e := &watching{played: played{job: k.NewJob(), cat: c}, t: t, first: map[int]bool{}}
		e.sample = func(bin int, fault string, p float64) { list = append(list, seen{bin, fault, p}) }
		r := simulator.Play(simulator.NewCall(uint64(72_000_000+i), simulator.Setup{}), e, uint64(i), false)
		for _, s := range list {
			n[s.bin]++
			stated[s.bin] += s.p
			for _, f := range r.Truth {
				if f == s.fault {
					held[s.bin]++
					break
				}
			}
		}
	}
	for bin := range n {
		if n[bin] == 0 {
			continue
		}
		t.Logf("belief of %d%% to %d%%: %3.0f calls, stated %.2f, held %.2f", bin*20, bin*20+20, n[bin], stated[bin]/n[bin], held[bin]/n[bin])
		if n[bin] >= 40 {
			assert.Greater(t, held[bin]/n[bin], stated[bin]/n[bin]-0.10, "belief of %d%% to %d%% is not overstated", bin*20, bin*20+20)
			assert.InDelta(t, stated[bin]/n[bin], held[bin]/n[bin], 0.25, "belief of %d%% to %d%%", bin*20, bin*20+20)
		}
	}
}
