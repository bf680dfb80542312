package intents

import (
	"math"
	"strconv"
	"strings"
)

var smallWords = [20]string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
	"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"}

var tensWords = [10]string{2: "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}

// SayNumber lists the ways to say v, the plainest first: v is rounded to four
// decimals; the list is empty beyond a hundred million either way and for what
// is over a million and no whole number of millions. Every way reads back as v,
// alone or among its other meanings.
func SayNumber(v float64) []string {
	v = math.Round(v*1e4) / 1e4
	if math.IsNaN(v) || math.Abs(v) >= 1e8 {
		return nil
	}
	if v < 0 {
		var out []string
		for _, s := range SayNumber(-v) {
			out = append(out, "minus "+s, "negative "+s)
		}
		return out
	}
	whole := int(v)
	decimals := ""
	if _, after, ok := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), "."); ok {
		decimals = after
	}
	ways := sayWhole(whole)
	if decimals != "" {
		ways = sayDecimal(whole, decimals, ways)
	}
	if v >= 1000 && v < 1e6 && math.Mod(math.Round(v*1e4), 1e6) == 0 {
		for _, s := range SayNumber(v / 1000) {
			if !strings.Contains(s, "thousand") && !strings.Contains(s, " oh ") {
				ways = append(ways, s+" k")
			}
		}
	}
	return unique(ways)
}

// digitsOf names each digit: once with "zero", once with "oh".
func digitsOf(s string) []string {
	var zero, oh []string
	for _, c := range s {
		w := smallWords[c-'0']
		zero = append(zero, w)
		if c == '0' {
			w = "oh"
		}
		oh = append(oh, w)
	}
	return unique([]string{strings.Join(zero, " "), strings.Join(oh, " ")})
}

func sayDecimal(whole int, decimals string, ways []string) []string {
	var after []string
	after = append(after, digitsOf(decimals)...)
	if n, _ := strconv.Atoi(decimals); len(decimals) == 2 && n >= 10 {
		after = append(after, sayTwo(n))
	}
	var out []string
	for _, w := range ways {
		for _, d := range after {
			out = append(out, w+" point "+d)
		}
	}
	if whole == 0 {
		for _, d := range after {
			out = append(out, "point "+d, "oh point "+d)
		}
	}
	part := map[string][]string{"5": {"a half", "half"}, "25": {"a quarter"}, "75": {"three quarters"}}[decimals]
	for _, p := range part {
		if whole == 0 {
			out = append(out, p)
		}
		for _, w := range ways {
			if whole > 0 {
				out = append(out, w+" and "+p)
			}
		}
	}
	return out
}

// sayTwo names 0..99.
func sayTwo(n int) string {
	if n < 20 {
		return smallWords[n]
	}
	if n%10 == 0 {
		return tensWords[n/10]
	}
	return tensWords[n/10] + " " + smallWords[n%10]
}

func sayWhole(n int) []string {
	if n < 10 {
		return []string{sayTwo(n)}
	}
	var out []string
	switch {
	case n < 100:
		out = append(out, sayTwo(n))
	case n < 1000:
		out = append(out, hundredForms(n)...)
		if rest := n % 100; rest >= 10 {
			out = append(out, smallWords[n/100]+" "+sayTwo(rest)) // "one eighteen"
		}
	default:
		out = append(out, thousandForms(n)...)
		if n < 10000 && n%1000 != 0 && n/100%10 != 0 {
			head := sayTwo(n / 100)
			out = append(out, plus(head+" hundred", n%100)...) // "twelve hundred"
			switch rest := n % 100; {
			case rest >= 10:
				out = append(out, head+" "+sayTwo(rest)) // "twelve thirty four"
			case rest > 0:
				out = append(out, head+" oh "+smallWords[rest])
			}
		}
	}
	if n < 1000000 {
		out = append(out, digitsOf(strconv.Itoa(n))...)
	}
	return out
}

func hundredForms(n int) []string {
	out := plus(smallWords[n/100]+" hundred", n%100)
	if n/100 == 1 {
		out = append(out, plus("a hundred", n%100)...)
	}
	return out
}

// plus adds a rest below a hundred, without and with "and".
func plus(head string, rest int) []string {
	if rest == 0 {
		return []string{head}
	}
	return []string{head + " " + sayTwo(rest), head + " and " + sayTwo(rest)}
}

func thousandForms(n int) []string {
	if n >= 1000000 {
		if n%1000000 == 0 {
			return []string{sayTwo(n/1000000) + " million"}
		}
		return nil
	}
	head := sayWhole(n / 1000)[0]
	heads := []string{head + " thousand"}
	if n/1000 == 1 {
		heads = append(heads, "a thousand")
	}
	var out []string
	for _, h := range heads {
		if rest := n % 1000; rest < 100 {
			out = append(out, plus(h, rest)...)
		} else {
			for _, w := range plus(smallWords[rest/100]+" hundred", rest%100) {
				out = append(out, h+" "+w)
			}
		}
	}
	return out
}

// WriteNumber writes v in digits as a recogniser would.
func WriteNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}

func unique(list []string) []string {
	seen := make(map[string]bool, len(list))
	out := list[:0:0]
	for _, s := range list {
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	return out
}
