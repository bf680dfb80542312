package diagnose_test

import (
	"fmt"
	"os"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"callout/diagnose/internal/simulator"
)

// aloneLeast is the share of calls, in a hundred, that have to come right for
// each fault that is alone in its unit.
const aloneLeast = 90

// aloneShort are the faults that do not reach it yet, with what they reach, rounded down,
// over a few dozen calls each. Each is a debt.
var aloneShort = map[string]float64{
	"valves_leak":           50, // a small leak of the valves looks like a low or a full charge; no pump-down test
	"metering_floods":       60, // a small overfeed leaves a usual superheat
	"compressor_turn_short": 60, // ohms don't show it, and a start a little over the plate's is a meter's error
	"conductor_small":       60, // a fall of a tenth is usual too
	"breaker_small":         40, // found tripped, it is reset first, and its size read after
	"stat_wire_broken":      60, // a blank thermostat with its wire broken looks like dead batteries, which are tried first
	"wire_shorted":          60,
	"no_fault":              70, // ends unsettled where one reading is odd
	"aux_sequencer_failed":  70,
	"non_condensables":      75,
	"defrost_stuck":         60, // some are told that it is in a defrost, which ends by itself
	"overload_cooled":       60, // one that closed unseen leaves nothing to find: it ends unsettled
}

// TestEveryFaultAlone plays calls of each fault with nothing else wrong.
// CALLOUT_ALONE sets how many of each: three in a short run, which can only tell
// a fault that is hardly found at all, and forty in a long one, which holds each to
// its share. CALLOUT_FAULT plays the faults that begin with it.
func TestEveryFaultAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	few := 40
	if testing.Short() {
		few = 3
	}
	n, first := envInt("CALLOUT_ALONE", few), uint64(envInt("CALLOUT_SEED", 90_000_000))
	type line struct {
		fault string
		s     scorecard
	}
	var lines []line
	for i, fault := range simulator.FaultIDs() {
		if !strings.HasPrefix(fault, os.Getenv("CALLOUT_FAULT")) {
			continue
		}
		results, _ := playMany(t, first+uint64(i)*10_000, n, simulator.Setup{Fault: fault})
		s := sumUp(results)
		share, short := aloneShort[fault]
		if !short {
			share = aloneLeast
		}
		// By chance a fault that comes right so often falls under this about once in a thousand.
		least := leastOf(n, share/100, 0.001)
		lines = append(lines, line{fault, s})
		assert.GreaterOrEqual(t, s.right, least, "%s: right in %d of %d calls", fault, s.right, n)
		assert.Zero(t, s.condemned, "%s: good compressors condemned", fault)
		assert.Zero(t, s.unsafePrompts(), "%s: unsafe prompts %v", fault, s.unsafe)
		if os.Getenv("CALLOUT_LOG") != "" {
			showWrong(t, results, envInt("CALLOUT_SHOW", 10))
		}
	}
	sort.SliceStable(lines, func(i, j int) bool { return lines[i].s.right < lines[j].s.right })
	var b strings.Builder
	for _, l := range lines {
		fmt.Fprintf(&b, "%-28s right %5.1f%%  tests %5.1f  minutes %5.1f\n", l.fault, l.s.share(l.s.right), l.s.tests/float64(n), l.s.minutes/float64(n))
	}
	t.Logf("%d calls of each fault\n%s", n, b.String())
}

// leastOf is the fewest right of n that chance leaves, but once in so many, where
// each is right with probability p.
func leastOf(n int, p, once float64) int {
	sum, one := 0.0, 1.0
	for range n {
		one *= 1 - p
	}
	for k := 0; ; k++ {
		if sum += one; sum > once {
			return k
		}
		one *= float64(n-k) / float64(k+1) * p / (1 - p)
	}
}

// showWrong prints the calls that went wrong, at most so many.
func showWrong(t *testing.T, results []simulator.Result, most int) {
	for _, r := range results {
		if r.Right && len(r.Unsafe) == 0 {
			continue
		}
		if most--; most < 0 {
			return
		}
		t.Logf("seed %d truth %v verdicts %v repairs %v unsafe %v finished %v\n%s", r.Seed, r.Truth, r.Verdicts, r.Repairs, r.Unsafe, r.Finished, strings.Join(r.Log, "\n"))
	}
}
