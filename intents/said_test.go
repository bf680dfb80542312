package intents

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
)

func newParser(t testing.TB) *Parser {
	t.Helper()
	c, err := catalogue.Load()
	require.NoError(t, err)
	p, err := New(c)
	require.NoError(t, err)
	return p
}

// describe writes an item as the tables in testdata/said do.
func describe(it Item) string {
	switch {
	case it.Reading != nil:
		r := it.Reading
		s := fmt.Sprintf("%s %s %s", r.Quantity, r.Place, strconv.FormatFloat(r.Value, 'f', -1, 64))
		if r.Qualifier != "" {
			s += " " + string(r.Qualifier)
		}
		return s
	case it.Observation != nil:
		return fmt.Sprintf("%s %s %s", it.Observation.Quantity, it.Observation.Place, it.Observation.Value)
	case it.Declaration != "":
		return "declare " + string(it.Declaration)
	case it.Repair != "":
		return "repair " + string(it.Repair)
	case it.Command != nil:
		s := "command " + string(it.Command.Command)
		if it.Command.Number != nil {
			s += " " + strconv.FormatFloat(*it.Command.Number, 'f', -1, 64)
		}
		return s
	case it.Note != "":
		return "note " + it.Note
	case it.Question != nil:
		return "ask " + it.Question.String()
	}
	return "nothing"
}

func describeAll(list []Item) string {
	var out []string
	for _, it := range list {
		out = append(out, describe(it))
	}
	return strings.Join(out, " | ")
}

// describeResult lists what is recorded (=) and asked (?), and nothing else.
func describeResult(r Result) (out []string) {
	for _, it := range r.Items {
		out = append(out, "= "+describe(it))
	}
	for _, d := range r.Doubts {
		out = append(out, strings.TrimSpace("? "+d.Kind+" "+describeAll(d.Candidates)))
	}
	return out
}

// block is some spellings of one meaning.
type block struct {
	file    string
	line    int
	ctx     Context
	said    []string
	meaning []string
}

// readBlocks reads the tables: a blank line ends a block; "=" is recorded, "?" is
// asked back, "~" is neither; "@open quantity place", "@where quantity" and "@last quantity place
// value" set the context.
func readBlocks(t testing.TB, p *Parser) (out []block) {
	t.Helper()
	files, err := filepath.Glob("testdata/said/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		raw, err := os.ReadFile(f)
		require.NoError(t, err)
		b := block{file: filepath.Base(f)}
		for i, line := range append(strings.Split(string(raw), "\n"), "") {
			line = strings.TrimSpace(line)
			switch {
			case strings.HasPrefix(line, "#"):
			case line == "":
				if len(b.said) > 0 {
					require.NotEmpty(t, b.meaning, "%s:%d has no meaning", f, b.line)
					out = append(out, b)
				}
				b = block{file: filepath.Base(f)}
			case line[0] == '@':
				w := strings.Fields(line)
				q, ok := p.cat.Quantity(catalogue.QuantityID(w[1]))
				require.True(t, ok, line)
				switch w[0] {
				case "@open":
					b.ctx.Open = &Asked{Quantity: q.ID, Place: catalogue.PlaceID(w[2])}
				case "@where":
					b.ctx.Open = &Asked{Quantity: q.ID, Where: true}
				case "@last":
					v, err := strconv.ParseFloat(w[3], 64)
					require.NoError(t, err)
					b.ctx.Last = &catalogue.Reading{Quantity: q.ID, Place: catalogue.PlaceID(w[2]), Value: v, Unit: q.Unit}
				default:
					require.Fail(t, "no such context", line)
				}
			case strings.HasPrefix(line, "= ") || line[0] == '?':
				b.meaning = append(b.meaning, line)
			case line == "~":
				b.meaning = append(b.meaning, line)
			default:
				require.Empty(t, b.meaning, "%s:%d: words after the meaning", f, i+1)
				if len(b.said) == 0 {
					b.line = i + 1
				}
				b.said = append(b.said, line)
			}
		}
	}
	return out
}

// A "?" line without candidates asks only for the kind of doubt.
func TestSaid(t *testing.T) {
	p := newParser(t)
	n := 0
	for _, b := range readBlocks(t, p) {
		for _, said := range b.said {
			n++
			r := p.Parse(said, b.ctx)
			got := describeResult(r)
			if len(b.meaning) == 1 && b.meaning[0] == "~" {
				assert.Empty(t, got, "%s:%d: %s", b.file, b.line, said)
				assert.NotEmpty(t, r.Ignored, said)
				continue
			}
			for i := range got {
				if i < len(b.meaning) && len(strings.Fields(b.meaning[i])) == 2 && strings.HasPrefix(got[i], b.meaning[i]) {
					got[i] = b.meaning[i]
				}
			}
			assert.Equal(t, b.meaning, got, "%s:%d: %s", b.file, b.line, said)
			for _, it := range r.Items {
				assert.Equal(t, said[it.Start:it.End], it.Said)
				if it.Reading != nil {
					assert.NoError(t, p.cat.CheckReading(*it.Reading), said)
				}
				if it.Observation != nil {
					assert.NoError(t, p.cat.CheckObservation(*it.Observation), said)
				}
			}
		}
	}
	t.Logf("%d sayings", n)
}

// Every quantity at every place with a number from its range, with each of its
// qualifiers or choices, typed as the ids are spelled, is read back as it is.
func TestEveryCatalogueCallout(t *testing.T) {
	p := newParser(t)
	n := 0
	check := func(text, want string) {
		n++
		assert.Equal(t, []string{"= " + want}, describeResult(p.Parse(text, Context{})), text)
	}
	for _, q := range p.cat.Quantities {
		for _, pl := range q.Places {
			for _, v := range q.Values {
				check(fmt.Sprintf("%s %s %s", q.ID, pl, v.ID), fmt.Sprintf("%s %s %s", q.ID, pl, v.ID))
			}
			if !q.Kind.Numeric() {
				continue
			}
			least, most := q.Range(pl)
			for _, share := range []float64{0, .25, .5, .77, 1} {
				v := WriteNumber(max(least, roundTo(least+share*(most-least), q.Decimals)))
				want := fmt.Sprintf("%s %s %s", q.ID, pl, v)
				check(fmt.Sprintf("%s %s %s", q.ID, pl, v), want)
				check(fmt.Sprintf("%s %s %s", idWords(string(q.ID)), idWords(string(pl)), v), want)
				unit, _ := p.cat.Unit(q.Unit)
				check(fmt.Sprintf("%s %s %s %s", q.ID, pl, v, unit.Name), want)
				if !strings.ContainsAny(string(q.Unit), "_'.") { // as a program writes it, in UCUM
					check(fmt.Sprintf("%s %s %s %s", q.ID, pl, v, q.Unit), want)
				}
			}
			for _, k := range q.Qualifiers {
				switch k {
				case catalogue.OpenLine:
					check(fmt.Sprintf("%s %s OL", q.ID, pl), fmt.Sprintf("%s %s 0 open_line", q.ID, pl))
				case catalogue.Nothing:
					check(fmt.Sprintf("%s %s nothing", q.ID, pl), fmt.Sprintf("%s %s 0 nothing", q.ID, pl))
				case catalogue.Unsteady:
					v := WriteNumber(roundTo(least+.3*(most-least), q.Decimals))
					check(fmt.Sprintf("%s %s unsteady %s", q.ID, pl, v), fmt.Sprintf("%s %s %s unsteady", q.ID, pl, v))
				}
			}
		}
		for _, v := range q.Values {
			for pl, list := range v.Alone {
				for _, s := range list {
					check(s, fmt.Sprintf("%s %s %s", q.ID, pl, v.ID))
				}
			}
		}
	}
	for _, d := range p.cat.Declarations {
		for _, s := range d.Spoken {
			check(s, "declare "+string(d.ID))
		}
	}
	for _, r := range p.cat.Repairs {
		check(string(r.ID), "repair "+string(r.ID))
		for _, s := range r.Spoken {
			check(s, "repair "+string(r.ID))
		}
	}
	for _, c := range p.cat.Commands {
		if c.Argument == "" {
			check(string(c.ID), "command "+string(c.ID))
			for _, s := range c.Spoken {
				check(s, "command "+string(c.ID))
			}
		}
	}
	t.Logf("%d callouts", n)
}

func roundTo(v float64, decimals int) float64 {
	f := []float64{1, 10, 100}[min(decimals, 2)]
	return float64(int(v*f)) / f
}
