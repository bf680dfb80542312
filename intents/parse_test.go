package intents

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

func contexts(p *Parser) []Context {
	last := &catalogue.Reading{Quantity: "capacitance", Place: "herm", Value: 40, Unit: "uF"}
	return []Context{
		{},
		{Open: &Asked{Quantity: "current", Place: "compressor_common"}, Last: last},
		{Open: &Asked{Quantity: "capacitor_look", Place: "capacitor"}},
		{Open: &Asked{Candidates: []Item{{Reading: last}, {Reading: &catalogue.Reading{Quantity: "rated_capacitance", Place: "herm", Value: 40, Unit: "uF"}}}}},
		{Open: &Asked{Quantity: "no_such", Place: "nowhere"}, Last: &catalogue.Reading{Quantity: "no_such"}},
	}
}

// sound checks what must hold for any text at all.
func sound(t require.TestingT, p *Parser, text string, ctx Context) {
	r := p.Parse(text, ctx)
	items := append([]Item{}, r.Items...)
	for _, d := range r.Doubts {
		require.NotEmpty(t, d.Kind)
		require.True(t, 0 <= d.Start && d.Start <= d.End && d.End <= len(text))
		require.Equal(t, text[d.Start:d.End], d.Said)
		items = append(items, d.Candidates...)
	}
	for _, it := range r.Items {
		require.True(t, 0 <= it.Start && it.Start < it.End && it.End <= len(text))
		if it.Reading != nil && it.Command == nil {
			require.True(t, p.cat.Plausible(*it.Reading) || ctx.Open != nil, "%q recorded %v", text, it.Reading)
		}
	}
	for _, it := range items {
		set := 0
		for _, is := range []bool{it.Reading != nil, it.Observation != nil, it.Declaration != "", it.Repair != "", it.Command != nil, it.Note != "", it.Question != nil} {
			if is {
				set++
			}
		}
		require.Equal(t, 1, set, "%q", text)
		if it.Reading != nil && ctx.Open == nil {
			require.NoError(t, p.cat.CheckReading(*it.Reading), "%q", text)
		}
		if it.Observation != nil {
			require.NoError(t, p.cat.CheckObservation(*it.Observation), "%q", text)
		}
	}
	for _, s := range r.Ignored {
		require.Contains(t, text, s)
	}
}

func FuzzParse(f *testing.F) {
	p := newParser(f)
	for _, b := range readBlocks(f, p) {
		f.Add(b.said[0], uint8(0))
		f.Add(b.said[len(b.said)-1], uint8(1))
	}
	f.Add("note", uint8(0))
	f.Add("no no no, not volts \xff\xfe . . ? 1,,2 ½/3 -", uint8(3))
	f.Add(strings.Repeat("forty ", 300), uint8(1))
	all := contexts(p)
	f.Fuzz(func(t *testing.T, text string, k uint8) {
		sound(t, p, text, all[int(k)%len(all)])
	})
}

func TestParserIsSafeForConcurrentUse(t *testing.T) {
	p := newParser(t)
	blocks := readBlocks(t, p)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for _, b := range blocks {
				p.Parse(b.said[0], b.ctx)
			}
		})
	}
	wg.Wait()
}

func TestCandidatesAreAnswered(t *testing.T) {
	p := newParser(t)
	reading := func(v float64) Item {
		return Item{Reading: &catalogue.Reading{Quantity: "current", Place: "fan", Value: v, Unit: "A"}}
	}
	kinds := []Item{
		{Reading: &catalogue.Reading{Quantity: "capacitance", Place: "herm", Value: 40, Unit: "uF"}},
		{Reading: &catalogue.Reading{Quantity: "rated_capacitance", Place: "herm", Value: 40, Unit: "uF"}},
	}
	sections := []Item{
		{Reading: &catalogue.Reading{Quantity: "capacitance", Place: "herm", Value: 5, Unit: "uF"}},
		{Reading: &catalogue.Reading{Quantity: "capacitance", Place: "fan_section", Value: 5, Unit: "uF"}},
	}
	look := []Item{
		{Observation: &catalogue.Observation{Quantity: "contacts", Place: "contactor", Value: "pitted"}},
		{Observation: &catalogue.Observation{Quantity: "connection", Place: "contactor", Value: "burnt"}},
	}
	for _, row := range []struct {
		said  string
		cands []Item
		want  string
	}{
		{"fifteen", []Item{reading(15), reading(50)}, "= current fan 15"},
		{"it's fifty amps", []Item{reading(15), reading(50)}, "= current fan 50"},
		{"rated", kinds, "= rated_capacitance herm 40"},
		{"the label", kinds, "= rated_capacitance herm 40"},
		{"the fan section", sections, "= capacitance fan_section 5"},
		{"herm", sections, "= capacitance herm 5"},
		{"the contacts", look, "= contacts contactor pitted"},
		{"connections", look, "= connection contactor burnt"},
		{"yes", []Item{reading(15)}, "= command yes"},
		{"seventeen", []Item{reading(15), reading(50)}, ""},
	} {
		got := describeResult(p.Parse(row.said, Context{Open: &Asked{Candidates: row.cands}}))
		assert.Equal(t, row.want, strings.Join(got, ";"), row.said)
	}
}

// A catalogue that lacks what the data files speak of is refused, not worked
// round.
func TestNewNamesWhatIsMissing(t *testing.T) {
	whole, err := catalogue.LoadFrom(os.DirFS("testdata/catalogue"))
	require.NoError(t, err)
	_, err = New(whole)
	require.NoError(t, err)
	for lost, want := range map[string]string{
		"resistance": "qualifiers.json: no quantity", "temperature": "implied.json", "rated_capacitance": "implied.json",
		"target_subcooling subcooling": `heard_as.json: "subcooling" is in no phrase`,
	} {
		less := *whole
		less.Quantities = nil
		for _, q := range whole.Quantities {
			if !slices.Contains(strings.Fields(lost), string(q.ID)) {
				less.Quantities = append(less.Quantities, q)
			}
		}
		_, err := New(&less)
		assert.ErrorContains(t, err, want)
	}
}

const twentyWords = "okay compressor amps forty seven nameplate LRA fifty eight and suction one eighteen liquid three fifteen outdoor temp ninety five degrees"

func BenchmarkParse(b *testing.B) {
	p := newParser(b)
	for name, text := range map[string]string{
		"twenty": twentyWords, "chatter": "well I told him that we would be there at five thirty or so and he had three kids with him",
		"short": "Compressor amps 47.", "worst": strings.Repeat("one twenty ", 10),
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				p.Parse(text, Context{})
			}
		})
	}
}

// TestAnotherQuantityDoesNotFillTheOpenOne: whatever is asked for, a reading
// that names its own quantity and place is that, or is asked back.
func TestAnotherQuantityDoesNotFillTheOpenOne(t *testing.T) {
	if testing.Short() {
		t.Skip("a long play: make test has it")
	}
	p := newParser(t)
	n := 0
	for _, open := range p.cat.Quantities {
		if !open.Kind.Numeric() {
			continue
		}
		for _, at := range open.Places {
			ctx := Context{Open: &Asked{Quantity: open.ID, Place: at}}
			for _, q := range p.cat.Quantities {
				if !q.Kind.Numeric() || q.ID == open.ID {
					continue
				}
				for _, pl := range q.Places {
					least, most := q.Range(pl)
					text := fmt.Sprintf("%s %s %s", q.ID, pl, WriteNumber(roundTo(least+.3*(most-least), q.Decimals)))
					for _, it := range p.Parse(text, ctx).Items {
						require.NotNil(t, it.Reading, text)
						require.Equal(t, q.ID, it.Reading.Quantity, "%s with %s at %s open", text, open.ID, at)
						require.Equal(t, pl, it.Reading.Place, "%s with %s at %s open", text, open.ID, at)
						n++
					}
				}
			}
		}
	}
	assert.Greater(t, n, 5000)
}
