package intents

import (
	"math"

	"callout/catalogue"
)

// halfPair is one number said of a dual capacitor: "forty five" may be one
// section or both.
func (p *Parser) halfPair(rs []catalogue.Reading, qs set) meaning {
	m := meaning{doubt: Incomplete}
	if qs.count() == 1 {
		m.quantity = p.cat.Quantities[qs.first()].ID
	}
	for i, r := range rs {
		m.alternatives = append(m.alternatives, []Item{{Reading: &rs[i]}})
		if ones := math.Mod(r.Value, 10); r.Value == math.Trunc(r.Value) && r.Value > 20 && r.Value < 100 && ones > 0 {
			m.doubt = Ambiguous
			big, small := r, r
			big.Place, small.Place = p.cat.Places[p.tab.pairPlaces[0]].ID, p.cat.Places[p.tab.pairPlaces[1]].ID
			big.Value, small.Value = r.Value-ones, ones
			m.alternatives = append(m.alternatives, []Item{{Reading: &big}, {Reading: &small}})
		}
	}
	return m
}

func (p *Parser) pairItems(q int, sl slots) []Item {
	var out []Item
	for i, said := range [][]float64{sl.vals, sl.second} {
		vals := p.inUnit(q, said, sl)
		if len(vals) != 1 {
			return nil
		}
		out = append(out, Item{Reading: &catalogue.Reading{Quantity: p.cat.Quantities[q].ID,
			Place: p.cat.Places[p.tab.pairPlaces[i]].ID, Value: vals[0], Unit: p.cat.Quantities[q].Unit}})
	}
	return out
}

func (p *Parser) pairMeaning(alts [][]Item, qs set) meaning {
	m := meaning{alternatives: alts}
	if qs.count() == 1 {
		m.quantity = p.cat.Quantities[qs.first()].ID
	}
	switch {
	case len(alts) == 0:
		m.doubt = Incomplete
	case len(alts) > 1, alts[0][0].Reading.Value <= alts[0][1].Reading.Value: // the compressor's section is the larger
		m.doubt = Ambiguous
	case !p.cat.Plausible(*alts[0][0].Reading) || !p.cat.Plausible(*alts[0][1].Reading):
		m.doubt = Implausible
	}
	return m
}
