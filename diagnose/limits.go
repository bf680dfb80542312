package diagnose

import (
	"math"

	"callout/catalogue"
)

// Limits is the interval in which a test's reading lies on a healthy unit at
// work. An end at infinity is open.
type Limits struct {
	Quantity  catalogue.QuantityID
	Place     catalogue.PlaceID
	Low, High float64 // in the quantity's unit
	Unit      catalogue.UnitID
	Source    string
}

// Limits gives the limits that a finding of the test was held against; ok is
// false for a test that is not of one number, and where the nameplate value
// that they hang on is not known.
func (j *Job) Limits(id TestID) (l Limits, ok bool) {
	for i := range j.k.tests {
		t := &j.k.tests[i]
		if t.ID != id {
			continue
		}
		q, known := j.k.cat.Quantity(t.Quantity)
		if !known || !q.Kind.Numeric() || t.Value != "" && t.Value != "capacitance" {
			return Limits{}, false
		}
		rated := 0.0
		if t.Value == "capacitance" {
			if rated, known = j.state.ref(t.Refs[0]); !known {
				return Limits{}, false
			}
		}
		edge := func(class int) (float64, bool) {
			if class < 0 {
				return math.Inf(-1), true
			}
			end, known := j.state.end(t, class)
			if t.Value == "capacitance" && !math.IsInf(end, 0) {
				end = rated * (1 + end/100)
			}
			return end, known
		}
		usual := j.k.model.usual[i]
		low, known := edge(usual - 1)
		high, also := edge(usual)
		if !known || !also || math.IsInf(low, 0) && math.IsInf(high, 0) {
			return Limits{}, false
		}
		return Limits{Quantity: t.Quantity, Place: t.Place, Low: low, High: high, Unit: q.Unit, Source: t.Source}, true
	}
	return Limits{}, false
}

// Usual is the interval of a quantity at a place on a healthy unit at work, by the first
// test that has one; ok is false where the unit's own data would be needed. An end at
// infinity is open.
func (j *Job) Usual(q catalogue.QuantityID, p catalogue.PlaceID) (low, high float64, ok bool) {
	for _, t := range j.k.tests {
		if t.Quantity != q || t.Place != p {
			continue
		}
		if l, known := j.Limits(t.ID); known {
			return l.Low, l.High, true
		}
	}
	return 0, 0, false
}
