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

// TestEveryFaultAlone plays calls of each fault with nothing else wrong.
// CALLOUT_ALONE sets how many of each: a few in a quick run, which can only tell
// a fault that is hardly found at all, and a hundred in a long one, which holds
// each to its share. CALLOUT_FAULT plays the faults that begin with it.
func TestEveryFaultAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	n, first := envInt("CALLOUT_ALONE", 4), uint64(envInt("CALLOUT_SEED", 90_000_000))
	// With n calls a fault that comes right in aloneLeast of a hundred falls under
	// this by chance about once in a thousand.
	least := leastOf(n, aloneLeast/100.0, 0.001)
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
