package session_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"callout/session"
	"callout/session/internal/hazard"
)

// kinds is how many kinds of breaks are shrunk and printed.
const kinds = 12

var arrived = time.Date(2026, 7, 14, 9, 0, 0, 0, time.UTC)

func intString(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// oracle is what the tests of this file share.
func oracle(t testing.TB) (*session.Knowledge, *hazard.Judge, *phrases) {
	t.Helper()
	k, err := session.LoadKnowledge()
	require.NoError(t, err)
	j, err := hazard.NewJudge()
	require.NoError(t, err)
	return k, j, newPhrases(k)
}

// tally counts what was played and keeps one example of each break.
type tally struct {
	sessions, steps, hands int
	met                    map[string]int
	found                  map[string][]line
	times                  map[string]int
}

func newTally() *tally {
	return &tally{met: map[string]int{}, found: map[string][]line{}, times: map[string]int{}}
}

// session plays one technician for n lines.
func (y *tally) session(j *hazard.Judge, start func() (game, error), who *tech, n int) error {
	g, err := start()
	if err != nil {
		return err
	}
	y.sessions++
	var lines []line
	for range n {
		l := who.line(g.next())
		lines = append(lines, l)
		found, err := g.play(l)
		if err != nil {
			if errors.Is(err, session.ErrClosed) {
				break
			}
			return fmt.Errorf("%w after\n%s", err, script(who.f, lines))
		}
		y.steps++
		if needs, err := j.Needs(g.next()); err == nil && len(needs) > 0 {
			y.hands++
			y.met[stepKey(g.next())]++
			for _, need := range needs {
				if who.unit != nil && g.gave() && who.unit.Hurts(need) && !who.unit.MeterDead {
					return fmt.Errorf("%q is asked for and %s is alive, after\n%s", g.next().Say, need, script(who.f, lines))
				}
			}
		}
		for _, f := range found {
			y.times[f.key]++
			if old, ok := y.found[f.key]; !ok || len(lines) < len(old) {
				y.found[f.key] = append([]line(nil), lines...)
			}
		}
	}
	return nil
}

// add takes what another tally counted.
func (y *tally) add(z *tally) {
	y.sessions, y.steps, y.hands = y.sessions+z.sessions, y.steps+z.steps, y.hands+z.hands
	for k, n := range z.met {
		y.met[k] += n
	}
	for k, n := range z.times {
		y.times[k] += n
		if old, ok := y.found[k]; !ok || len(z.found[k]) < len(old) {
			y.found[k] = z.found[k]
		}
	}
}

// report prints each break with its shortest script.
func (y *tally) report(t *testing.T, f *phrases, start func() (game, error)) {
	t.Helper()
	t.Logf("%d sessions, %d steps, %d with a step that needs something, %d kinds of such steps", y.sessions, y.steps, y.hands, len(y.met))
	var keys []string
	for k := range y.found {
		keys = append(keys, k)
	}
	claim := func(key string) bool { return strings.HasPrefix(key, "claim") } // a hand comes before a claim
	sort.Slice(keys, func(i, j int) bool {
		if claim(keys[i]) != claim(keys[j]) {
			return claim(keys[j])
		}
		return y.times[keys[i]] > y.times[keys[j]]
	})
	for i, key := range keys {
		if i == kinds {
			t.Errorf("and %d more kinds", len(keys)-i)
			break
		}
		short := shrink(start, y.found[key], key)
		last, _, _ := finds(start, short, key)
		t.Errorf("%s (%d times)\n%s  -> %s", key, y.times[key], script(f, short), last.say)
	}
}

// times is how many times longer than the quick run the tests play: CALLOUT_LONG=1 is the
// long run, of some seven million steps; a larger number is taken as it is.
func times(t *testing.T) int {
	t.Helper()
	long := os.Getenv("CALLOUT_LONG")
	if long == "" {
		return 1
	}
	n, err := strconv.Atoi(long)
	require.NoError(t, err, "CALLOUT_LONG is a number: 1, or how many times the quick run")
	if n == 1 {
		return 200
	}
	return n
}

// The technicians that are played: seed decides all that they do.
func careless(f *phrases, seed uint64, words bool) *tech {
	r := rand.New(rand.NewPCG(seed, 21))
	t := &tech{r: r, f: f, at: arrived, wild: []float64{0.1, 0.25, 0.5}[seed%3], words: words}
	t.begin()
	return t
}

func attacker(f *phrases, seed uint64, words bool) *tech {
	r := rand.New(rand.NewPCG(seed, 22))
	t := &tech{r: r, f: f, at: arrived, wild: 0.15, words: words}
	t.begin()
	t.attack()
	return t
}

// honest works at a unit with what may be wrong with it.
func honest(f *phrases, seed uint64, words bool) *tech {
	r := rand.New(rand.NewPCG(seed, 23))
	u := hazard.NewUnit()
	if r.IntN(3) == 0 {
		u.LeavesLeg = 1 + r.IntN(2)
	}
	u.Holds = r.IntN(4) == 0
	u.Pass(0)
	t := &tech{r: r, f: f, at: arrived, wild: 0.1, words: words, unit: u}
	t.begin()
	return t
}

// scrupulous does all that is asked, and proves more than is asked.
func scrupulous(f *phrases, seed uint64, words bool) *tech {
	r := rand.New(rand.NewPCG(seed, 24))
	t := &tech{r: r, f: f, at: arrived, words: words, scruple: true}
	t.begin()
	return t
}

// No prompt is hands-on where the ledger does not hold it proved, and nothing is claimed
// that it does not hold: through words, log and restarts, and on the engine's job alone.
func TestNoHandOnWhatIsNotProvedDead(t *testing.T) {
	k, j, f := oracle(t)
	call := func() (game, error) { return newCallGame(k, j, arrived) }
	job := func() (game, error) { return newJobGame(k, j), nil }
	for _, c := range []struct {
		name     string
		who      func(*phrases, uint64, bool) *tech
		words    bool
		sessions int // of the quick run
	}{
		{"careless", careless, true, 60},
		{"attacked", attacker, true, 120},
		{"honest", honest, true, 60},
		{"scrupulous", scrupulous, false, 100},
		{"careless, no words", careless, false, 150},
		{"attacked, no words", attacker, false, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			start := job
			if c.words {
				start = call
			}
			y, err := playAll(k, j, start, c.who, c.words, c.sessions*times(t))
			require.NoError(t, err)
			y.report(t, f, start)
		})
	}
}

// playAll plays the seeds on all cores.
func playAll(k *session.Knowledge, j *hazard.Judge, start func() (game, error), cast func(*phrases, uint64, bool) *tech, words bool, sessions int) (*tally, error) {
	workers := runtime.GOMAXPROCS(0)
	tallies, failed := make([]*tally, workers), make([]error, workers)
	var done sync.WaitGroup
	for w := range workers {
		done.Go(func() {
			f, y := newPhrases(k), newTally()
			for seed := w; seed < sessions && failed[w] == nil; seed += workers {
				who := cast(f, uint64(seed), words)
				if err := y.session(j, start, who, 30+who.r.IntN(40)); err != nil {
					failed[w] = fmt.Errorf("seed %d: %w", seed, err)
				}
			}
			tallies[w] = y
		})
	}
	done.Wait()
	for _, y := range tallies[1:] {
		tallies[0].add(y)
	}
	return tallies[0], errors.Join(failed...)
}
