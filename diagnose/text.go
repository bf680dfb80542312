package diagnose

import (
	"math"
	"strconv"
	"strings"
)

// amount writes a reading with its unit, "47 A".
func (s *state) amount(t *Test, v float64) string {
	if math.IsInf(v, 1) {
		return "OL"
	}
	q, _ := s.k.cat.Quantity(t.Quantity)
	u, _ := s.k.cat.Unit(q.Unit)
	out := short(v)
	if v != 0 && out == "0" {
		out = strconv.FormatFloat(v, 'g', 2, 64)
	}
	return strings.TrimSpace(out + " " + u.Short)
}

// fill puts the numbers into a template: {v} the reading, {rla} and the like a
// nameplate value, {pct_rla} the reading's share of it, and what text gives.
// A value that stands in for an unknown one is said to.
func (s *state) fill(t *Test, template string, r record, text map[string]string) string {
	var out, notes strings.Builder
	for {
		before, rest, ok := strings.Cut(template, "{")
		out.WriteString(before)
		if !ok {
			break
		}
		name, after, ok := strings.Cut(rest, "}")
		if !ok {
			break
		}
		template = after
		share := strings.TrimPrefix(name, "pct_")
		given, have := text[name]
		switch {
		case have:
			out.WriteString(given)
		case name == "v":
			v := r.value
			if r.qualifier == "open_line" {
				v = math.Inf(1)
			}
			out.WriteString(s.amount(t, v))
		default:
			v, said, known := s.refSaid(share)
			if !known {
				out.WriteString("?")
				break
			}
			if said != "" && !strings.Contains(notes.String(), said) {
				notes.WriteString(" (" + s.k.refs[s.k.refAt[share]].label(s) + " " + said + ")")
			}
			if share != name {
				out.WriteString(strconv.Itoa(int(math.Round(100*r.value/v))) + "%")
				break
			}
			out.WriteString(strings.TrimSpace(short(v) + " " + s.unitOf(share)))
		}
	}
	return out.String() + notes.String()
}

func (s *state) unitOf(id string) string {
	r := s.k.refs[s.k.refAt[id]]
	for r.Quantity == "" && r.From != "" {
		if id == "aux_amps" {
			return "A"
		}
		r = s.k.refs[s.k.refAt[r.From]]
	}
	q, _ := s.k.cat.Quantity(r.Quantity)
	u, _ := s.k.cat.Unit(q.Unit)
	return u.Short
}

// label names a nameplate value in words.
func (r ref) label(s *state) string {
	for r.Quantity == "" && r.From != "" {
		r = s.k.refs[s.k.refAt[r.From]]
	}
	q, _ := s.k.cat.Quantity(r.Quantity)
	return q.Name
}
