package diagnose

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// Searching is a job that asks what a search finds, for tests alone. All that the
// engine knows, its gates and when it stops stay as they are; only which test comes
// next is chosen by playing each of the most promising to the end, over and over:
// what is wrong is drawn from the belief, what the tests show from the engine's own
// predictions, and every test after the first is the engine's own choice. The one
// after which the fewest questions are asked on average is taken. Such a rollout
// does no worse than the choice that it plays on with, but for the scatter of the
// draws, so that a test is preferred to the engine's own only where the draws
// tell the two apart (Tesauro and Galperin 1996; Bertsekas, Tsitsiklis and Wu 1997).
type Searching struct {
	*Job
	rng    *rand.Rand
	target int // the test that is on its way, -1 if none
	steps  int // taken towards it
	state  *state
	// Instead sums up, by the engine's choice and the search's, the questions that
	// the draws say are saved; Chosen counts all choices.
	Instead map[[2]TestID]float64
	Chosen  int
}

const (
	wideSearch = 7  // tests tried, beside the engine's own choice
	firstDraws = 10 // of what may be wrong, for each of them
	moreDraws  = 40 // for the best of these
	kept       = 3
	far        = 30 // questions after which a draw is given up
	// inVain is what a wrong verdict costs in questions: a second visit, by the
	// engine's own prices, over a question of three minutes.
	inVain = callBack / (asking + 3)
)

// NewSearching starts a job.
func (k *Knowledge) NewSearching(seed uint64) *Searching {
	return &Searching{Job: k.NewJob(), rng: rand.New(rand.NewPCG(seed, 7)), target: -1, Instead: map[[2]TestID]float64{}}
}

// Assess is the engine's assessment, but for the next test.
func (s *Searching) Assess(now time.Time) Assessment {
	a := s.Job.Assess(now)
	st := s.Job.state
	if a.Verdict != nil || len(st.repairs) > 0 || a.Next.Test == "" {
		s.target = -1
		return a
	}
	v := st.look(now)
	own := v.k.testAt[a.Next.Test]
	if s.target >= 0 && (s.steps > far || !v.available(s.target)) {
		s.target = -1
	}
	if s.target < 0 {
		s.target, s.steps = s.search(v, own), 0
	}
	s.steps++
	if s.target != own && s.steps <= far {
		a.Next = v.testNext(v.candidate(s.target), DoTest)
	}
	return a
}

// search finds the test to ask next.
func (s *Searching) search(v *view, own int) int {
	s.Chosen++
	tried := s.promising(v, own)
	costs := make([][]float64, len(tried))
	begin := make([]*turn, len(tried))
	for i, t := range tried {
		begin[i] = v.turnTo(t)
	}
	play := func(draws int) {
		from := s.rng.Float64()
		seeds := make([]uint64, draws)
		for d := range seeds {
			seeds[d] = s.rng.Uint64()
		}
		for i, t := range tried {
			if t < 0 {
				continue
			}
			for d := range draws {
				at := drawn(v.mass, (float64(d)+from)/float64(draws))
				costs[i] = append(costs[i], s.rollout(v, begin[i], at, seeds[d]))
			}
		}
	}
	if len(tried) == 1 || v.owed(own) {
		return own
	}
	play(firstDraws)
	var order []int
	for i := range tried[1:] {
		if less, scatter := apart(costs[i+1], costs[0]); less < scatter {
			order = append(order, i+1) // it may yet be the better
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(mean(costs[a]), mean(costs[b])) })
	order = order[:min(kept, len(order))]
	for i := range tried[1:] {
		if !slices.Contains(order, i+1) {
			tried[i+1] = -1
		}
	}
	if len(order) > 0 {
		play(moreDraws)
	}
	best, least := 0, 0.0
	for i := 1; i < len(tried); i++ {
		if tried[i] < 0 {
			continue
		}
		if less, scatter := apart(costs[i], costs[0]); less+scatter < least {
			best, least = i, less+scatter
		}
	}
	if best > 0 {
		less, _ := apart(costs[best], costs[0])
		s.Instead[[2]TestID{v.k.tests[own].ID, v.k.tests[tried[best]].ID}] -= less
	}
	return tried[best]
}

// owed reports whether a test is one that an all but certain verdict waits for: in
// which order these are done is the same.
func (v *view) owed(test int) bool {
	f := top(v.marginal)
	return v.cause(f) >= enough && slices.Contains(v.wanted(f), test)
}

func mean(x []float64) (sum float64) {
	for _, y := range x {
		sum += y / float64(len(x))
	}
	return sum
}

// apart is the mean difference of two costs over the same draws, and its standard
// error.
func apart(a, b []float64) (less, scatter float64) {
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	less = mean(d)
	for _, x := range d {
		scatter += (x - less) * (x - less)
	}
	return less, math.Sqrt(scatter) / float64(len(d))
}

// drawn is the hypothesis in which a share of the belief is reached.
func drawn(mass []float64, share float64) int {
	share -= math.Floor(share)
	for at, p := range mass {
		if share -= p; share < 0 {
			return at
		}
	}
	return top(mass)
}

// promising lists the tests to try: the engine's own choice first, then those
// that take the most off the expected cost, by the minute and by the question.
func (s *Searching) promising(v *view, own int) []int {
	cs := slices.Clone(v.candidates())
	l := v.lookAhead(v.leading(48, 0.997))
	now := l.price(&l.all)
	out := []int{own}
	rank := func(n int, gain func(c candidate) float64) {
		slices.SortStableFunc(cs, func(a, b candidate) int { return cmp.Compare(gain(b), gain(a)) })
		for _, c := range cs {
			t := c.test
			if c.before >= 0 {
				t = c.before
			}
			if len(out) > n || now-l.leftNow(c.test) <= 0 {
				return
			}
			if !slices.Contains(out, t) {
				out = append(out, t)
			}
		}
	}
	rank(wideSearch/2, func(c candidate) float64 { return (now - l.leftNow(c.test)) / c.cost })
	rank(wideSearch, func(c candidate) float64 { return now - l.leftNow(c.test) })
	return out
}

// turn is where a rollout stands: what is asked there, or how it ended. The
// engine's choice hangs on what was shown alone, so that rollouts that show the
// same share it.
type turn struct {
	test    int
	variant int // of the predictions there
	gone    int // the class that a test asked anew does not show again, -1 if none
	ended   bool
	faults  []int // of the verdict
	next    map[int]*turn
}

// shownThere is one test and what it showed.
type shownThere struct {
	test, class int
	anew        bool
}

// rollout plays on from a turn to the end, where one hypothesis is true, and
// counts the questions.
func (s *Searching) rollout(from *view, t *turn, at int, seed uint64) float64 {
	var path []shownThere
	var d *dreamt
	for len(path) < far {
		r := rand.New(rand.NewPCG(seed, uint64(t.test)))
		row := slices.Clone(from.predicts(t.variant, at, t.test))
		if t.gone >= 0 {
			r.Float64()
			row[t.gone] = 0
			normalise(row)
		}
		class := drawn(row, r.Float64())
		path = append(path, shownThere{t.test, class, t.gone >= 0})
		next := t.next[class]
		if next == nil {
			if d == nil { // it was not played so far: what was shown before is told first
				d = &dreamt{state: copied(from.s, s.state), now: from.now, shown: map[int]outcome{}}
				s.state = d.state
				for _, x := range path[:len(path)-1] {
					d.answer(x.test, x.class, x.anew)
				}
			}
			d.answer(t.test, class, t.gone >= 0)
			next = d.turn()
			if t.next == nil {
				t.next = map[int]*turn{}
			}
			t.next[class] = next
		} else if d != nil {
			d.answer(t.test, class, t.gone >= 0)
		}
		if t = next; t.ended {
			if len(t.faults) == 0 || !from.puts(t.faults, at) {
				return float64(len(path)) + inVain
			}
			return float64(len(path))
		}
	}
	return far + inVain
}

// predicts is what a hypothesis predicts for a test, whatever the circumstances.
func (v *view) predicts(variant, at, test int) []float64 {
	there := view{k: v.k}
	there.on.variant = variant
	return there.rowAt(at, test, make([]float64, 32))
}

// puts reports whether a verdict is on something that is wrong in a hypothesis.
func (v *view) puts(faults []int, at int) bool {
	for _, f := range v.k.model.sets[v.k.model.setOf[at]] {
		for _, g := range faults {
			if f == g || len(v.k.faults[f].Repairs) > 0 && slices.Contains(v.k.model.mended[f], g) {
				return true
			}
		}
	}
	return false
}
