package diagnose_test

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"sort"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/diagnose"
	"callout/diagnose/internal/simulator"
)

// TestAgainstReferencePolicies plays the engine and what it is held against over
// the same unseen calls with one fault or none. What is counted on all sides is one
// question a test: see the simulator's questions. Whatever condemns a compressor has
// the gates of the engine's data put to it first, asked or charged.
//
// "textbook", "greedy", "everything", "least cost" and "search" learnt from the
// simulator's own answers under other seeds. "search" looks two questions ahead over
// its five best, with greedy play beyond, for the fewest expected tests; "least
// cost" is the same for the minutes of each test with the way to its energy state,
// and the price of a question. The minutes are those before the verdict; the engine's
// have waits among them, the policies' don't. They start with the nameplate, need no
// steps to make safe, answer when 95 of 100 calls that they have seen agree, with no
// finding of the fault itself, and need no gate but a compressor's.
//
// Three rows take the gap apart. "engine, told" has the simulator's frequencies of
// faults, "engine, told all" has what its tests show under each as well: what is left
// between it and "search" is choosing, gates and when to stop. "engine, searching"
// has the engine's knowledge, gates and stops, and chooses by rollouts: it is the best
// policy that a search found with what the engine may know, on the first of the
// calls, for it is slow. The engine is held to that one. "told all, searching" has
// both, so that only gates and stops part it from "search".
//
// It is not held to "search": what that knows of the simulator would be knowledge of
// how this one simulator was written, and the engine has the trade's. Told it, the
// engine asks less, so that the distance to "search" is a bound that nobody with the
// engine's knowledge reaches; it is printed, and asserting it would only make a test
// that always fails.
//
// CALLOUT_LONG=1 learns from 60000 calls and plays 2000, CALLOUT_SEED sets the first
// of them, CALLOUT_SEARCHED how many are searched; else 3000 and 60, and 3 searched:
// the small sample is too thin for the policies and only shows that the test works.
func TestAgainstReferencePolicies(t *testing.T) {
	learn, play, told, searched := 3000, 60, 200, 3
	if os.Getenv("CALLOUT_LONG") != "" {
		learn, play, told, searched = 60000, envInt("CALLOUT_CALLS", 2000), 10000, envInt("CALLOUT_SEARCHED", 100)
	}
	searched = min(searched, play)
	const from = 1_000_000
	unseen := uint64(envInt("CALLOUT_SEED", 60_000_000))
	sampler := simulator.NewSampler()
	learnt := sampler.Draw(from, learn, simulator.Setup{})
	cases := sampler.Draw(unseen, play, simulator.Setup{})
	c, k := loaded(t)
	var b strings.Builder
	fmt.Fprintf(&b, "%-22s %6s %8s %8s %18s %9s\n", "policy", "calls", "right %", "tests", "tests where right", "minutes")

	var policy []simulator.Played
	for _, name := range []string{"textbook", "greedy", "everything", "least cost", "search"} {
		policy = simulator.Grow(name, learnt, diagnose.NewWays(k), k.Protocol()).Play(cases) // the last is "search"
		var s score
		for _, c := range policy {
			s.add(c.Right, c.Tests, c.Minutes)
		}
		s.line(&b, name)
	}
	engine := func(name string, n int, begin func(seed uint64) job) (score, []simulator.Result) {
		results, _ := playWith(c, begin, unseen, n, simulator.Setup{})
		var s score
		for _, r := range results {
			s.add(r.Right, r.Tests, r.ToVerdict)
		}
		s.line(&b, name)
		return s, results
	}
	often, err := k.WithPriors(simulator.Shares(learnt))
	require.NoError(t, err)
	engine("engine, told", play, func(uint64) job { return often.NewJob() })
	season := map[bool]*diagnose.Knowledge{}
	for _, heating := range []bool{false, true} {
		season[heating], err = k.Told(from, told, heating)
		require.NoError(t, err)
	}
	all := func(seed uint64) *diagnose.Knowledge {
		return season[simulator.NewCall(seed, simulator.Setup{}).Heating]
	}
	engine("engine, told all", play, func(seed uint64) job { return all(seed).NewJob() })
	own := func(uint64) job { return k.NewJob() }
	_, results := engine("engine", play, own)
	part, _ := engine("engine", searched, own)
	var mu sync.Mutex
	var searches []*diagnose.Searching
	best, found := engine("engine, searching", searched, func(seed uint64) job {
		s := k.NewSearching(seed)
		mu.Lock()
		defer mu.Unlock()
		searches = append(searches, s)
		return s
	})
	engine("told all, searching", searched, func(seed uint64) job { return all(seed).NewSearching(seed) })
	var more score // of the engine beyond the search, call by call
	for i, r := range found {
		more.add(true, results[i].Tests-r.Tests, 0)
	}
	var bound score
	for _, c := range policy[:searched] {
		bound.add(c.Right, c.Tests, c.Minutes)
	}
	bound.line(&b, "search")
	t.Logf("%d calls learnt from, %d played\n%sengine over what a search finds with its knowledge: %+.0f %%, give or take %.0f; over one that knows the simulator: %+.0f %%",
		learn, play, b.String(), 100*(part.mean()/best.mean()-1), 100*more.scatter()/best.mean(), 100*(part.mean()/bound.mean()-1))
	t.Logf("where the engine asks more than one that knows the simulator:\n%s", excess(results, policy, envInt("CALLOUT_ROWS", 12)))
	t.Logf("what the search asks instead, and the questions it saves by its own draws:\n%s", instead(searches, envInt("CALLOUT_ROWS", 12)))
	if os.Getenv("CALLOUT_LONG") != "" {
		assert.LessOrEqual(t, part.mean(), 1.15*best.mean(), "tests against the best policy found with the engine's knowledge")
	}
}

// score sums up the calls of one row.
type score struct {
	calls, right, tests, where int
	minutes, squares           float64
}

func (s *score) add(right bool, tests int, minutes float64) {
	s.calls, s.tests, s.minutes, s.squares = s.calls+1, s.tests+tests, s.minutes+minutes, s.squares+float64(tests*tests)
	if right {
		s.right, s.where = s.right+1, s.where+tests
	}
}

func (s *score) mean() float64 { return float64(s.tests) / float64(s.calls) }

// scatter is the standard error of the mean.
func (s *score) scatter() float64 {
	n := float64(s.calls)
	return math.Sqrt(max(s.squares/n-s.mean()*s.mean(), 0) / n)
}

func (s *score) line(b *strings.Builder, name string) {
	n := float64(s.calls)
	fmt.Fprintf(b, "%-22s %6d %8.1f %8.2f %18.2f %9.1f\n", name, s.calls, 100*float64(s.right)/n, s.mean(), float64(s.where)/float64(max(s.right, 1)), s.minutes/n)
}

// instead lists where the search chose otherwise than the engine.
func instead(searches []*diagnose.Searching, rows int) string {
	saved := map[[2]diagnose.TestID]float64{}
	chosen := 0
	for _, s := range searches {
		chosen += s.Chosen
		for pair, x := range s.Instead {
			saved[pair] += x
		}
	}
	list := slices.Collect(maps.Keys(saved))
	sort.Slice(list, func(i, j int) bool {
		if a, b := saved[list[i]], saved[list[j]]; a != b {
			return a > b
		}
		return list[i][0]+list[i][1] < list[j][0]+list[j][1]
	})
	var b strings.Builder
	for i, pair := range list {
		if i < rows {
			fmt.Fprintf(&b, "%-20s instead of %-20s %5.1f\n", pair[1], pair[0], saved[pair])
		}
	}
	fmt.Fprintf(&b, "of %d choices", chosen)
	return b.String()
}

// excess lists the faults on which the engine asked most beyond the policy.
func excess(results []simulator.Result, policy []simulator.Played, rows int) string {
	type sum struct {
		name           string
		n, mine, least int
	}
	by := map[string]*sum{}
	for i, r := range results {
		name := r.Truth[0]
		if by[name] == nil {
			by[name] = &sum{name: name}
		}
		by[name].n++
		by[name].mine += r.Tests
		by[name].least += policy[i].Tests
	}
	var list []*sum
	for _, s := range by {
		list = append(list, s)
	}
	sort.Slice(list, func(i, j int) bool {
		if a, b := list[i].mine-list[i].least, list[j].mine-list[j].least; a != b {
			return a > b
		}
		return list[i].name < list[j].name
	})
	var b strings.Builder
	for i, s := range list {
		if i < rows {
			fmt.Fprintf(&b, "%-28s %5d calls, engine %.1f, search %.1f\n", s.name, s.n, float64(s.mine)/float64(s.n), float64(s.least)/float64(s.n))
		}
	}
	return b.String()
}
