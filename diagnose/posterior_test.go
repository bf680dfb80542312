package diagnose

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plainBelief is the posterior once more, as plainly as its definition is
// written: every hypothesis by itself, every finding from the beginning, nothing
// kept from before.
func plainBelief(v *view) (mass, marginal []float64) {
	m := v.k.model
	n := len(m.ways)
	each := func(change func(at int, ways []int)) {
		for i := range m.ways {
			change(i, []int{i})
		}
		for j, p := range m.pairs {
			change(n+j, []int{int(p.a), int(p.b)})
		}
		normalise(mass)
	}
	mass = append([]float64(nil), m.priors...)
	each(func(at int, ways []int) {
		for _, w := range ways {
			f := v.k.faults[m.ways[w].fault]
			unit, metering := string(v.s.mark("unit_type")), string(v.s.metering())
			switch {
			case f.Mode != "" && v.s.mode() == "":
				mass[at] *= 0.5
			case f.Phase != "" && (f.Phase == "three") != (v.s.mark("phase") == "three"), f.Mode != "" && f.Mode != v.s.mode(), f.UnitType != "" && unit != "" && f.UnitType != unit, f.Metering != "" && metering != "" && f.Metering != metering:
				mass[at] = 0
			}
		}
	})
	shows := func(w int, t int) bool { // that a part is there
		_, own := v.k.faults[m.ways[w].fault].Shows[v.k.tests[t].ID]
		return own && top(m.rows[v.on.variant][w][t]) != m.usual[t]
	}
	for e := range v.epochs {
		for t := range v.epochs[e] {
			o := &v.epochs[e][t]
			if !o.done || !o.counts {
				continue
			}
			each(func(at int, ways []int) {
				like := o.likelihood(m.rows[v.on.variant][ways[0]][t])
				if len(ways) > 1 {
					second := o.likelihood(m.rows[v.on.variant][ways[1]][t])
					switch m.pick[v.on.variant][t*len(m.pairs)+at-n] {
					case 1:
						like = second
					case 2:
						like = (like + second) / 2
					}
				}
				mass[at] *= like
			})
		}
		if e == 0 {
			for t := range v.s.cannot {
				each(func(at int, ways []int) {
					if v.k.tests[t].Optional && (shows(ways[0], t) || shows(ways[len(ways)-1], t)) {
						mass[at] *= 0.2
					}
				})
			}
			each(func(at int, ways []int) {
				came, held, seat := 1.0, 1.0, 0.0
				for _, w := range ways {
					f := v.k.faults[m.ways[w].fault]
					by := max(0.02, f.CameOn)
					if v.s.held && f.PutBack == "" && !f.Normal {
						by = 0.5
					}
					if v.s.alone && f.PutBack != "" && v.k.profiles[v.k.profileAt[f.Profile]].Level < fanLevel {
						by = 0.02
					}
					came, held = min(came, by), min(held, max(0.02, 1-2*f.CameOn))
					if f.PutBack != "" && f.Shows["connection_disconnect"] != "" {
						seat = 1
					}
				}
				if v.s.cameOn > 0 {
					mass[at] *= came
				} else if v.s.heldTooLong() {
					mass[at] *= held
				}
				if v.s.unseated {
					mass[at] *= max(0.005, seat)
				}
			})
		}
		for _, r := range v.s.repairs {
			if r.epoch != e {
				continue
			}
			each(func(at int, ways []int) {
				left := []int{}
				for _, w := range ways {
					cured := false
					for _, x := range v.k.faults[m.ways[w].fault].Repairs {
						cured = cured || x == r.id
					}
					if !cured {
						left = append(left, w)
					}
				}
				switch len(left) {
				case len(ways):
					return
				case 0:
					left = []int{m.noGood}
				}
				mass[left[0]] += 0.97 * mass[at]
				mass[at] *= 1 - 0.97
			})
		}
	}
	marginal = make([]float64, len(v.k.faults))
	each(func(at int, ways []int) {
		for _, w := range ways {
			marginal[m.ways[w].fault] += mass[at]
		}
	})
	return mass, marginal
}

// TestBeliefIsWhatItSays holds the belief that grows with the log against the
// plain one, over calls that go anywhere: readings, refusals, repairs and
// events taken back. A job that was never asked before answers the same to the
// last bit.
func TestBeliefIsWhatItSays(t *testing.T) {
	k := knowledge(t)
	repaired, refused := 0, 0
	for s := range 12 {
		rng := rand.New(rand.NewPCG(uint64(s), 8))
		j := k.NewJob()
		var next Next
		c := clocked{now: start}
		for range 30 {
			c.add(j, wild(k, rng, next))
			if rng.IntN(12) == 0 {
				_ = j.Retract(1 + rng.Uint64N(c.seq)) // it may be gone already
			}
			next = j.Assess(c.now).Next
			if rng.IntN(3) > 0 {
				continue
			}
			v := j.state.look(c.now)
			mass, marginal := plainBelief(v)
			require.InDeltaSlice(t, mass, v.mass, 1e-9)
			require.InDeltaSlice(t, marginal, v.marginal, 1e-9)
			checkRanking(t, v)
			again := k.NewJob()
			for _, e := range j.events {
				again.Add(e)
			}
			require.Equal(t, v.mass, again.state.look(c.now).mass)
			repaired += len(j.state.repairs)
			refused += len(j.state.cannot)
		}
	}
	assert.Positive(t, repaired)
	assert.Positive(t, refused)
}

// checkRanking holds the leading hypotheses against the sums of every way of
// the same faults.
func checkRanking(t *testing.T, v *view) {
	m := v.k.model
	name := func(faults []int) string { return v.nameOf(faults) }
	sums := map[string]float64{}
	for at, p := range v.mass {
		if p > 1e-5 {
			sums[name(m.sets[m.setOf[at]])] += p
		}
	}
	all := v.leading(len(v.mass), 2)
	require.Equal(t, len(sums), len(all))
	for i, h := range all {
		assert.InDelta(t, sums[name(h.faults)], h.p, 1e-12)
		parts := 0.0
		for _, x := range h.parts {
			assert.Equal(t, name(h.faults), name(m.sets[m.setOf[x.at]]))
			parts += x.p
		}
		assert.InDelta(t, h.p, parts, 1e-12)
		if i > 0 {
			assert.LessOrEqual(t, h.p, all[i-1].p*(1+1e-9))
		}
	}
}
