package intents

import (
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// readWhole returns all that the whole text can mean as one number.
func readWhole(text string) []float64 {
	toks, _ := scan(text, nil)
	for _, n := range numbers(toks).at(0) {
		if n.end == len(toks) {
			return n.vals
		}
	}
	return nil
}

// The plain words of English numerals, and the short forms heard at work.
func TestNumbersSaid(t *testing.T) {
	for said, want := range map[string][]float64{
		"forty seven": {47}, "47": {47}, "thirteen point four": {13.4}, "13.4": {13.4}, "13 point 4": {13.4},
		"two oh eight": {208}, "two-oh-eight": {208}, "2 oh 8": {208}, "2-08": {208}, "two zero eight": {208},
		"a hundred and ten": {110}, "hundred ten": {110}, "one twenty": {120}, "one eighteen": {118}, "1-18": {118}, "1 18": {118},
		"point five": {.5}, ".5": {.5}, "zero point five": {.5}, "oh point five": {.5}, "half": {.5}, "a half": {.5}, "½": {.5}, "3/4": {.75},
		"minus ten": {-10}, "-10": {-10}, "negative ten": {-10}, "ten below": {-10}, "ten below zero": {-10},
		"four point seven k": {4700}, "4.7k": {4700}, "four k": {4000}, "twelve hundred": {1200}, "1,200": {1200},
		"one two one eight": {1218}, "four and a half": {4.5}, "4½": {4.5}, "four and three quarters": {4.75}, "three quarters": {.75},
		"one thousand two hundred and thirty four": {1234}, "twelve thirty four": {1234}, "twelve oh four": {1204},
		"twenty million": {20e6}, "1.2 million": {1.2e6}, "two hundred k": {200e3}, "point oh five": {.05}, "thirteen point forty five": {13.45},
		"thirteen four": {13.4, 134}, "47 5": {47.5, 475}, "oh five": {5, .5, .05}, "forty forty seven": {4047},
		"one oh five": {105}, "nineteen hundred": {1900}, "forty seven.": {47}, "one hundred twenty one point six": {121.6},
		"for forty": {440, 40}, "to 95": {295, 95},
		"oh": nil, "and": nil, "point": nil, "forty point": nil, "hundred hundred": nil, "one, eighteen": nil, "5:30": nil, "45/5": nil,
		"5.2.5": nil, "5.2 and a half": nil, "5.2 point 5": nil,
	} {
		assert.ElementsMatch(t, want, readWhole(said), said)
	}
}

// Every number from 0 to 9999.9, in every way it can be said, reads back; a way
// that can mean two numbers reads back as both.
func TestNumbersRoundTrip(t *testing.T) {
	step := 1
	if testing.Short() {
		step = 37
	}
	ways, several := 0, 0
	for tenths := 0; tenths <= 99999; tenths += step {
		v := float64(tenths) / 10
		said := SayNumber(v)
		require.NotEmpty(t, said)
		for _, s := range append(said, WriteNumber(v)) {
			got := readWhole(s)
			if !assert.Contains(t, got, v, s) {
				return
			}
			ways++
			if len(got) > 1 {
				several++
			}
		}
	}
	t.Logf("%d sayings, %d of them with more than one meaning", ways, several)
	assert.Less(t, several, ways/50)
}

func TestSayNumberBeyondTenths(t *testing.T) {
	r := rand.New(rand.NewSource(1))
	for range 20000 {
		v := math.Round(math.Pow(10, 9*r.Float64()-3)*1e4) / 1e4
		if r.Intn(4) == 0 {
			v = -v
		}
		for _, s := range SayNumber(v) {
			require.Contains(t, readWhole(s), v, s)
		}
	}
	assert.Empty(t, SayNumber(math.NaN()))
	assert.Empty(t, SayNumber(math.Inf(1)))
}

func FuzzNumbers(f *testing.F) {
	for _, s := range []string{"one two hundred point point k", "0.0.0", "minus minus", "1/2/4", "a a half", "for for to two"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		toks, rest := scan(text, nil)
		require.LessOrEqual(t, rest, len(text))
		last := 0
		for i, tok := range toks {
			require.LessOrEqual(t, last, tok.start)
			require.LessOrEqual(t, tok.start, tok.end)
			last = tok.start
			for _, n := range numbers(toks).at(i) {
				require.Greater(t, n.end, i)
				require.LessOrEqual(t, n.end, len(toks))
				require.NotEmpty(t, n.vals)
				for _, v := range n.vals {
					require.False(t, math.IsNaN(v) || math.IsInf(v, 0), strings.ToValidUTF8(text, "?"))
				}
			}
		}
	})
}
