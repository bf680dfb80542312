package intents

import (
	"fmt"
	"slices"
	"strings"
)

// cue is one thing that must be named for a frame of cues to hold, wherever in the sentence.
type cue struct {
	class     int
	inherited bool // may be left out where it was named before, or is what was asked for
	optional  bool
}

// cueSet is one way to say a frame by cues, in any order.
type cueSet struct {
	frame int
	cues  []cue
	none  []int // classes that may not be named beside them
}

const (
	cueBase     = 0.05 // what an order of words adds over a frame that knows it
	cueInherit  = 0.15
	cuePlain    = 0.08 // a word between cues that says nothing
	cueState    = 0.3
	cueTrade    = 0.45
	cueNumber   = 2.0
	cueNot      = 2.0
	cueUnit     = 0.8
	cueFiller   = 0.02
	cueComma    = 0.12
	cueStop     = 0.9
	cueMost     = 2.0 // of all that a hit costs over its frame
	mostCueSpan = 28
	mostCueTry  = 300
)

// addCues compiles the ways of a frame that name things in any order.
func (k *talk) addCues(f talkFrame, n int, index map[string]int) error {
	for _, list := range f.Cues {
		s := cueSet{frame: n}
		for _, text := range list {
			var c cue
			text, c.inherited = cutMark(text, "~")
			text, c.optional = cutMark(text, "?")
			not := false
			text, not = cutMark(text, "!")
			class, err := k.cueClass(text, index)
			if err != nil {
				return err
			}
			if c.class = class; not {
				s.none = append(s.none, class)
				continue
			}
			s.cues = append(s.cues, c)
		}
		if len(s.cues) == 0 {
			return fmt.Errorf("cues without a cue: %v", list)
		}
		k.cueSets = append(k.cueSets, s)
	}
	return nil
}

func cutMark(text, mark string) (string, bool) {
	rest, ok := strings.CutPrefix(text, mark)
	return rest, ok
}

// cueClass is the class of all that a cue matches; cues of one text share it.
func (k *talk) cueClass(text string, index map[string]int) (int, error) {
	key := "cue " + text
	if i, ok := index[key]; ok {
		return i, nil
	}
	p, err := compilePattern("( "+text+" )", index)
	if err != nil {
		return 0, err
	}
	cl := wordClass{name: key, first: starts{words: map[string]bool{}}, byWord: map[string][]int{}, members: []member{{pattern: p}}}
	if k.startsOf(p, &cl.first) || cl.first.open {
		return 0, fmt.Errorf("the cue %q can be nothing", text)
	}
	i := len(k.classes)
	for w := range cl.first.words {
		cl.byWord[w] = []int{0}
		k.cueByWord[w] = append(k.cueByWord[w], i)
	}
	if cl.first.number {
		cl.byNum = []int{0}
		k.cueByNum = append(k.cueByNum, i)
	}
	learn(p, k.known)
	k.classes = append(k.classes, cl)
	index[key] = i
	return i, nil
}

// cued lists, by the token where they begin, the frames whose cues are all named.
func (m *matcher) cued() [][]hit {
	n := len(m.toks)
	found := map[int][]hit{}
	for i := range m.toks {
		for _, c := range m.k.cueByWord[m.toks[i].text] {
			found[c] = append(found[c], m.class(c, i)...)
		}
		if len(m.nums[i]) > 0 && !m.within(i) {
			for _, c := range m.k.cueByNum {
				if m.k.classes[c].byWord[m.toks[i].text] == nil {
					found[c] = append(found[c], m.class(c, i)...)
				}
			}
		}
	}
	out := make([][]hit, n)
	for k := range m.k.cueSets {
		s := &m.k.cueSets[k]
		f := &m.k.frames[s.frame]
		if len(f.open) > 0 && !slices.ContainsFunc(f.open, func(o string) bool { return m.open[o] }) {
			continue
		}
		m.cueSet(s, found, out)
	}
	return out
}

// cueTry is a choice of one place in the text for each cue.
type cueTry struct {
	m     *matcher
	s     *cueSet
	found map[int][]hit
	taken []hit
	left  int
	out   [][]hit
}

func (m *matcher) cueSet(s *cueSet, found map[int][]hit, out [][]hit) {
	var need []cue
	inherit, missing := []cue(nil), 0
	for _, c := range s.cues {
		switch {
		case len(found[c.class]) > 0:
			need = append(need, c)
		case c.inherited:
			inherit = append(inherit, c)
		case !c.optional:
			missing++
		}
	}
	if missing > 0 || len(need) == 0 {
		return
	}
	slices.SortStableFunc(need, func(a, b cue) int { return len(found[a.class]) - len(found[b.class]) })
	t := &cueTry{m: m, s: s, found: found, left: mostCueTry, out: out}
	t.choose(need, inherit)
}

func (t *cueTry) choose(need, inherit []cue) {
	if t.left--; t.left < 0 {
		return
	}
	if len(need) == 0 {
		t.add(inherit)
		return
	}
	c := need[0]
	for _, h := range t.found[c.class] {
		if slices.ContainsFunc(t.taken, func(o hit) bool {
			return h.start < o.end && o.start < h.end || max(h.end, o.end)-min(h.start, o.start) > mostCueSpan
		}) {
			continue
		}
		t.taken = append(t.taken, h)
		t.choose(need[1:], inherit)
		t.taken = t.taken[:len(t.taken)-1]
	}
	switch {
	case c.optional:
		t.choose(need[1:], inherit)
	case c.inherited && len(t.taken)+len(need) > 1:
		t.choose(need[1:], append(slices.Clone(inherit), c))
	}
}

// add weighs the cues that were taken and what stands between them.
func (t *cueTry) add(inherit []cue) {
	if len(t.taken) == 0 {
		return
	}
	h := hit{frame: t.s.frame, start: len(t.m.toks)}
	for _, x := range t.taken {
		h.start, h.end = min(h.start, x.start), max(h.end, x.end)
		h.cost += x.cost
		h.words += x.words
		h.nums += x.nums
		h.take(x.slots)
	}
	for _, c := range inherit {
		b, cost, ok := t.inherited(c, h)
		if !ok {
			return
		}
		h.cost += cost
		h.take(b)
	}
	t.widen(&h)
	if t.forbidden(h) {
		return
	}
	if h.cost += cueBase + t.between(&h); h.cost > cueMost {
		return
	}
	for k := range t.out[h.start] {
		if o := &t.out[h.start][k]; o.frame == h.frame && o.end == h.end && sameSlots(o.slots, h.slots) {
			if h.cost < o.cost {
				*o = h
			}
			return
		}
	}
	t.out[h.start] = append(t.out[h.start], h)
}

// take adds what a cue captured.
func (h *hit) take(b *bind) {
	for ; b != nil; b = b.prev {
		if b.name != "" {
			h.slots = &bind{name: b.name, value: b.value, nums: b.nums, prev: h.slots}
		}
	}
}

// forbidden reports whether something is named in the clause that the cues don't go with.
func (t *cueTry) forbidden(h hit) bool {
	from, to := t.m.clause(h)
	for _, c := range t.s.none {
		for _, x := range t.found[c] {
			if x.start >= from && x.end <= to {
				return true
			}
		}
	}
	return false
}

// between is what the words cost that stand between the cues.
func (t *cueTry) between(h *hit) (cost float64) {
	m := t.m
	for i := h.start; i < h.end; i++ {
		if i > h.start {
			switch m.toks[i].before {
			case gapComma, gapPause:
				cost += cueComma
			case gapStop:
				cost += cueStop
			}
		}
		switch {
		case slices.ContainsFunc(t.taken, func(x hit) bool { return x.start <= i && i < x.end }):
		case t.repeats(i, h):
			cost += cueFiller
		default:
			cost += m.between[i]
		}
	}
	return cost
}

// inherited finds what a cue that is not named again was: the last one before, or what
// callout has asked for.
func (t *cueTry) inherited(c cue, h hit) (*bind, float64, bool) {
	m := t.m
	if f := &m.k.frames[t.s.frame]; len(f.mean) > 0 && len(m.openAt) == 2 && !t.another(h) {
		if w := strings.Fields(f.mean[0]); w[0] == m.openAt[0] {
			if name, ok := strings.CutPrefix(w[1], "$"); ok {
				return &bind{name: name, value: m.openAt[1]}, 0, true
			} else if w[1] == m.openAt[1] {
				return nil, 0, true
			}
		}
	}
	var last *hit
	for k, x := range t.found[c.class] {
		if x.end <= h.start && (last == nil || x.end > last.end || x.end == last.end && x.start < last.start) {
			last = &t.found[c.class][k]
		}
	}
	if last == nil {
		return nil, 0, false
	}
	return last.slots, cueInherit, true
}

// clause is where the clause of a hit begins and ends: at commas, and at what joins clauses.
func (m *matcher) clause(h hit) (from, to int) {
	for from = h.start; from > 0 && m.toks[from].before < gapComma && !m.k.joins[m.toks[from-1].text]; from-- {
	}
	for to = h.end; to < len(m.toks) && m.toks[to].before < gapComma && !m.k.joins[m.toks[to].text]; to++ {
	}
	return from, to
}

// another reports whether a part is named in the clause that no cue took: then what is said is
// hardly about what callout has asked for.
func (t *cueTry) another(h hit) bool {
	m := t.m
	from, to := m.clause(h)
	for i := from; i < to; i++ {
		if m.trade[i] && !slices.ContainsFunc(t.taken, func(x hit) bool { return x.start <= i && i < x.end }) {
			return true
		}
	}
	return false
}

// betweens is what each word costs where it stands between cues.
func (u *utterance) betweens(s *search, m *matcher) []float64 {
	out := make([]float64, len(u.toks))
	m.trade = make([]bool, len(u.toks))
	for i, t := range u.toks {
		switch u.left(s, m, i) {
		case leftNot:
			out[i] = cueNot
		case leftNumber:
			out[i] = cueNumber
		case leftUnit:
			out[i] = cueUnit
		case leftTrade, leftNamed:
			out[i], m.trade[i] = cueTrade, true
		case leftState:
			out[i] = cueState
		default:
			out[i] = cuePlain
			if u.p.free.heavy[t.text] {
				out[i] = cueState
			}
		}
		if u.p.free.empty[t.text] {
			out[i] = cueFiller
		}
	}
	for i := range u.toks {
		for _, end := range m.over[i] {
			for k := i; k < end; k++ {
				out[k] = min(out[k], cueFiller)
			}
		}
	}
	return out
}

// repeats reports whether token i belongs to words that say again what a cue said.
func (t *cueTry) repeats(i int, h *hit) bool {
	for _, c := range t.s.cues {
		for k := range t.found[c.class] {
			if x := &t.found[c.class][k]; x.start <= i && i < x.end && x.nums == 0 && saysSame(x, h) {
				return true
			}
		}
	}
	return false
}

// saysSame reports whether what x captured is what h has under the same name.
func saysSame(x, h *hit) bool {
	for b := x.slots; b != nil; b = b.prev {
		if b.name == "" {
			continue
		}
		if o := h.slots.get(b.name); o == nil || o.value != b.value {
			return false
		}
	}
	return true
}

// widen takes in words beside a hit that say one of its cues again: "no sound, silent".
func (t *cueTry) widen(h *hit) {
	m := t.m
	for again := true; again; {
		again = false
		for _, c := range t.s.cues {
			for k := range t.found[c.class] {
				x := &t.found[c.class][k]
				if x.nums > 0 || !saysSame(x, h) {
					continue
				}
				if x.start >= h.end && x.end > h.end && m.light(h.end, x.start) {
					h.end, again = x.end, true
				} else if x.end <= h.start && x.start < h.start && m.light(x.end, h.start) {
					h.start, again = x.start, true
				}
			}
		}
	}
}

// light reports whether nothing but fillers stands between two tokens.
func (m *matcher) light(from, to int) bool {
	if to-from > 4 {
		return false
	}
	for i := from; i < to; i++ {
		if m.between[i] > cueFiller || i > 0 && m.toks[i].before >= gapStop {
			return false
		}
	}
	return to >= len(m.toks) || m.toks[to].before < gapStop
}
