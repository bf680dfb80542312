package main

import (
	"encoding/json"
	"math"
	"math/rand"
	"regexp"
	"strconv"
	"strings"

	"callout/catalogue"
	"callout/grammar"
	"callout/intents"
)

// callouts samples the written callout language by kind, puts numbers of a likely size
// into it and says it in words. A sentence is kept only if the parser gets the same
// meaning from what is spoken and from what is written.
type callouts struct {
	r      *rand.Rand
	p      *intents.Parser
	g      *grammar.Grammar
	rules  map[string][]string // by kind
	ranges map[string]catalogue.Quantity
}

func newCallouts(r *rand.Rand) (*callouts, error) {
	cat, err := catalogue.Load()
	if err != nil {
		return nil, err
	}
	p, err := intents.New(cat)
	if err != nil {
		return nil, err
	}
	c := &callouts{r: r, p: p, g: p.Grammar(intents.Written), rules: map[string][]string{}, ranges: map[string]catalogue.Quantity{}}
	if err := c.g.Validate(); err != nil {
		return nil, err
	}
	for _, q := range cat.Quantities {
		c.ranges["reading_"+string(q.ID)] = q
	}
	for _, rule := range c.g.Rules {
		kind, _, _ := strings.Cut(rule.Name, "_")
		switch kind {
		case "reading":
			// What is read many times in each call counts threefold.
			times := 1
			if usual[strings.TrimPrefix(rule.Name, "reading_")] {
				times = 3
			}
			for range times {
				c.rules[kind] = append(c.rules[kind], rule.Name)
			}
		case "seen", "declaration", "repair", "command", "answer":
			c.rules[kind] = append(c.rules[kind], rule.Name)
		}
	}
	return c, nil
}

var usual = map[string]bool{"current": true, "voltage": true, "capacitance": true, "resistance": true, "suction_pressure": true,
	"liquid_pressure": true, "temperature": true, "locked_rotor_amps": true, "rated_load_amps": true, "control_voltage": true}

var (
	digits      = regexp.MustCompile(`-?(\d[\d,]*(\.\d+)?|\.\d+)`)
	numberWords = regexp.MustCompile(`(?i)\b(zero|one|two|three|four|five|six|seven|eight|nine|ten)\b`)
	negatives   = regexp.MustCompile(`(^| )-\d`)
	alone       = regexp.MustCompile(`\bi\b`)
	capitals    = regexp.MustCompile(`\b[A-Z]{2,}\b`)
)

// kind chooses among the kinds of callout.
func (c *callouts) kind() string {
	switch x := c.r.Float64(); {
	case x < 0.66:
		return "reading"
	case x < 0.80:
		return "seen"
	case x < 0.88:
		return "declaration"
	case x < 0.91:
		return "repair"
	case x < 0.95:
		return "command"
	}
	return "answer"
}

// next makes one sentence; false where the sample was not to be used.
func (c *callouts) next() (text, bool) {
	kind := c.kind()
	n := 1
	if kind != "command" && kind != "answer" {
		switch x := c.r.Float64(); {
		case x < 0.08:
			n = 3
		case x < 0.36:
			n = 2
		}
	}
	var written, spoken []string
	for i := range n {
		k := kind
		if i > 0 && c.r.Intn(4) == 0 {
			k = "reading"
		}
		w, s, ok := c.one(k)
		if !ok {
			return text{}, false
		}
		written, spoken = append(written, w), append(spoken, s)
	}
	joints, breaths := []string{", ", ", ", ", ", ". ", " and "}, []string{", ", ", ", " ", ". "}
	w, s := written[0], spoken[0]
	for i := 1; i < n; i++ {
		j := joints[c.r.Intn(len(joints))]
		part := written[i]
		if j == ". " {
			part = strings.ToUpper(part[:1]) + part[1:]
		}
		w += j + part
		b := breaths[c.r.Intn(len(breaths))]
		if j == " and " {
			b = " and "
		}
		s += b + spoken[i]
	}
	if kind == "reading" && c.r.Intn(14) == 0 {
		lead := []string{"okay", "so", "and"}[c.r.Intn(3)]
		w, s = lead+", "+w, lead+" "+s
		if lead == "and" {
			w = strings.Replace(w, "and, ", "and ", 1)
		}
	}
	w = strings.ToUpper(w[:1]) + w[1:] + "."
	a, b := c.p.Parse(s, intents.Context{}), c.p.Parse(w, intents.Context{})
	if len(b.Ignored) > 0 && kind != "answer" || len(a.Doubts) == 0 && meaning(a) != meaning(b) || len(a.Doubts) > 0 && len(b.Doubts) == 0 && c.r.Intn(4) > 0 {
		return text{}, false
	}
	return text{Kind: kind, Spoken: s, Written: w}, true
}

// meaning is what was understood, without where.
func meaning(r intents.Result) string {
	var b strings.Builder
	for _, it := range r.Items {
		it.Said, it.Start, it.End = "", 0, 0
		j, _ := json.Marshal(it) // plain data
		b.Write(j)
	}
	return b.String()
}

// one samples a callout of a kind, as written and as spoken.
func (c *callouts) one(kind string) (written, spoken string, ok bool) {
	list := c.rules[kind]
	rule := list[c.r.Intn(len(list))]
	g := *c.g
	g.Start = rule
	// The grammar takes every optional word half of the time; people leave most out.
	s := strings.TrimSpace(g.Sample(c.r))
	for n := c.r.Intn(4); n > 0; n-- {
		if other := strings.TrimSpace(g.Sample(c.r)); digits.MatchString(other) == digits.MatchString(s) && len(other) < len(s) {
			s = other
		}
	}
	if s == "" || strings.Contains(s, "/") || numberWords.MatchString(s) && kind != "seen" && kind != "declaration" && kind != "command" {
		return "", "", false
	}
	negative := strings.Contains(s, "-") && negatives.MatchString(s) || strings.Contains(s, "minus") || strings.Contains(s, "negative")
	if kind == "reading" && (!digits.MatchString(s) || negative) && c.r.Intn(5) > 0 {
		return "", "", false
	}
	s = strings.ReplaceAll(s, "°f", " degrees")
	s = strings.ReplaceAll(s, "°c", " degrees")
	s = strings.ReplaceAll(s, "°", " degrees")
	var aloud strings.Builder
	var put strings.Builder
	at := 0
	for _, m := range digits.FindAllStringIndex(s, -1) {
		old := s[m[0]:m[1]]
		// Letters glued to a digit name a terminal or a refrigerant: the number stays.
		named := m[0] > 0 && isLetter(s[m[0]-1])
		v, err := strconv.ParseFloat(strings.ReplaceAll(old, ",", ""), 64)
		if err != nil {
			return "", "", false
		}
		if !named && (kind == "reading" || kind == "answer" || kind == "command") {
			v = c.number(rule, v < 0)
			old = intents.WriteNumber(v)
		}
		put.WriteString(s[at:m[0]] + old)
		aloud.WriteString(s[at:m[0]] + " " + say(v, c.r) + " ")
		at = m[1]
	}
	put.WriteString(s[at:])
	aloud.WriteString(s[at:])
	spoken = capitals.ReplaceAllStringFunc(aloud.String(), func(w string) string { return strings.Join(strings.Split(w, ""), " ") })
	spoken = strings.Join(strings.Fields(strings.NewReplacer(".", " ", "-", " ", " ,", ",").Replace(spoken)), " ")
	spoken = strings.ReplaceAll(spoken, " ,", ",")
	return alone.ReplaceAllString(strings.Join(strings.Fields(put.String()), " "), "I"), spoken, true
}

func isLetter(b byte) bool { return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' }

// number draws a value of the size that the quantity has, mostly evenly over its
// logarithm: the ear is to learn every number, not the likely ones.
func (c *callouts) number(rule string, negative bool) float64 {
	lo, hi, decimals := 0.1, 900.0, 1
	if q, ok := c.ranges[rule]; ok {
		hi, decimals = math.Min(q.Max, 12000), int(q.Decimals)
		lo = math.Max(math.Max(q.Min, hi/400), math.Pow(10, -float64(decimals)))
		if negative {
			lo, hi = 1, 30
		}
	}
	v := lo * math.Pow(hi/lo, c.r.Float64())
	if c.r.Intn(3) == 0 {
		v = lo + (math.Min(hi, 500)-lo)*c.r.Float64()
	}
	places := 0
	switch x := c.r.Float64(); {
	case decimals >= 2 && v < 10 && x < 0.3:
		places = 2
	case decimals >= 1 && v < 100 && x < 0.65 || decimals >= 1 && x < 0.1 || v < 1:
		places = 1
	}
	scale := math.Pow(10, float64(places))
	v = math.Max(1, math.Round(v*scale)) / scale
	// What is in the thousands is mostly read in round numbers, and "two five zero zero" has
	// to be taught, or it is heard as 250.
	switch x := c.r.Float64(); {
	case v >= 1000 && x < 0.7:
		v = math.Round(v/100) * 100
	case v >= 1000 && x < 0.9, v >= 100 && x < 0.2:
		v = math.Round(v/10) * 10
	}
	if negative {
		v = -v
	}
	return v
}

// say chooses a way to say a number: mostly the plainest, often the short form of
// hundreds ("one eighteen"), now and then any; of thousands more often any.
func say(v float64, r *rand.Rand) string {
	var ways []string
	for _, w := range intents.SayNumber(v) {
		if !strings.HasSuffix(w, " k") {
			ways = append(ways, w)
		}
	}
	x := r.Float64()
	if a := math.Abs(v); a >= 110 && a < 1000 && x < 0.45 {
		for _, w := range ways {
			if !strings.Contains(w, "hundred") && len(strings.Fields(w)) <= 3+2*strings.Count(w, "point") {
				return w
			}
		}
	}
	if x < 0.75 && !(math.Abs(v) >= 1000 && x < 0.6) {
		return ways[0]
	}
	return ways[r.Intn(len(ways))]
}
