package diagnose_test

import (
	"fmt"
	"os"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
	"callout/diagnose/internal/simulator"
)

// job is what is played: the engine's, or one that chooses otherwise.
type job interface {
	Add(diagnose.Event) []diagnose.Warning
	Assess(now time.Time) diagnose.Assessment
}

// played adapts a job to the simulator: it speaks in ids and minutes.
type played struct {
	job  job
	cat  *catalogue.Catalogue
	seq  uint64
	next diagnose.Next
	took []time.Duration // of each assessment
}

var arrival = time.Date(2026, 7, 14, 9, 0, 0, 0, time.UTC)

func clock(at float64) time.Time { return arrival.Add(time.Duration(at * float64(time.Minute))) }

func (p *played) add(at float64, e diagnose.Event) {
	p.seq++
	e.Seq, e.At = p.seq, clock(at)
	p.job.Add(e)
}

func (p *played) Observe(at float64, quantity, place, value string) {
	p.add(at, diagnose.Event{Observation: &catalogue.Observation{Quantity: catalogue.QuantityID(quantity), Place: catalogue.PlaceID(place), Value: catalogue.ValueID(value)}})
}

func (p *played) Read(at float64, quantity, place string, value float64, qualifier string) {
	q, _ := p.cat.Quantity(catalogue.QuantityID(quantity))
	p.add(at, diagnose.Event{Reading: &catalogue.Reading{Quantity: q.ID, Place: catalogue.PlaceID(place), Value: value, Unit: q.Unit, Qualifier: catalogue.Qualifier(qualifier)}})
}

func (p *played) Declare(at float64, d string) {
	p.add(at, diagnose.Event{Declaration: catalogue.DeclarationID(d)})
}

func (p *played) Repair(at float64, r string) {
	p.add(at, diagnose.Event{Repair: catalogue.RepairID(r)})
}

func (p *played) Cannot(at float64, test string) {
	l := &diagnose.Lack{Absent: true} // it is asked of a part that is not fitted
	if p.next.Kind == diagnose.DoMakeSafe {
		l.Quantity, l.Place = p.next.Quantity, p.next.Place
	}
	p.add(at, diagnose.Event{Cannot: diagnose.TestID(test), Lack: l})
}

func (p *played) Next(at float64) simulator.Step {
	start := time.Now()
	a := p.job.Assess(clock(at))
	p.took = append(p.took, time.Since(start))
	n := a.Next
	p.next = n
	s := simulator.Step{Kind: n.Kind, Test: string(n.Test), Quantity: string(n.Quantity), Place: string(n.Place), Repair: string(n.Repair), Wait: n.Wait.Minutes(), Cautions: len(n.Cautions), Minutes: n.Minutes}
	if n.Kind == diagnose.DoDone && os.Getenv("CALLOUT_LOG") != "" {
		s.Note = n.Say
		for _, f := range a.Findings {
			s.Note += "\n    " + f.Text
		}
		for _, c := range a.Causes[:min(4, len(a.Causes))] {
			s.Note += fmt.Sprintf("\n    %.2f %v", c.Probability, c.Faults)
		}
	}
	for _, d := range n.Declare {
		s.Declare = append(s.Declare, string(d))
	}
	if a.Verdict != nil {
		s.Verdict = []string{}
		for _, f := range a.Verdict.Faults {
			s.Verdict = append(s.Verdict, string(f))
		}
		sort.Strings(s.Verdict)
	}
	return s
}

// playMany plays n calls with seeds from first on, on all processors.
func playMany(t testing.TB, first uint64, n int, setup simulator.Setup) (results []simulator.Result, took []time.Duration) {
	c, k := loaded(t)
	return playWith(c, func(uint64) job { return k.NewJob() }, first, n, setup)
}

func playWith(c *catalogue.Catalogue, begin func(seed uint64) job, first uint64, n int, setup simulator.Setup) (results []simulator.Result, took []time.Duration) {
	results = make([]simulator.Result, n)
	var wg sync.WaitGroup
	var mu sync.Mutex
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				seed := first + uint64(i)
				e := &played{job: begin(seed), cat: c}
				results[i] = simulator.Play(simulator.NewCall(seed, setup), e, seed, os.Getenv("CALLOUT_LOG") != "")
				mu.Lock()
				took = append(took, e.took...)
				mu.Unlock()
			}
		})
	}
	for i := range results {
		next <- i
	}
	close(next)
	wg.Wait()
	slices.Sort(took)
	return results, took
}

// scorecard sums results up.
type scorecard struct {
	calls, right, cured, exact, finished, condemned int
	tests, readings, minutes, toVerdict             float64
	unsafe                                          map[string]int
	wasted                                          map[string]int
}

func sumUp(results []simulator.Result) scorecard {
	s := scorecard{calls: len(results), unsafe: map[string]int{}, wasted: map[string]int{}}
	for _, r := range results {
		count := func(b bool, n *int) {
			if b {
				*n++
			}
		}
		count(r.Right, &s.right)
		count(r.Cured, &s.cured)
		count(r.Exact, &s.exact)
		count(r.Finished, &s.finished)
		count(r.Condemned, &s.condemned)
		s.tests += float64(r.Tests)
		s.readings += float64(r.Readings)
		s.minutes += r.Minutes
		s.toVerdict += r.ToVerdict
		for _, u := range r.Unsafe {
			s.unsafe[u]++
		}
		for _, w := range r.Wasted {
			s.wasted[w]++
		}
	}
	return s
}

func (s scorecard) share(n int) float64 { return 100 * float64(n) / float64(max(s.calls, 1)) }

func (s scorecard) unsafePrompts() int {
	n := 0
	for _, c := range s.unsafe {
		n += c
	}
	return n
}

// table prints a line for each true fault, the worst first, and the sum.
func table(results []simulator.Result, worst int) string {
	by := map[string][]simulator.Result{}
	for _, r := range results {
		key := strings.Join(r.Truth, "+")
		if len(r.Truth) > 1 {
			key = "two faults"
		}
		by[key] = append(by[key], r)
	}
	names := make([]string, 0, len(by))
	for name := range by {
		names = append(names, name)
	}
	wrong := func(name string) int { s := sumUp(by[name]); return s.calls - s.right }
	sort.Slice(names, func(i, j int) bool {
		if a, b := wrong(names[i]), wrong(names[j]); a != b {
			return a > b
		}
		return names[i] < names[j]
	})
	var b strings.Builder
	line := func(name string, s scorecard) {
		fmt.Fprintf(&b, "%-28s %6d %7.1f %7.1f %7.1f %7.2f %8.2f %8.1f %8.1f %10d %7d\n", name, s.calls, s.share(s.right), s.share(s.cured), s.share(s.exact),
			s.tests/float64(s.calls), s.readings/float64(s.calls), s.minutes/float64(s.calls), s.toVerdict/float64(s.calls), s.condemned, s.unsafePrompts())
	}
	fmt.Fprintf(&b, "%-28s %6s %7s %7s %7s %7s %8s %8s %8s %10s %7s\n", "truth", "calls", "right %", "cured %", "exact %", "tests", "readings", "minutes", "verdict", "condemned", "unsafe")
	for i, name := range names {
		if i < worst {
			line(name, sumUp(by[name]))
		}
	}
	line("one fault or none", sumUp(single(results)))
	line("all", sumUp(results))
	return b.String()
}

// single keeps the calls with one fault or none.
func single(results []simulator.Result) (kept []simulator.Result) {
	for _, r := range results {
		if len(r.Truth) == 1 {
			kept = append(kept, r)
		}
	}
	return kept
}

func envInt(name string, otherwise int) int {
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return n
	}
	return otherwise
}

// TestSimulatedCalls plays calls of a unit that the engine has never seen:
// other physics, other constants, other frequencies. CALLOUT_CALLS sets how
// many, CALLOUT_SEED the first seed, CALLOUT_LOG=1 prints the wrong ones.
func TestSimulatedCalls(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	n, first := envInt("CALLOUT_CALLS", 200), uint64(envInt("CALLOUT_SEED", 50_000_000))
	start := time.Now()
	results, took := playMany(t, first, n, simulator.Setup{Pairs: 0.12})
	elapsed := time.Since(start)
	s := sumUp(results)
	t.Logf("%d calls in %v, %.0f a second\n%s", n, elapsed.Round(time.Millisecond), float64(n)/elapsed.Seconds(), table(results, envInt("CALLOUT_ROWS", 25)))
	t.Logf("unsafe: %v\nwasted: %v", s.unsafe, s.wasted)
	t.Logf("assessment: median %v, 99 of 100 %v, of %d", took[len(took)/2], took[len(took)*99/100], len(took))
	if os.Getenv("CALLOUT_LOG") != "" {
		shown := 0
		for _, r := range results {
			if (!r.Right || len(r.Unsafe) > 0) && shown < envInt("CALLOUT_SHOW", 10) {
				shown++
				t.Logf("seed %d truth %v verdicts %v repairs %v unsafe %v finished %v\n%s", r.Seed, r.Truth, r.Verdicts, r.Repairs, r.Unsafe, r.Finished, strings.Join(r.Log, "\n"))
			}
		}
	}
	assert.Zero(t, s.condemned, "good compressors condemned")
	assert.Zero(t, s.unsafePrompts(), "unsafe prompts: %v", s.unsafe)
	one := sumUp(single(results))
	// The target is 98 in 100. Over thousands of unseen calls the engine reaches about
	// that, so that the few of a quick run scatter around it: the guard is what a
	// worse engine would fall under, the target is told.
	const target, guard = 98.0, 94.5
	share, met := one.share(one.right), "MISSED"
	if share >= target {
		met = "met"
	}
	t.Logf("root cause right: %.1f%% of %d calls with one fault or none; target %.0f%%: %s", share, one.calls, target, met)
	assert.GreaterOrEqual(t, share, guard, "root cause right")
}

// TestSimulatedTowns plays calls in towns that differ in everything that may be learnt
// by heart: frequencies, severities, meters, eyes, complaints. CALLOUT_CALLS sets how
// many calls, a dozen in each town; the worst tenth of towns is told beside the mean.
func TestSimulatedTowns(t *testing.T) {
	const each = 12
	calls := 600
	if testing.Short() {
		calls = 60
	}
	n, first := envInt("CALLOUT_CALLS", calls)/each, uint64(envInt("CALLOUT_SEED", 60_000_000))
	var all []simulator.Result
	type of struct {
		right float64
		town  uint64
	}
	var towns []of
	for i := range n {
		town := first + uint64(i)
		results, _ := playMany(t, town*each, each, simulator.Setup{Pairs: 0.12, Town: town})
		all = append(all, results...)
		s := sumUp(results)
		towns = append(towns, of{s.share(s.right), town})
		if os.Getenv("CALLOUT_LOG") != "" {
			showWrong(t, results, envInt("CALLOUT_SHOW", 10))
		}
	}
	sort.Slice(towns, func(i, j int) bool { return towns[i].right < towns[j].right })
	worst := towns[:max(1, n/10)]
	mean := 0.0
	for _, w := range worst {
		mean += w.right / float64(len(worst))
	}
	s, one := sumUp(all), sumUp(single(all))
	t.Logf("%d calls in %d towns\n%s", len(all), n, table(all, envInt("CALLOUT_ROWS", 25)))
	t.Logf("right in %.1f%% of calls with one fault or none; in the worst tenth of towns %.1f%% of all calls, in the worst, town %d, %.1f%%\nunsafe: %v\nwasted: %v", one.share(one.right), mean, worst[0].town, worst[0].right, s.unsafe, s.wasted)
	assert.Zero(t, s.condemned, "good compressors condemned")
	assert.Zero(t, s.unsafePrompts(), "unsafe prompts: %v", s.unsafe)
	assert.GreaterOrEqual(t, one.share(one.right), 88.0, "root cause right over all towns")
}

// TestSimulatedTraps plays calls in which pulling the disconnect may leave one
// leg live: what is declared dead is not, and only the meter says so.
func TestSimulatedTraps(t *testing.T) {
	results, _ := playMany(t, 70_000_000, envInt("CALLOUT_CALLS", 60), simulator.Setup{Traps: true})
	s := sumUp(results)
	t.Logf("\n%s", table(results, 0))
	assert.GreaterOrEqual(t, s.share(s.right), 90.0, "root cause right, though the disconnect can't be trusted")
	assert.Zero(t, s.condemned, "good compressors condemned")
	assert.Zero(t, s.unsafePrompts(), "unsafe prompts: %v", s.unsafe)
}

// BenchmarkCalls plays calls one after the other and prints how many a second
// one core plays, what one assessment takes, and the engine's share of it all.
func BenchmarkCalls(b *testing.B) {
	c, err := catalogue.Load()
	require.NoError(b, err)
	k, err := diagnose.Load(c)
	require.NoError(b, err)
	var took []time.Duration
	var engine time.Duration
	for seed := uint64(1000); b.Loop(); seed++ {
		e := &played{job: k.NewJob(), cat: c}
		simulator.Play(simulator.NewCall(seed, simulator.Setup{Pairs: 0.12}), e, seed, false)
		took = append(took, e.took...)
	}
	slices.Sort(took)
	for _, d := range took {
		engine += d
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "calls/s")
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "median-µs")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
	b.ReportMetric(100*engine.Seconds()/b.Elapsed().Seconds(), "engine-%")
}
