package grammar

import (
	"fmt"
	"math/rand"
	"slices"
	"strings"
)

// State is a point in a Network. The zero State is the start.
type State int32

// Arc leads from a state to another over one byte.
type Arc struct {
	Byte byte
	To   State
}

// Network is the smallest deterministic automaton over the bytes of a
// language's sentences, with ASCII letters in lower case. A sentence may begin
// with one space, as recognisers write it.
type Network struct {
	first []int32 // arcs of state s are arcs[first[s]:first[s+1]]
	arcs  []Arc   // sorted by byte within a state
	final []bool
}

// maxStates stops a grammar that explodes before it fills the memory.
const maxStates = 2_000_000

// Compile builds the network of a valid grammar.
func (g *Grammar) Compile() (*Network, error) {
	if err := g.Validate(); err != nil {
		return nil, err
	}
	return (&compiler{grammar: g, done: map[string]*Network{}}).rule(g.Start)
}

// compiler keeps each rule's own smallest automaton, so that a rule used in many
// places is worked out once and stays small where it is put in.
type compiler struct {
	grammar *Grammar
	done    map[string]*Network
}

func (c *compiler) rule(name string) (*Network, error) {
	if d, ok := c.done[name]; ok {
		return d, nil
	}
	n := &nfa{compiler: c}
	start, end := n.state(), n.state()
	if err := n.build(c.grammar.rule(name), start, end); err != nil {
		return nil, err
	}
	d, err := n.determinise(start, end)
	if err != nil {
		return nil, err
	}
	d = d.minimise()
	c.done[name] = d
	return d, nil
}

// nfa is the automaton with free moves, before determinisation.
type nfa struct {
	compiler *compiler
	free     [][]int32
	moves    [][]Arc
}

func (n *nfa) state() int32 {
	n.free = append(n.free, nil)
	n.moves = append(n.moves, nil)
	return int32(len(n.free) - 1)
}

func (n *nfa) build(e Expr, from, to int32) error {
	if len(n.free) > maxStates {
		return fmt.Errorf("%w: more than %d states", ErrInvalid, maxStates)
	}
	switch e := e.(type) {
	case Lit:
		text := strings.ToLower(e.Text)
		if !e.Glued {
			text = " " + text
		}
		for i := 0; i < len(text); i++ {
			next := to
			if i+1 < len(text) {
				next = n.state()
			}
			n.moves[from] = append(n.moves[from], Arc{text[i], State(next)})
			from = next
		}
	case Seq:
		for i, x := range e {
			next := to
			if i+1 < len(e) {
				next = n.state()
			}
			if err := n.build(x, from, next); err != nil {
				return err
			}
			from = next
		}
	case Alt:
		for _, x := range e {
			if err := n.build(x, from, to); err != nil {
				return err
			}
		}
	case Opt:
		n.free[from] = append(n.free[from], to)
		return n.build(e.Of, from, to)
	case Many:
		in, out := n.state(), n.state()
		n.free[from] = append(n.free[from], in)
		n.free[out] = append(n.free[out], to)
		if err := n.build(e.Of, in, out); err != nil {
			return err
		}
		return n.build(e.Between, out, in)
	case Ref:
		d, err := n.compiler.rule(string(e))
		if err != nil {
			return err
		}
		base := int32(len(n.free))
		for s := range d.final {
			n.state()
			if d.final[s] {
				n.free[base+int32(s)] = append(n.free[base+int32(s)], to)
			}
			for _, a := range d.Next(State(s)) {
				n.moves[base+int32(s)] = append(n.moves[base+int32(s)], Arc{a.Byte, State(base) + a.To})
			}
		}
		n.free[from] = append(n.free[from], base)
	}
	return nil
}

func (n *nfa) closure(set []int32, mark []int32, stamp int32) []int32 {
	once := set[:0]
	for _, s := range set {
		if mark[s] != stamp {
			mark[s] = stamp
			once = append(once, s)
		}
	}
	set = once
	for i := 0; i < len(set); i++ {
		for _, t := range n.free[set[i]] {
			if mark[t] != stamp {
				mark[t] = stamp
				set = append(set, t)
			}
		}
	}
	return set
}

func key(set []int32) string {
	b := make([]byte, 0, 4*len(set))
	for _, s := range set {
		b = append(b, byte(s), byte(s>>8), byte(s>>16), byte(s>>24))
	}
	return string(b)
}

func (n *nfa) determinise(start, end int32) (*Network, error) {
	mark := make([]int32, len(n.free))
	stamp := int32(0)
	var sets [][]int32
	index := map[string]State{}
	d := &Network{}
	// Only states with moves, and the end, tell sets apart.
	visit := func(set []int32) State {
		stamp++
		set = n.closure(set, mark, stamp)
		kept := set[:0]
		for _, s := range set {
			if len(n.moves[s]) > 0 || s == end {
				kept = append(kept, s)
			}
		}
		slices.Sort(kept)
		k := key(kept)
		if id, ok := index[k]; ok {
			return id
		}
		id := State(len(sets))
		index[k] = id
		sets = append(sets, slices.Clone(kept))
		_, isFinal := slices.BinarySearch(kept, end)
		d.final = append(d.final, isFinal)
		return id
	}
	visit([]int32{start})
	var byByte [256][]int32
	for i := 0; i < len(sets); i++ {
		if len(sets) > maxStates {
			return nil, fmt.Errorf("%w: more than %d states", ErrInvalid, maxStates)
		}
		for _, s := range sets[i] {
			for _, a := range n.moves[s] {
				byByte[a.Byte] = append(byByte[a.Byte], int32(a.To))
			}
		}
		d.first = append(d.first, int32(len(d.arcs)))
		for b := range byByte {
			if len(byByte[b]) > 0 {
				d.arcs = append(d.arcs, Arc{byte(b), visit(byByte[b])})
				byByte[b] = byByte[b][:0]
			}
		}
	}
	d.first = append(d.first, int32(len(d.arcs)))
	return d, nil
}

// minimise merges states from which the same endings are possible, by
// refinement of the partition into final and not.
func (d *Network) minimise() *Network {
	n := len(d.final)
	class := make([]int32, n)
	for s, f := range d.final {
		if f {
			class[s] = 1
		}
	}
	for count := -1; ; {
		next := make([]int32, n)
		index := map[string]int32{}
		var b []byte
		for s := range n {
			c := class[s]
			b = append(b[:0], byte(c), byte(c>>8), byte(c>>16))
			for _, a := range d.Next(State(s)) {
				c := class[a.To]
				b = append(b, a.Byte, byte(c), byte(c>>8), byte(c>>16))
			}
			id, ok := index[string(b)]
			if !ok {
				id = int32(len(index))
				index[string(b)] = id
			}
			next[s] = id
		}
		class = next
		if len(index) == count {
			break
		}
		count = len(index)
	}
	// Number the classes so that the start is 0: state 0 is met first.
	out := &Network{}
	made := map[int32]bool{}
	for s := range n {
		if made[class[s]] {
			continue
		}
		made[class[s]] = true
		out.first = append(out.first, int32(len(out.arcs)))
		out.final = append(out.final, d.final[s])
		for _, a := range d.Next(State(s)) {
			out.arcs = append(out.arcs, Arc{a.Byte, State(class[a.To])})
		}
	}
	out.first = append(out.first, int32(len(out.arcs)))
	return out
}

// Start is the state before the first byte.
func (d *Network) Start() State { return 0 }

// States is the number of states, Arcs of arcs.
func (d *Network) States() int { return len(d.final) }

// Arcs is the number of arcs.
func (d *Network) Arcs() int { return len(d.arcs) }

// Next lists the arcs out of s in byte order. The slice must not be changed.
func (d *Network) Next(s State) []Arc { return d.arcs[d.first[s]:d.first[s+1]] }

// Final reports whether a sentence may end at s.
func (d *Network) Final(s State) bool { return d.final[s] }

// Step goes over one byte, an ASCII capital being as good as its small letter.
func (d *Network) Step(s State, b byte) (State, bool) {
	if 'A' <= b && b <= 'Z' {
		b += 'a' - 'A'
	}
	lo, hi := d.first[s], d.first[s+1]
	for hi-lo > 8 {
		if mid := (lo + hi) / 2; d.arcs[mid].Byte > b {
			hi = mid
		} else {
			lo = mid
		}
	}
	for _, a := range d.arcs[lo:hi] {
		if a.Byte == b {
			return a.To, true
		}
	}
	return 0, false
}

// Walk goes over a whole piece of text, such as one token of a recogniser.
func (d *Network) Walk(s State, text string) (State, bool) {
	for i := 0; i < len(text); i++ {
		var ok bool
		if s, ok = d.Step(s, text[i]); !ok {
			return 0, false
		}
	}
	return s, true
}

// Accepts reports whether text is a sentence of the language; a space before
// it is as good as none.
func (d *Network) Accepts(text string) bool {
	if !strings.HasPrefix(text, " ") {
		text = " " + text
	}
	s, ok := d.Walk(d.Start(), text)
	return ok && d.Final(s)
}

// Sample walks at random and gives the sentence, or false where it is longer
// than limit bytes.
func (d *Network) Sample(r *rand.Rand, limit int) (string, bool) {
	var b []byte
	for s := d.Start(); len(b) <= limit; {
		arcs := d.Next(s)
		if d.Final(s) && (len(arcs) == 0 || r.Intn(4) == 0) {
			return strings.TrimPrefix(string(b), " "), true
		}
		a := arcs[r.Intn(len(arcs))]
		b = append(b, a.Byte)
		s = a.To
	}
	return "", false
}

// Validate reports a network that a walker could get stuck in: an arc to no
// state, arcs out of order, or a state from which no sentence can be finished.
func (d *Network) Validate() error {
	n := len(d.final)
	back := make([][]State, n)
	for s := range n {
		last := -1
		for _, a := range d.Next(State(s)) {
			if a.To < 0 || int(a.To) >= n || int(a.Byte) <= last {
				return fmt.Errorf("%w: state %d has a bad arc over %q", ErrInvalid, s, a.Byte)
			}
			last = int(a.Byte)
			back[a.To] = append(back[a.To], State(s))
		}
	}
	live := make([]bool, n)
	var queue []State
	for s, f := range d.final {
		if f {
			live[s] = true
			queue = append(queue, State(s))
		}
	}
	for len(queue) > 0 {
		s := queue[0]
		queue = queue[1:]
		for _, b := range back[s] {
			if !live[b] {
				live[b] = true
				queue = append(queue, b)
			}
		}
	}
	if s := slices.Index(live, false); s >= 0 {
		return fmt.Errorf("%w: no sentence can be finished from state %d", ErrInvalid, s)
	}
	return nil
}
