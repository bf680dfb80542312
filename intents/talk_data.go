package intents

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"callout/catalogue"
)

// talk is the free language: frames, each some ways of saying one thing with slots for
// what varies, and the classes of words that the slots take.
type talk struct {
	classes   []wordClass
	frames    []frame
	byWord    map[string][]start // frames that can begin with a word
	byNumber  []start
	restarts  *node // words that take back a number, or hesitate
	stepOver  *node // words that may stand between the words of a frame
	empty     map[string]bool
	heavy     map[string]bool   // words that are never stepped over inside of a frame
	same      map[string]string // dialect, and the word it is
	known     map[string]bool   // every word of the patterns
	state     map[string]bool   // words of what is seen, switched and repaired: never stepped over
	likely    map[likelyAt][2]float64
	trust     trust
	joins     map[string]bool            // words that join clauses
	named     map[string]map[string]bool // the words in which each id of the catalogue is spoken of
	cueSets   []cueSet
	cueByWord map[string][]int // classes of cues that can begin with a word
	cueByNum  []int
}

// likelyAt is a quantity at a place, "" for all its other places.
type likelyAt struct {
	quantity catalogue.QuantityID
	place    catalogue.PlaceID
}

// span is one line of likely.json: what a number that can be read in two ways is likely to be.
type span struct {
	Quantity catalogue.QuantityID `json:"quantity"`
	Place    catalogue.PlaceID    `json:"place"`
	Low      float64              `json:"low"`
	High     float64              `json:"high"`
	Why      string               `json:"why"`
}

// isLikely reports whether a reading is one that such a unit shows.
func (k *talk) isLikely(r catalogue.Reading) bool {
	s, ok := k.likely[likelyAt{r.Quantity, r.Place}]
	if !ok {
		s, ok = k.likely[likelyAt{r.Quantity, ""}]
	}
	return !ok || r.Value == 0 || r.Qualifier != "" || r.Value >= s[0] && r.Value <= s[1]
}

// start is one pattern of one frame.
type start struct{ frame, pattern int }

// wordClass is a set of phrases, each with the value it stands for.
type wordClass struct {
	name    string
	members []member
	first   starts
	byWord  map[string][]int // members that can begin with a word
	byNum   []int
}

type member struct {
	pattern pattern
	value   string
}

// frame is one line of frames.json: what is said and what it means.
type frame struct {
	say   []pattern
	mean  []string
	or    [][]string
	guard string
	open  []string
	ask   bool
	cost  float64
	alone bool // only where nothing else was said
	over  bool // even where the formal language reads something else
	aside int  // words that may be stepped over inside of it
}

type talkClass struct {
	Class string   `json:"class"`
	Value string   `json:"value"`
	Say   []string `json:"say"`
}

type talkFrame struct {
	Say   []string   `json:"say"`
	Cues  [][]string `json:"cues"` // what must be named, in any order: "~<ofan>" may have been named before, "?…" may be left out, "!…" may not be named
	Mean  []string   `json:"mean"`
	Or    [][]string `json:"or"`
	Guard string     `json:"guard"` // what stands beside it is not meant as said: "intent", "elsewhere", "question"; "tag": it ends a statement as a question; "nothing": its words and numbers mean nothing; "when": only a number counts beside it
	Open  []string   `json:"open"`  // only while one of these is asked for: "declare leads_off", "voltage capacitor", "confirm"
	Ask   bool       `json:"ask"`   // never recorded without asking
	Alone bool       `json:"alone"` // only where nothing else is said
	Aside *int       `json:"aside"` // words that may be stepped over, where it is not what its meaning allows
	Over  bool       `json:"over"`  // goes before the formal reading of the same words
	Cost  float64    `json:"cost"`  // above zero: only where nothing else fits
	Why   string     `json:"why"`
}

// talkWords is data/talk/words.json.
type talkWords struct {
	StepOver []string            `json:"step_over"` // fillers, hedges and asides
	Empty    []string            `json:"empty"`     // words that carry nothing where they are left over
	Light    []string            `json:"light"`     // everyday words of what is seen and done, that are stepped over all the same
	Heavy    []string            `json:"heavy"`     // words that turn a meaning, never stepped over inside of a frame
	About    map[string][]string `json:"about"`     // words that only say what a quantity, place, declaration or repair is about
	Joins    []string            `json:"joins"`     // words that join clauses
	Restarts []string            `json:"restarts"`  // words that take back the number before them
	Hesitate []string            `json:"hesitate"`  // words that only put off the next number
	SameAs   map[string]string   `json:"same_as"`   // dialect and slips, and the word that is meant
}

var talkFrameFiles = []string{"talk/guards.json", "talk/readings.json", "talk/pairs.json", "talk/plate.json", "talk/seen.json", "talk/switching.json", "talk/repairs.json", "talk/mending.json", "talk/questions.json", "talk/cues.json", "talk/cues_switching.json", "talk/cues_asked.json", "talk/noise.json"}

func newTalk(c *catalogue.Catalogue) (*talk, error) {
	var list []talkClass
	var w talkWords
	if err := decode("talk/classes.json", &list); err != nil {
		return nil, err
	}
	var states []talkClass
	if err := decode("talk/states.json", &states); err != nil {
		return nil, err
	}
	list = append(list, states...)
	if err := decode("talk/words.json", &w); err != nil {
		return nil, err
	}
	k := &talk{byWord: map[string][]start{}, stepOver: &node{}, empty: map[string]bool{}, heavy: map[string]bool{}, same: w.SameAs, known: map[string]bool{}, state: map[string]bool{}, cueByWord: map[string][]int{}}
	if err := decode("talk/trust.json", &k.trust); err != nil {
		return nil, err
	}
	var spans []span
	if err := decode("talk/likely.json", &spans); err != nil {
		return nil, err
	}
	k.likely = map[likelyAt][2]float64{}
	for _, s := range spans {
		if q, ok := c.Quantity(s.Quantity); !ok || s.Place != "" && !q.HasPlace(s.Place) || s.Low >= s.High || s.Why == "" {
			return nil, fmt.Errorf("intents: talk/likely.json: %s at %q", s.Quantity, s.Place)
		}
		k.likely[likelyAt{s.Quantity, s.Place}] = [2]float64{s.Low, s.High}
	}
	defer func() {
		for _, s := range append(w.Light, w.Empty...) {
			delete(k.state, s)
		}
	}()
	k.joins = map[string]bool{}
	for _, s := range w.Joins {
		k.joins[s] = true
	}
	k.nameAll(c, w.About)
	for _, s := range w.Heavy {
		k.heavy[s] = true
	}
	for _, s := range w.StepOver {
		toks, _ := scan("x "+s, nil)
		k.stepOver.add(texts(toks[1:]), isFiller)
		for _, t := range toks[1:] {
			k.known[t.text] = true
		}
	}
	k.restarts = &node{}
	for cl, list := range map[class][]string{isRestart: w.Restarts, isHesitation: w.Hesitate} {
		for _, s := range list {
			toks, _ := scan("x "+s, nil)
			k.restarts.add(texts(toks[1:]), cl)
		}
	}
	for _, s := range w.Empty {
		k.empty[s] = true
	}
	index, err := k.readClasses(c, list)
	if err != nil {
		return nil, err
	}
	for _, file := range talkFrameFiles {
		var frames []talkFrame
		if err := decode(file, &frames); err != nil {
			return nil, err
		}
		for _, f := range frames {
			if err := k.addFrame(f, index, c); err != nil {
				return nil, fmt.Errorf("intents: %s: %w", file, err)
			}
			if slices.Contains([]string{"talk/seen.json", "talk/switching.json", "talk/repairs.json"}, file) {
				for _, p := range k.frames[len(k.frames)-1].say {
					learn(p, k.state)
				}
			}
		}
	}
	return k, nil
}

// nameAll notes in which words each id is spoken of.
func (k *talk) nameAll(c *catalogue.Catalogue, about map[string][]string) {
	k.named = map[string]map[string]bool{}
	note := func(id string, list ...string) {
		if k.named[id] == nil {
			k.named[id] = map[string]bool{}
		}
		for _, s := range append(list, strings.ReplaceAll(id, "_", " ")) {
			toks, _ := scan("x "+s, nil)
			for _, t := range toks[1:] {
				k.named[id][t.text] = true
			}
		}
	}
	for _, q := range c.Quantities {
		note(string(q.ID), append([]string{q.Name}, q.Spoken...)...)
	}
	for _, p := range c.Places {
		note(string(p.ID), append([]string{p.Name}, p.Spoken...)...)
	}
	for _, d := range c.Declarations {
		note(string(d.ID), d.Name)
	}
	for _, r := range c.Repairs {
		note(string(r.ID), r.Name)
	}
	for id, list := range about {
		note(id, list...)
	}
}

// about reports whether a word only says what an item is about.
func (k *talk) about(it Item, w string) bool {
	var ids []string
	switch {
	case it.Reading != nil:
		ids = []string{string(it.Reading.Quantity), string(it.Reading.Place)}
	case it.Observation != nil:
		ids = []string{string(it.Observation.Quantity), string(it.Observation.Place)}
	default:
		ids = []string{string(it.Declaration) + string(it.Repair)}
	}
	return slices.ContainsFunc(ids, func(id string) bool { return k.named[id][w] })
}

// learn notes the words of a pattern.
func learn(p pattern, into map[string]bool) {
	for _, x := range p {
		if x.kind == partWord {
			into[x.text] = true
		}
		for _, one := range x.oneOf {
			learn(one, into)
		}
	}
}

// plainly puts dialect into the words that are meant: "pullin'" is "pulling", "hunnerd"
// is "hundred".
func (k *talk) plainly(toks []token) []token {
	out := slices.Clone(toks)
	for i := range out {
		t := &out[i]
		w := t.text
		if s, ok := k.same[w]; ok {
			w = s
		} else if strings.HasSuffix(w, "in") && !k.known[w] && k.known[w+"g"] {
			w += "g"
		} else if head, ok := strings.CutPrefix(w, "a"); ok && i > 0 && t.before == gapJoin && head == "" {
			continue
		}
		if w == t.text {
			continue
		}
		t.text, t.num, t.val = w, numNone, 0
		if n, ok := numberWords[w]; ok {
			t.num, t.val = n.class, n.val
			if n.class <= numTens && w != "oh" && w != "o" {
				t.text = strconv.Itoa(int(n.val))
			}
		}
	}
	return out
}

func (n *node) add(seq []string, cl class) {
	for _, w := range seq {
		if n.next == nil {
			n.next = map[string]*node{}
		}
		if n.next[w] == nil {
			n.next[w] = &node{}
		}
		n = n.next[w]
	}
	n.entries = []entry{{class: cl}}
}

// readClasses compiles the classes in their order: one may use those before it. The class
// "place" is the catalogue's own.
func (k *talk) readClasses(c *catalogue.Catalogue, list []talkClass) (map[string]int, error) {
	index := map[string]int{}
	for _, p := range c.Places {
		list = append(list, talkClass{Class: "place", Value: string(p.ID), Say: append([]string{p.Name}, p.Spoken...)})
	}
	for i := 0; i < len(list); {
		name := list[i].Class
		cl := wordClass{name: name, first: starts{words: map[string]bool{}}, byWord: map[string][]int{}}
		for ; i < len(list) && list[i].Class == name; i++ {
			for _, s := range list[i].Say {
				if name == "place" {
					s = strings.Map(func(r rune) rune {
						if strings.ContainsRune("[](|)<>#*", r) {
							return ' '
						}
						return r
					}, s)
				}
				p, err := compilePattern(s, index)
				if err != nil {
					return nil, fmt.Errorf("intents: talk/classes.json: class %s: %w", name, err)
				}
				learn(p, k.known)
				m := len(cl.members)
				cl.members = append(cl.members, member{p, list[i].Value})
				first := starts{words: map[string]bool{}}
				if k.startsOf(p, &first) || first.open {
					return nil, fmt.Errorf("intents: talk/classes.json: class %s: %q can be nothing", name, s)
				}
				for w := range first.words {
					cl.first.words[w] = true
					cl.byWord[w] = append(cl.byWord[w], m)
				}
				if first.number {
					cl.first.number = true
					cl.byNum = append(cl.byNum, m)
				}
			}
		}
		if _, twice := index[name]; twice {
			return nil, fmt.Errorf("intents: talk/classes.json: class %s stands in two places", name)
		}
		index[name] = len(k.classes)
		k.classes = append(k.classes, cl)
	}
	return index, nil
}

// asidesOf bounds the words that may stand inside of a frame: many round a number, hardly
// any in what is switched, none in what is asked or mended.
func asidesOf(f talkFrame) int {
	n := 5
	if f.Guard != "" {
		return -1
	}
	if f.Aside != nil {
		return *f.Aside
	}
	for _, list := range append([][]string{f.Mean}, f.Or...) {
		for _, m := range list {
			w := strings.Fields(m)
			switch q := w[0]; {
			case q == "ask" || q == "command" || q == "correct":
				return 0
			case q == "declare":
				n = min(n, 1)
			case q == "repair" || len(w) == 3 && !strings.HasPrefix(w[2], "$"):
				n = min(n, 2)
			}
		}
	}
	return n
}

// ways lists how a frame is said, for messages.
func (f talkFrame) ways() []string {
	out := slices.Clone(f.Say)
	for _, c := range f.Cues {
		out = append(out, strings.Join(c, " + "))
	}
	return out
}

func (k *talk) addFrame(f talkFrame, index map[string]int, c *catalogue.Catalogue) error {
	if len(f.Say)+len(f.Cues) == 0 || len(f.Mean)+len(f.Or) == 0 && f.Guard == "" {
		return fmt.Errorf("a frame needs what is said, and a meaning or a guard: %v", f.ways())
	}
	fr := frame{mean: f.Mean, or: f.Or, guard: f.Guard, open: f.Open, ask: f.Ask, cost: f.Cost, alone: f.Alone, over: f.Over, aside: asidesOf(f)}
	n := len(k.frames)
	for i, s := range f.Say {
		p, err := compilePattern(s, index)
		if err != nil {
			return err
		}
		fr.say = append(fr.say, p)
		first := starts{words: map[string]bool{}}
		if k.startsOf(p, &first) || first.open {
			return fmt.Errorf("%q can begin with anything", s)
		}
		for w := range first.words {
			k.byWord[w] = append(k.byWord[w], start{n, i})
		}
		if first.number {
			k.byNumber = append(k.byNumber, start{n, i})
		}
	}
	if err := k.addCues(f, n, index); err != nil {
		return err
	}
	for _, list := range append([][]string{f.Mean}, f.Or...) {
		for _, m := range list {
			if !strings.Contains(m, "$") {
				if _, err := readItem(c, strings.Fields(m), nil); err != nil {
					return fmt.Errorf("%q: %w", f.ways(), err)
				}
			}
		}
	}
	if g := f.Guard; g != "" && !slices.Contains([]string{"intent", "elsewhere", "question", "tag", "when", "nothing"}, g) {
		return fmt.Errorf("%q: no guard %q", f.ways(), g)
	}
	k.frames = append(k.frames, fr)
	for _, p := range fr.say {
		learn(p, k.known)
	}
	return nil
}
