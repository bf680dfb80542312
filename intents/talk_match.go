package intents

import "slices"

// bind is one captured slot; a chain of them is what a match captured.
type bind struct {
	name  string
	value string
	nums  []float64
	prev  *bind
}

func (b *bind) get(name string) *bind {
	for ; b != nil; b = b.prev {
		if b.name == name {
			return b
		}
	}
	return nil
}

// progress is how a match stands.
type progress struct {
	cost  float64
	words int // matched, without what was stepped over
	nums  int // numbers taken
	aside int // words that may still be stepped over; below zero, not even fillers
	slots *bind
}

// hit is one frame found in the text.
type hit struct {
	frame      int
	start, end int
	progress
}

// The costs of what stands between the words of a frame.
const (
	gapOver  = 0.03 // a filler or hedge
	gapStep  = 0.1  // a comma or a pause
	gapBreak = 0.6  // a full stop
	gapWord  = 0.3  // a word under "*"
	gapAside = 0.35 // a word that says nothing here
	maxTries = 25000
)

// matcher finds frames in one text.
type matcher struct {
	k       *talk
	toks    []token
	nums    [][]number
	open    map[string]bool
	over    [][]int          // where the fillers end that begin at a token
	plain   []bool           // tokens that mean nothing by themselves
	memo    map[[2]int][]hit // of a class at a token
	tries   int
	between []float64 // what a word costs where it stands between cues
	trade   []bool    // words that name a part
	openAt  []string  // the quantity and place that callout asked for
}

// overs lists where a filler that begins at token i ends.
func (k *talk) overs(toks []token, i int, into []int) []int {
	n := k.stepOver
	for j := i; j < len(toks); j++ {
		if n = n.next[toks[j].text]; n == nil {
			break
		}
		if len(n.entries) > 0 {
			into = append(into, j+1)
		}
	}
	return into
}

// at lists the frames that begin at token i.
func (m *matcher) at(i int) (out []hit) {
	try := func(list []start) {
		for _, s := range list {
			f := &m.k.frames[s.frame]
			if len(f.open) > 0 && !slices.ContainsFunc(f.open, func(o string) bool { return m.open[o] }) {
				continue
			}
			m.sequence(f.say[s.pattern], i, i, progress{aside: f.aside}, func(end int, p progress) {
				h := hit{frame: s.frame, start: i, end: end, progress: p}
				for k := range out {
					if o := &out[k]; o.frame == h.frame && o.end == h.end && sameSlots(o.slots, h.slots) {
						if h.cost < o.cost {
							*o = h
						}
						return
					}
				}
				out = append(out, h)
			})
		}
	}
	try(m.k.byWord[m.toks[i].text])
	if len(m.nums[i]) > 0 && !m.within(i) {
		try(m.k.byNumber)
	}
	return out
}

// longest is where the longest number that begins at token i ends.
func (m *matcher) longest(i int) (end int) {
	for _, n := range m.nums[i] {
		if !n.sound {
			end = max(end, n.end)
		}
	}
	return end
}

// grows reports whether token i is a digit that a hundred or a point goes on with.
func (m *matcher) grows(i int) bool {
	if m.toks[i].num != numDigit || i+1 >= len(m.toks) || m.toks[i+1].before > gapJoin {
		return false
	}
	switch m.toks[i+1].num {
	case numHundred, numThousand, numPoint:
		return true
	}
	return false
}

// within reports whether token i goes on with a number that began before it.
func (m *matcher) within(i int) bool {
	return i > 0 && m.toks[i].before <= gapJoin && m.longest(i-1) > i
}

func sameSlots(a, b *bind) bool {
	for ; a != nil && b != nil; a, b = a.prev, b.prev {
		if a.name != b.name || a.value != b.value || !slices.Equal(a.nums, b.nums) {
			return false
		}
	}
	return a == nil && b == nil
}

// sequence matches what is left of a pattern from token i on.
func (m *matcher) sequence(p pattern, start, i int, st progress, then func(int, progress)) {
	if m.tries++; m.tries > maxTries {
		return
	}
	if len(p) == 0 {
		then(i, st)
		return
	}
	x := p[0]
	if x.kind == partOneOf {
		for _, one := range x.oneOf {
			if len(one) == 0 {
				m.sequence(p[1:], start, i, st, then)
				continue
			}
			m.sequence(one, start, i, st, func(end int, s progress) { m.sequence(p[1:], start, end, s, then) })
		}
		return
	}
	if i >= len(m.toks) {
		if x.kind == partGap {
			m.sequence(p[1:], start, i, st, then)
		}
		return
	}
	if x.kind == partGap {
		for k, j := 0, i; ; k, j = k+1, j+1 {
			s := st
			s.cost += gapWord * float64(k)
			m.sequence(p[1:], start, j, s, then)
			if k == gapWords || j >= len(m.toks) || len(m.nums[j]) > 0 && m.toks[j].num != numA || m.toks[j].before == gapStop {
				return
			}
		}
	}
	if i > start {
		if st.aside < 0 && m.toks[i].before >= gapComma {
			return
		}
		switch m.toks[i].before {
		case gapComma, gapPause:
			st.cost += gapStep
		case gapStop:
			st.cost += gapBreak
		}
		for k := 0; k < len(m.over[i]) && st.aside >= 0; k++ {
			end := m.over[i][k]
			s := st
			s.cost += gapOver
			m.sequence(p, start, end, s, then)
		}
		if m.plain[i] && st.aside > 0 && st.words+st.nums > 0 && m.toks[i].before < gapStop {
			s := st
			s.cost += gapAside
			s.aside--
			m.sequence(p, start, i+1, s, then)
		}
	}
	switch x.kind {
	case partWord:
		if m.toks[i].text == x.text && !m.grows(i) {
			st.words++
			m.sequence(p[1:], start, i+1, st, then)
		}
	case partNumber:
		for _, n := range m.nums[i] {
			if x.split || n.end >= m.longest(i) || m.toks[n.end].before > gapJoin {
				m.number(x, n, p[1:], start, st, then)
			}
		}
	case partClass:
		for _, h := range m.class(x.class, i) {
			s := st
			s.cost += h.cost
			s.words += h.words
			s.nums += h.nums
			v := h.slots.get("")
			s.slots = &bind{name: x.text, value: v.value, prev: st.slots}
			for b := h.slots; b != nil; b = b.prev { // a number inside the class
				if b.name != "" && b.nums != nil {
					s.slots = &bind{name: b.name, nums: b.nums, prev: s.slots}
				}
			}
			m.sequence(p[1:], start, h.end, s, then)
		}
	}
}

func (m *matcher) number(x part, n number, rest pattern, start int, st progress, then func(int, progress)) {
	if n.sound {
		return
	}
	var vals []float64
	for _, v := range n.vals {
		if v >= x.low && v <= x.top {
			vals = append(vals, v)
		}
	}
	if len(vals) == 0 {
		return
	}
	st.nums++
	if j, ok := m.again(n); ok { // said anew: what is said last counts
		s := st
		s.cost -= .1
		for _, next := range m.nums[j] {
			if next.end == m.longest(j) {
				m.number(x, next, rest, start, progress{cost: s.cost, words: s.words, nums: s.nums - 1, aside: s.aside, slots: s.slots}, then)
			}
		}
	}
	if x.text != "" {
		st.slots = &bind{name: x.text, nums: vals, prev: st.slots}
	}
	m.sequence(rest, start, n.end, st, then)
}

// again finds the number that takes the place of the one that was just said: "ten, no,
// twelve", or "three hundred, uh, three hundred fifteen".
func (m *matcher) again(n number) (at int, ok bool) {
	from := 0
	for from = n.end - 1; from > 0 && m.longest(from-1) >= n.end; from-- {
	}
	j, mended := n.end, false
	for j < len(m.toks) && m.toks[j].before < gapStop || j < len(m.toks) && j > n.end {
		end, mends := m.k.restart(m.toks, j)
		if end == j {
			break
		}
		j, mended = end, mended || mends
	}
	if j >= len(m.toks) || len(m.nums[j]) == 0 || m.toks[j].num == numA || j == n.end && m.toks[j].before < gapComma {
		return 0, false
	}
	if mended {
		return j, true
	}
	was := texts(m.toks[from:n.end]) // begun anew
	is := texts(m.toks[j:max(j, m.longest(j))])
	return j, len(is) > len(was) && equal(was, is)
}

// restart reads words at token j that take back a number, or only hesitate.
func (k *talk) restart(toks []token, j int) (end int, mends bool) {
	n, end := k.restarts, j
	for i := j; i < len(toks); i++ {
		if n = n.next[toks[i].text]; n == nil {
			break
		}
		if len(n.entries) > 0 {
			end, mends = i+1, n.entries[0].class == isRestart
		}
	}
	return end, mends
}

// class lists the members of a class that begin at token i.
func (m *matcher) class(k, i int) []hit {
	key := [2]int{k, i}
	if out, ok := m.memo[key]; ok {
		return out
	}
	c := &m.k.classes[k]
	var out []hit
	try := func(list []int) {
		for _, n := range list {
			mem := &c.members[n]
			m.sequence(mem.pattern, i, i, progress{}, func(end int, p progress) {
				p.slots = &bind{name: "", value: mem.value, prev: p.slots}
				out = append(out, hit{start: i, end: end, progress: p})
			})
		}
	}
	try(c.byWord[m.toks[i].text])
	if len(c.byNum) > 0 && len(m.nums[i]) > 0 {
		try(c.byNum)
	}
	m.memo[key] = out
	return out
}
