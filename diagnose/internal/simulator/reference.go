package simulator

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// A Case is one call reduced to what the reference policies can learn of it:
// what is true, what is known on arrival, and the class of every probe's
// answer.
type Case struct {
	truth   string
	arrival string
	out     []uint8
}

// unanswered is the class of a question that can't be answered.
const unanswered = 0

// A Sampler turns calls into cases. Cases of one sampler can be compared: they
// number the classes of answers alike.
type Sampler struct{ index []map[string]uint8 }

// NewSampler has seen no answers yet.
func NewSampler() *Sampler {
	s := &Sampler{index: make([]map[string]uint8, len(probes()))}
	for i := range s.index {
		s.index[i] = map[string]uint8{"": unanswered}
	}
	return s
}

// Draw makes n calls with seeds from first on and asks every probe of each.
func (s *Sampler) Draw(first uint64, n int, setup Setup) []Case {
	cases := make([]Case, n)
	for k := range cases {
		seed := first + uint64(k)
		w := NewCall(seed, setup)
		c := Case{truth: truthOf(w.Faults), arrival: arrival(w)}
		for i, class := range outcomes(func() *World { return NewCall(seed, setup) }) {
			if _, ok := s.index[i][class]; !ok {
				s.index[i][class] = uint8(len(s.index[i]))
			}
			c.out = append(c.out, s.index[i][class])
		}
		cases[k] = c
	}
	return cases
}

// Shares tells how often each fault is the truth of a case.
func Shares(cases []Case) map[string]float64 {
	out := map[string]float64{}
	for _, c := range cases {
		out[c.truth] += 1 / float64(len(cases))
	}
	return out
}

func truthOf(faults []string) string {
	sorted := slices.Sorted(slices.Values(faults))
	return strings.Join(sorted, "+")
}

// arrival is what is known before the first question.
func arrival(w *World) string {
	s := w.complaint()
	if w.Heating {
		s += " heating"
	} else if w.Unit.HeatPump {
		s += " pump"
	}
	return s
}

// A Policy is a decision tree for each arrival, grown on a sample.
type Policy struct {
	Name  string
	roots map[string]*node
}

type node struct {
	answer  string
	probe   int     // -1: a leaf
	minutes float64 // of its question
	owes    []due   // what the protocol still asks for before this answer
	next    map[uint8]*node
}

// grower grows trees over a sample.
type grower struct {
	cases  []Case
	choose func(g *grower, set []int32, asked []bool, at int) int
	depth  int // look-ahead
	width  int // candidates tried at each step of it
	owes   map[string][]owing
	stop   float64 // the belief at which an answer is given
	asks   [][][2]string
	time   Prices // what a question takes, to be told
	prices Prices // what is made little of
}

// Grow builds a policy. The choosers: "textbook" asks in a fixed order,
// "greedy" by information gain, "search" by look-ahead over the most
// informative questions with greedy play beyond it, for the fewest questions,
// "least cost" the same for the least of what prices say, "everything" by
// information gain until nothing is left to tell. Before an answer every policy
// pays for what the protocol asks for and it has not asked.
func Grow(name string, cases []Case, prices Prices, protocol Protocol) *Policy {
	g := &grower{cases: cases, owes: owings(protocol), stop: 0.95, asks: asks(), time: prices, prices: free{}}
	switch name {
	case "textbook":
		order := textbook()
		g.choose = func(g *grower, set []int32, asked []bool, _ int) int {
			for _, i := range order {
				if !asked[i] && g.splits(set, i) {
					return i
				}
			}
			return -1
		}
	case "greedy":
		g.choose = (*grower).greedy
	case "everything":
		g.choose, g.stop = (*grower).greedy, 1
	case "search", "least cost":
		g.choose, g.depth, g.width = (*grower).search, 2, 5
		if name == "least cost" {
			g.prices = prices
		}
	}
	by := map[string][]int32{}
	for i, c := range cases {
		by[c.arrival] = append(by[c.arrival], int32(i))
	}
	p := &Policy{Name: name, roots: map[string]*node{}}
	for arrival, set := range by {
		p.roots[arrival] = g.grow(set, make([]bool, len(cases[0].out)), 0)
	}
	return p
}

func (g *grower) grow(set []int32, asked []bool, at int) *node {
	answer, share := g.top(set)
	n := &node{answer: answer, probe: -1, owes: g.debt(answer, asked, at, g.time)}
	if share >= g.stop {
		return n
	}
	i := g.choose(g, set, asked, at)
	if i < 0 {
		return n
	}
	n.probe, n.next = i, map[uint8]*node{}
	n.minutes, at = g.time.Ask(at, g.asks[i])
	asked = slices.Clone(asked)
	asked[i] = true
	for out, part := range g.split(set, i) {
		n.next[out] = g.grow(part, asked, at)
	}
	return n
}

// top is the most frequent truth of a set and its share.
func (g *grower) top(set []int32) (string, float64) {
	count := map[string]int{}
	best := ""
	for _, k := range set {
		t := g.cases[k].truth
		count[t]++
		if best == "" || count[t] > count[best] || count[t] == count[best] && t < best {
			best = t
		}
	}
	return best, float64(count[best]) / float64(len(set))
}

func (g *grower) split(set []int32, i int) map[uint8][]int32 {
	parts := map[uint8][]int32{}
	for _, k := range set {
		o := g.cases[k].out[i]
		parts[o] = append(parts[o], k)
	}
	return parts
}

func (g *grower) splits(set []int32, i int) bool {
	for _, k := range set[1:] {
		if g.cases[k].out[i] != g.cases[set[0]].out[i] {
			return true
		}
	}
	return false
}

// cost is what a question costs from where the unit stands, by a price.
func (g *grower) cost(i, at int) (float64, int) {
	minutes, then := g.prices.Ask(at, g.asks[i])
	return minutes + g.prices.Question(), then
}

// ranked lists the questions not asked by information gain for what they cost,
// best first, those with none left out.
func (g *grower) ranked(set []int32, asked []bool, at int) []int {
	truths := map[string]int{}
	id := make([]int, len(set))
	for j, k := range set {
		t := g.cases[k].truth
		if _, ok := truths[t]; !ok {
			truths[t] = len(truths)
		}
		id[j] = truths[t]
	}
	type scored struct {
		i    int
		gain float64
	}
	var list []scored
	total := float64(len(set))
	before := 0.0
	for _, n := range truthCounts(id, len(truths)) {
		before -= float64(n) / total * math.Log(float64(n)/total)
	}
	counts := make([]int, 32*len(truths))
	for i := range asked {
		if asked[i] {
			continue
		}
		clear(counts)
		var sums [32]int
		for j, k := range set {
			o := int(g.cases[k].out[i]) & 31
			counts[o*len(truths)+id[j]]++
			sums[o]++
		}
		after := 0.0
		kinds := 0
		for o, s := range sums {
			if s == 0 {
				continue
			}
			kinds++
			for _, c := range counts[o*len(truths) : (o+1)*len(truths)] {
				if c > 0 {
					after -= float64(c) / total * math.Log(float64(c)/float64(s))
				}
			}
		}
		if kinds > 1 {
			cost, _ := g.cost(i, at)
			list = append(list, scored{i, (before - after) / cost})
		}
	}
	slices.SortStableFunc(list, func(a, b scored) int { return cmp.Compare(b.gain, a.gain) })
	out := make([]int, len(list))
	for j, s := range list {
		out[j] = s.i
	}
	return out
}

func truthCounts(id []int, n int) []int {
	out := make([]int, n)
	for _, t := range id {
		out[t]++
	}
	return out
}

func (g *grower) greedy(set []int32, asked []bool, at int) int {
	if r := g.ranked(set, asked, at); len(r) > 0 {
		return r[0]
	}
	return -1
}

// search picks the question with the least expected cost.
func (g *grower) search(set []int32, asked []bool, at int) int {
	i, _ := g.lookAhead(set, asked, at, g.depth)
	return i
}

// lookAhead gives the best question and the cost expected from here on, the
// debt of the protocol included.
func (g *grower) lookAhead(set []int32, asked []bool, at, depth int) (int, float64) {
	answer, share := g.top(set)
	if share >= g.stop {
		return -1, g.owed(answer, set, asked, at)
	}
	ranked := g.ranked(set, asked, at)
	if len(ranked) == 0 {
		return -1, g.owed(answer, set, asked, at)
	}
	if depth == 0 {
		ranked = ranked[:1]
	} else if len(ranked) > g.width {
		ranked = ranked[:g.width]
	}
	best, least := -1, math.Inf(1)
	for _, i := range ranked {
		asked[i] = true
		cost, then := g.cost(i, at)
		for _, part := range g.split(set, i) {
			_, c := g.lookAhead(part, asked, then, max(depth-1, 0))
			cost += c * float64(len(part)) / float64(len(set))
			if cost >= least {
				break
			}
		}
		asked[i] = false
		if cost < least {
			best, least = i, cost
		}
	}
	return best, least
}

// Played is one case played by a policy.
type Played struct {
	Truth, Answer string
	Right         bool    // the same repairs put it right
	Tests         int     // probes asked, those of the protocol among them
	Minutes       float64 // by the prices it was grown with
}

// Play plays a policy over cases that it has not seen.
func (p *Policy) Play(cases []Case) []Played {
	out := make([]Played, len(cases))
	for k, c := range cases {
		n := p.roots[c.arrival]
		out[k].Truth = c.truth
		for n != nil && n.probe >= 0 {
			out[k].Tests++
			out[k].Minutes += n.minutes
			next := n.next[c.out[n.probe]]
			if next == nil {
				break // an answer never met: the best belief so far
			}
			n = next
		}
		if n != nil {
			for _, d := range n.owes {
				if !d.fitted || c.out[d.probe] != unanswered {
					out[k].Tests++
					out[k].Minutes += d.minutes
				}
			}
			out[k].Answer = n.answer
			out[k].Right = sameRepairs(n.answer, c.truth)
		}
	}
	return out
}

// sameRepairs says whether two sets of faults are put right by the same
// repairs; where nothing is wrong it must be the same nothing.
func sameRepairs(a, b string) bool {
	if a == b {
		return true
	}
	repairs := func(s string) string {
		var list []string
		for _, f := range strings.Split(s, "+") {
			if Normal(f) {
				return s
			}
			list = append(list, faultTable[f].mends...)
		}
		slices.Sort(list)
		return strings.Join(slices.Compact(list), "+")
	}
	return repairs(a) == repairs(b)
}

// textbook is the order of a printed troubleshooting chart: call, power,
// control, contactor, capacitor, motors, then air, then refrigerant.
func textbook() []int {
	order := []string{
		"thermostat_state thermostat", "breaker_state breaker", "breaker_reset breaker", "delay_state defrost_board", "filter_state filter",
		"fan_motion blower", "fan_motion fan", "compressor_sound compressor", "contactor_state contactor",
		"voltage disconnect_line", "voltage contactor_line", "control_voltage transformer_secondary", "fuse_state control_fuse", "switch_state float_switch",
		"control_voltage thermostat_call", "control_voltage cooling_call", "control_voltage contactor_coil", "control_voltage high_pressure_switch", "control_voltage low_pressure_switch",
		"voltage contactor_load", "voltage_under_start contactor_load", "current compressor_common", "current fan",
		"capacitor_look capacitor", "capacitance herm", "capacitance fan_section", "connection capacitor", "connection compressor", "connection contactor",
		"windings", "insulation_resistance winding_to_ground", "fan_turns_by_hand fan", "resistance fan_winding", "insulation_resistance fan_to_ground",
		"coil_state outdoor_coil", "split", "suction level", "head level", "superheat", "subcooling", "static_pressure duct", "coil_state indoor_coil",
	}
	list := probes()
	var at []int
	for _, id := range order {
		at = append(at, slices.IndexFunc(list, func(p probe) bool { return p.id == id }))
	}
	for i := range list {
		if !slices.Contains(at, i) {
			at = append(at, i)
		}
	}
	return at
}
