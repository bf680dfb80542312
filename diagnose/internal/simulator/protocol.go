package simulator

import (
	"slices"
	"strings"
)

// A Protocol lists by fault what has to be proved before a verdict on it, the
// caller's own as the prices are.
type Protocol map[string][]Need

// Need is one thing to prove.
type Need struct {
	Any    [][2]string // readings, by quantity and place, of which one does
	Fitted bool        // nothing is owed where the part is not fitted
}

// owing is a need by the probes that take one of its readings.
type owing struct {
	probes []int
	fitted bool
}

// owings works out for each fault what the policies owe before they name it. A
// need that none of their probes answers is not charged.
func owings(p Protocol) map[string][]owing {
	list := probes()
	out := map[string][]owing{}
	for fault, needs := range p {
		for _, n := range needs {
			o := owing{fitted: n.Fitted}
			for i := range list {
				if slices.ContainsFunc(list[i].asks, func(q [2]string) bool { return slices.Contains(n.Any, q) }) {
					o.probes = append(o.probes, i)
				}
			}
			if len(o.probes) > 0 {
				out[fault] = append(out[fault], o)
			}
		}
		// What one probe alone proves is put first: it may prove more.
		slices.SortStableFunc(out[fault], func(a, b owing) int { return len(a.probes) - len(b.probes) })
	}
	return out
}

// due is a question still to be put before an answer.
type due struct {
	probe   int
	fitted  bool // only where it can be answered
	minutes float64
}

// debt lists what the protocol still asks for before an answer, from where the
// unit stands.
func (g *grower) debt(answer string, asked []bool, at int, by Prices) []due {
	var out []due
	for _, f := range strings.Split(answer, "+") {
		for _, o := range g.owes[f] {
			if slices.ContainsFunc(o.probes, func(i int) bool {
				return asked[i] || slices.ContainsFunc(out, func(d due) bool { return d.probe == i })
			}) {
				continue
			}
			d := due{probe: o.probes[0], fitted: o.fitted}
			d.minutes, at = by.Ask(at, g.asks[d.probe])
			out = append(out, d)
		}
	}
	return out
}

// owed is the cost, on average over a set, of what is due before its answer.
func (g *grower) owed(answer string, set []int32, asked []bool, at int) (cost float64) {
	for _, d := range g.debt(answer, asked, at, g.prices) {
		share := 1.0
		if d.fitted {
			n := 0
			for _, k := range set {
				n += b2i(g.cases[k].out[d.probe] != unanswered)
			}
			share = float64(n) / float64(len(set))
		}
		cost += share * (d.minutes + g.prices.Question())
	}
	return cost
}
