package session_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"sort"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/session"
	"callout/session/internal/hazard"
)

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
	sessions, steps, prompts, hands int
	met                             map[string]int
	found                           map[string][]line
	first                           map[string]finding
	times                           map[string]int
}

func newTally() *tally {
	return &tally{met: map[string]int{}, found: map[string][]line{}, first: map[string]finding{}, times: map[string]int{}}
}

// session plays one technician for n lines.
func (y *tally) session(j *hazard.Judge, start func() (game, error), who *tech, n int) error {
	g, err := start()
	if err != nil {
		return err
	}
	y.sessions++
	who.begin()
	var lines []line
	for range n {
		l := who.line(g.next())
		lines = append(lines, l)
		found, err := g.play(l)
		if err != nil {
			if err == session.ErrClosed {
				break
			}
			return fmt.Errorf("%w after\n%s", err, script(who.f, lines))
		}
		y.steps++
		if needs, err := j.Needs(g.next()); err == nil && len(needs) > 0 {
			y.hands++
			y.met[stepKey(g.next())]++
		}
		for _, f := range found {
			y.times[f.key]++
			if old, ok := y.found[f.key]; !ok || len(lines) < len(old) {
				y.found[f.key], y.first[f.key] = append([]line(nil), lines...), f
			}
		}
	}
	return nil
}

// report prints each break with its shortest script.
func (y *tally) report(t *testing.T, f *phrases, start func() (game, error)) {
	t.Helper()
	t.Logf("%d sessions, %d steps, %d with a step that needs something, %d kinds of such steps", y.sessions, y.steps, y.hands, len(y.met))
	var keys []string
	for k := range y.found {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool { return y.times[keys[i]] > y.times[keys[j]] })
	for i, key := range keys {
		if i == 40 {
			t.Errorf("and %d more kinds", len(keys)-i)
			break
		}
		short := shrink(start, y.found[key], key)
		last, _, _ := finds(start, short, key)
		t.Errorf("%s (%d times)\n%s  -> %s", key, y.times[key], script(f, short), last.say)
	}
}

func seeds(short, long int) int {
	if os.Getenv("CALLOUT_LONG") == "1" {
		return long
	}
	return short
}

// No prompt is hands-on where the ledger does not hold it proved: random and
// careless technicians, through words, log and restarts.
func TestNoHandOnWhatIsNotProvedDead(t *testing.T) {
	k, j, f := oracle(t)
	start := func() (game, error) { return newCallGame(k, j, arrived) }
	y := newTally()
	for seed := range seeds(150, 30000) {
		r := rand.New(rand.NewPCG(uint64(seed), 21))
		who := &tech{r: r, f: f, at: arrived, wild: []float64{0.1, 0.25, 0.5}[seed%3], words: true}
		require.NoError(t, y.session(j, start, who, 40+r.IntN(40)))
	}
	y.report(t, f, start)
}

// The same on the engine's job alone, which is quicker.
func TestNoHandOnWhatIsNotProvedDeadInTheJob(t *testing.T) {
	k, j, f := oracle(t)
	start := func() (game, error) { return newJobGame(k, j), nil }
	y := newTally()
	for seed := range seeds(300, 60000) {
		r := rand.New(rand.NewPCG(uint64(seed), 22))
		who := &tech{r: r, f: f, at: arrived, wild: []float64{0.1, 0.25, 0.5}[seed%3]}
		require.NoError(t, y.session(j, start, who, 40+r.IntN(40)))
	}
	y.report(t, f, start)
	assert.Greater(t, len(y.met), 20)
}
