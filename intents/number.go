package intents

import "math"

// numClass is the part a token can play in a number.
type numClass uint8

const (
	numNone    numClass = iota
	numDigit            // 0..9, "oh"
	numTeen             // 10..19
	numTens             // 20, 30 … 90
	numTwo              // 21..99, written
	numLiteral          // any other written number
	numHundred
	numThousand
	numMillion
	numPoint
	numAnd
	numA
	numPart    // ½
	numHalf    // "half"
	numQuarter // "quarter"
	numMinus
)

func classOf(n int) numClass {
	switch {
	case n < 10:
		return numDigit
	case n < 20:
		return numTeen
	case n < 100 && n%10 == 0:
		return numTens
	case n < 100:
		return numTwo
	}
	return numLiteral
}

type numberWord struct {
	class numClass
	val   float64
}

var numberWords = func() map[string]numberWord {
	m := map[string]numberWord{
		"oh": {numDigit, 0}, "o": {numDigit, 0}, "nought": {numDigit, 0}, "naught": {numDigit, 0},
		"hundred": {numHundred, 100}, "thousand": {numThousand, 1000}, "million": {numMillion, 1e6}, "k": {numThousand, 1000},
		"point": {numPoint, 0}, "dot": {numPoint, 0}, "and": {numAnd, 0}, "a": {numA, 1}, "an": {numA, 1},
		"half": {numHalf, .5}, "quarter": {numQuarter, .25}, "quarters": {numQuarter, .25},
		"minus": {numMinus, 0}, "negative": {numMinus, 0}, "fourty": {numTens, 40}, "ninty": {numTens, 90},
	}
	for i, w := range smallWords {
		m[w] = numberWord{classOf(i), float64(i)}
	}
	for i, w := range tensWords {
		if w != "" {
			m[w] = numberWord{numTens, float64(10 * i)}
		}
	}
	return m
}()

// number is one way to read a number at a place in the text: the tokens up to
// end can mean any of vals, and nothing else.
type number struct {
	end  int
	vals []float64
	// sound is set where a word that only sounds like a digit was taken for
	// one ("for forty"): never recorded without asking.
	sound bool
}

// numbers reads numbers off tokens.
type numbers []token

func (t numbers) class(i int) numClass {
	if i >= len(t) {
		return numNone
	}
	return t[i].num
}

// joined reports whether token i goes on with what stands before it.
func (t numbers) joined(i int) bool { return i < len(t) && t[i].before <= gapJoin }

// digit reports whether token i is a digit of 0..9.
func (t numbers) digit(i int) bool { return t.class(i) == numDigit }

func (t numbers) named(i int) bool { return t.digit(i) && t[i].val > 0 }

func (t numbers) oh(i int) bool { return t.digit(i) && (t[i].text == "oh" || t[i].text == "o") }

// add puts a reading in the list, merging those with the same end.
func add(list []number, end int, vals ...float64) []number {
	for k := range list {
		if list[k].end == end {
			for _, v := range vals {
				list[k].vals = addValue(list[k].vals, v)
			}
			return list
		}
	}
	return append(list, number{end: end, vals: append([]float64(nil), vals...)})
}

func addValue(list []float64, v float64) []float64 {
	v = tidy(v)
	for _, x := range list {
		if x == v {
			return list
		}
	}
	return append(list, v)
}

// tidy takes off the noise that decimal arithmetic leaves.
func tidy(v float64) float64 {
	if math.Abs(v) < 1e6 {
		return math.Round(v*1e6) / 1e6
	}
	return math.Round(v*100) / 100
}

// two reads a two-digit group: "forty", "forty seven", "eighteen", "47".
func (t numbers) two(i int) (list []number) {
	switch t.class(i) {
	case numTeen, numTwo:
		list = append(list, number{end: i + 1, vals: []float64{t[i].val}})
	case numTens:
		list = append(list, number{end: i + 1, vals: []float64{t[i].val}})
		if t.named(i+1) && t.joined(i+1) {
			list = append(list, number{end: i + 2, vals: []float64{t[i].val + t[i+1].val}})
		}
	}
	return list
}

// groups reads the forms made of digits and two-digit groups: "one eighteen",
// "two oh eight", "twelve thirty four", "one two three", "thirteen four".
func (t numbers) groups(i int) (list []number) {
	if t.digit(i) {
		list = t.digitString(i, list)
		if t.named(i) && t.joined(i+1) {
			for _, g := range t.two(i + 1) {
				list = add(list, g.end, 100*t[i].val+g.vals[0])
			}
			if n := t[i+1]; len(n.digits) == 2 && n.digits[0] == '0' { // "2 08"
				list = add(list, i+2, 100*t[i].val+n.val)
			}
		}
	}
	for _, g := range t.two(i) {
		v, j := g.vals[0], g.end
		list = add(list, j, v)
		if !t.joined(j) {
			continue
		}
		for _, h := range t.two(j) {
			list = add(list, h.end, 100*v+h.vals[0])
		}
		if t.digit(j) && t[j].val == 0 && t.named(j+1) && t.joined(j+1) {
			list = add(list, j+2, 100*v+t[j+1].val) // "twelve oh four"
		}
		if t.named(j) && !(j == i+1 && t.class(i) == numTens) {
			list = add(list, j+1, v+t[j].val/10, 10*v+t[j].val) // "thirteen four"
		}
	}
	return list
}

// digitString reads digit by digit. A leading nought may stand for a point.
func (t numbers) digitString(i int, list []number) []number {
	v, scale := 0.0, 1.0
	for j := i; t.digit(j) && j < i+7 && (j == i || t.joined(j)); j++ {
		v = 10*v + t[j].val
		switch {
		case j == i:
			if !t.oh(i) {
				list = add(list, j+1, v)
			}
			continue
		case t[i].val == 0:
			scale *= 10
			if v == 0 {
				continue // "oh oh" is no number yet
			}
			list = add(list, j+1, v, tidy(v/scale), tidy(v/scale/10))
		default:
			list = add(list, j+1, v)
		}
	}
	return list
}

// hundreds reads what may follow "thousand", and "two hundred and eighteen".
func (t numbers) hundreds(i int) (list []number) {
	head, j := 1.0, i
	switch {
	case t.class(i) == numHundred:
	case t.class(i) == numA, t.named(i), t.class(i) == numLiteral && t[i].val < 1000:
		head, j = t[i].val, i+1
	default:
		for _, g := range t.two(i) {
			list = t.afterHundred(list, g.end, g.vals[0])
		}
		return list
	}
	return t.afterHundred(list, j, head)
}

func (t numbers) afterHundred(list []number, j int, head float64) []number {
	if t.class(j) != numHundred || !t.joined(j) && j > 0 && head != 1 {
		return list
	}
	v := tidy(100 * head)
	list = add(list, j+1, v)
	return t.plusSmall(list, j+1, v)
}

// plusSmall adds "[and] eighteen" to v.
func (t numbers) plusSmall(list []number, j int, v float64) []number {
	if t.class(j) == numAnd && t.joined(j) {
		j++
	}
	if !t.joined(j) {
		return list
	}
	if t.named(j) {
		list = add(list, j+1, v+t[j].val)
	}
	for _, g := range t.two(j) {
		list = add(list, g.end, v+g.vals[0])
	}
	return list
}

// thousands reads "[…] thousand [two hundred [and]] [eighteen]".
func (t numbers) thousands(i int) (list []number) {
	heads := t.hundreds(i)
	switch {
	case t.class(i) == numThousand && t[i].text == "thousand":
		heads = append(heads, number{end: i, vals: []float64{1}})
	case t.class(i) == numA || t.named(i) || t.class(i) == numLiteral && t[i].val < 1000:
		heads = append(heads, number{end: i + 1, vals: []float64{t[i].val}})
	}
	heads = append(heads, t.two(i)...)
	for _, h := range heads {
		j := h.end
		if t.class(j) != numThousand || t[j].text != "thousand" || j > i && !t.joined(j) {
			continue
		}
		v := tidy(1000 * h.vals[0])
		list = add(list, j+1, v)
		list = t.plusSmall(list, j+1, v)
		if t.joined(j + 1) {
			for _, x := range t.hundreds(j + 1) {
				if x.vals[0] < 1000 {
					list = add(list, x.end, v+x.vals[0])
				}
			}
		}
	}
	return list
}

// at lists every number that begins at token i, shortest first or not: each with
// all that it can mean.
func (t numbers) at(i int) []number {
	if i >= len(t) {
		return nil
	}
	switch c := t.class(i); {
	case c == numMinus:
		var out []number
		if !t.joined(i + 1) {
			return nil
		}
		for _, n := range t.unsigned(i + 1) {
			for _, v := range n.vals {
				out = add(out, n.end, 0-v)
			}
		}
		return out
	case c == numNone && i+1 < len(t) && t.joined(i+1):
		d, ok := soundsLike[t[i].text]
		if !ok {
			return nil
		}
		var out []number
		for _, g := range t.two(i + 1) {
			out = append(out, number{end: g.end, vals: []float64{100*d + g.vals[0], g.vals[0]}, sound: true})
		}
		return out
	case c == numNone || c == numAnd:
		return nil
	}
	return t.unsigned(i)
}

// soundsLike are words that a recogniser writes for a digit before a number.
var soundsLike = map[string]float64{"for": 4, "to": 2, "too": 2, "won": 1, "ate": 8}

func (t numbers) unsigned(i int) (list []number) {
	whole := t.groups(i)
	for _, n := range append(t.hundreds(i), t.thousands(i)...) {
		whole = add(whole, n.end, n.vals...)
	}
	if t.class(i) == numLiteral {
		whole = add(whole, i+1, t[i].val)
	}
	for _, n := range whole {
		list = add(list, n.end, n.vals...)
	}
	for _, n := range whole {
		list = t.fraction(list, n.end, n.vals)
	}
	switch {
	case t.oh(i) && t.class(i+1) == numPoint:
		list = t.fraction(list, i+1, []float64{0})
	case t.class(i) == numPoint:
		list = t.fraction(list, i, []float64{0})
	case t.class(i) == numPart || t.class(i) == numHalf:
		list = add(list, i+1, t[i].val)
	case t.class(i) == numA && (t.class(i+1) == numHalf || t.class(i+1) == numQuarter):
		list = add(list, i+2, t[i+1].val)
	}
	if t.digit(i) && t.joined(i+1) {
		switch c := t.class(i + 1); {
		case c == numQuarter && (t[i].val == 1 || t[i].val == 3), c == numHalf && t[i].val == 1:
			list = add(list, i+2, t[i].val*t[i+1].val)
		}
	}
	for _, n := range list {
		list = t.scaled(list, n.end, n.vals)
	}
	if over, ok := t.over(i); ok {
		list = add(list, i+3, over)
	}
	for _, n := range list { // "ten below"
		if n.end < len(t) && t[n.end].text == "below" && len(n.vals) == 1 {
			end := n.end + 1
			if end < len(t) && t[end].num == numDigit && t[end].val == 0 {
				end++
			}
			list = add(list, end, 0-n.vals[0])
		}
	}
	return list
}

// over reads a written fraction such as 3/4.
func (t numbers) over(i int) (float64, bool) {
	if i+2 >= len(t) || t[i+1].text != "/" || t[i].digits == "" || t[i+2].digits == "" {
		return 0, false
	}
	a, b := t[i].val, t[i+2].val
	ok := a > 0 && a < b && a == math.Trunc(a) && (b == 2 || b == 4 || b == 8 || b == 16)
	return a / b, ok
}

// fraction adds "point four", "and a half" and "½" to whole numbers that end at j.
func (t numbers) fraction(list []number, j int, whole []float64) []number {
	if j >= len(t) || t[j].before > gapJoin && !(t.class(j) == numPoint && j > 0 && t[j-1].end == t[j].start) && !(t.class(j) == numPoint && len(whole) == 1 && whole[0] == 0) {
		return list
	}
	if v := whole[len(whole)-1]; v != math.Trunc(v) {
		return list // "5.2.5" is no number
	}
	plus := func(end int, f float64) {
		v := whole[len(whole)-1] // "thirteen four point five" is 134.5
		list = add(list, end, tidy(v+f))
	}
	switch t.class(j) {
	case numPart:
		plus(j+1, t[j].val)
	case numAnd:
		switch {
		case t.class(j+1) == numA && (t.class(j+2) == numHalf || t.class(j+2) == numQuarter):
			plus(j+3, t[j+2].val)
		case t.class(j+2) == numQuarter && t.digit(j+1) && t[j+1].val == 3:
			plus(j+3, .75)
		case t.class(j+1) == numHalf:
			plus(j+2, .5)
		}
	case numLiteral:
		if t[j].digits[0] == '.' { // "13 .4"
			plus(j+1, t[j].val)
		}
	case numPoint:
		f, scale := 0.0, 1.0
		for k := j + 1; k < len(t) && k < j+7 && t.joined(k); k++ {
			switch {
			case t.digit(k):
				f, scale = 10*f+t[k].val, 10*scale
				plus(k+1, f/scale)
				continue
			case k == j+1 && len(t[k].digits) > 0 && t[k].val == math.Trunc(t[k].val): // "13 point 45"
				plus(k+1, t[k].val/math.Pow10(len(t[k].digits)))
			case k == j+1:
				for _, g := range t.two(k) { // "point forty five"
					plus(g.end, g.vals[0]/100)
				}
			}
			break
		}
	}
	return list
}

// scaled adds "k", "thousand" and "million" to numbers that end at j.
func (t numbers) scaled(list []number, j int, vals []float64) []number {
	c := t.class(j)
	if c != numThousand && c != numMillion || !t.joined(j) || len(vals) > 1 {
		return list
	}
	return add(list, j+1, tidy(vals[0]*t[j].val))
}
