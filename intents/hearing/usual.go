package hearing

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"

	"callout/catalogue"
	"callout/intents"
)

//go:embed data/usual.json
var usualData []byte

// usual is what readings usually are, for weighing what was heard.
type usual map[usualAt]usualRange

type usualAt struct {
	quantity catalogue.QuantityID
	place    catalogue.PlaceID
}

// usualRange is what one quantity usually is, in the catalogue's unit.
type usualRange struct {
	Quantity catalogue.QuantityID `json:"quantity"`
	Places   []catalogue.PlaceID  `json:"places"` // none: all that the quantity has
	Spans    [][2]float64         `json:"spans"`  // least and most of each
	Step     float64              `json:"step"`   // what values are multiples of; 0: any
	Why      string               `json:"why"`
}

// unusual is how much less likely a reading that is not usual is held, in nats: no more than
// what the engine doesn't expect, so that one that is heard clearly is recorded, and another
// is asked back. Faults make unusual readings.
const unusual = surprise

func loadUsual(data []byte, c *catalogue.Catalogue) (usual, error) {
	var file struct {
		Note   string       `json:"note"`
		Ranges []usualRange `json:"ranges"`
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return nil, fmt.Errorf("hearing: usual.json: %w", err)
	}
	u := usual{}
	for _, r := range file.Ranges {
		q, ok := c.Quantity(r.Quantity)
		if !ok || !q.Kind.Numeric() {
			return nil, fmt.Errorf("hearing: usual.json: %q is no quantity with numbers", r.Quantity)
		}
		places := r.Places
		if len(places) == 0 {
			places = q.Places
		}
		for _, p := range places {
			low, high := q.Range(p)
			if _, twice := u[usualAt{q.ID, p}]; twice || !q.HasPlace(p) {
				return nil, fmt.Errorf("hearing: usual.json: %s at %q is there twice, or is not taken there", q.ID, p)
			}
			for i, s := range r.Spans {
				if s[0] > s[1] || s[0] < low || s[1] > high || i > 0 && s[0] <= r.Spans[i-1][1] {
					return nil, fmt.Errorf("hearing: usual.json: %s at %q: %g to %g is no part of %g to %g, or not in order", q.ID, p, s[0], s[1], low, high)
				}
			}
			if len(r.Spans) == 0 {
				return nil, fmt.Errorf("hearing: usual.json: %s at %q has no spans", q.ID, p)
			}
			u[usualAt{q.ID, p}] = r
		}
	}
	return u, nil
}

// has reports whether a reading is a usual one. What is not listed is.
func (u usual) has(r catalogue.Reading) bool {
	known, ok := u[usualAt{r.Quantity, r.Place}]
	if !ok || r.Qualifier == catalogue.OpenLine || r.Qualifier == catalogue.Nothing {
		return true
	}
	if known.Step > 0 && math.Abs(math.Remainder(r.Value, known.Step)) > 1e-6 {
		return false
	}
	for _, s := range known.Spans {
		if r.Value >= s[0] && r.Value <= s[1] {
			return true
		}
	}
	return false
}

// against is what speaks against readings that are not usual, in nats.
func (u usual) against(list []intents.Item) (nats float64) {
	for _, it := range list {
		if it.Reading != nil && !u.has(*it.Reading) {
			nats += unusual
		}
	}
	return nats
}

// noughtLost reports whether a reading may have lost a nought: "two five zero zero" is
// heard as 250, as surely as anything. It is so where ten times as much is usual too; of
// what has no usual range nothing is known.
func (u usual) noughtLost(list []intents.Item) bool {
	for _, it := range list {
		r := it.Reading
		if r == nil || r.Value < 100 || r.Value >= 1000 || math.Mod(r.Value, 10) != 0 {
			continue
		}
		tenfold := *r
		tenfold.Value *= 10
		if _, known := u[usualAt{r.Quantity, r.Place}]; known && u.has(tenfold) {
			return true
		}
	}
	return false
}
