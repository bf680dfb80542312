package hearing

import (
	"callout/catalogue"
	"callout/intents"
)

// Expectation is what is known of an utterance before it is heard. The zero value expects
// nothing.
type Expectation struct {
	Context intents.Context // what is open, for the parser
	// Reading is the reading that the engine expects next, nil if none or if nothing is
	// known of its value.
	Reading  *ExpectedReading
	Question bool // one is open that yes or no answers
}

// ExpectedReading is a reading and the span in which its value is expected, in the unit of
// the catalogue.
type ExpectedReading struct {
	Quantity  catalogue.QuantityID
	Place     catalogue.PlaceID
	Low, High float64
}

// surprise is how much less likely a reading outside of what the engine expects is held,
// in nats. It is small, and a floor: one in seven is as unlikely as anything gets, so that
// a surprise is still heard, and asked back.
const surprise = 2

// against is what speaks against items before they are heard, in nats.
func (x Expectation) against(list []intents.Item) float64 {
	want := x.Reading
	if want == nil {
		return 0
	}
	for _, it := range list {
		r := it.Reading
		if r != nil && r.Quantity == want.Quantity && r.Place == want.Place && r.Qualifier == "" && (r.Value < want.Low || r.Value > want.High) {
			return surprise
		}
	}
	return 0
}

// pointless reports whether all that items say is yes or no, with no question open.
func (x Expectation) pointless(list []intents.Item) bool {
	for _, it := range list {
		if it.Command == nil || it.Command.Command != "yes" && it.Command.Command != "no" {
			return false
		}
	}
	return !x.Question
}
