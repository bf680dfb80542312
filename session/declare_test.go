package session

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"callout/catalogue"
	"callout/intents"
)

// Whatever step is open, a declaration, a repair and a command in the formal language mean
// what they always mean.
func TestAnOpenStepBendsNothingFormal(t *testing.T) {
	k := knowledge(t)
	var open []intents.Asked
	for _, d := range k.Catalogue.Declarations {
		open = append(open, intents.Asked{Declare: []catalogue.DeclarationID{d.ID}})
	}
	for _, q := range k.Catalogue.Quantities {
		open = append(open, intents.Asked{Quantity: q.ID, Place: q.Places[0]})
	}
	for i := range open {
		ctx := intents.Context{Open: &open[i]}
		for _, d := range k.Catalogue.Declarations {
			r := k.Parser.Parse(d.Spoken[0], ctx)
			if assert.Len(t, r.Items, 1, "%s while %v", d.Spoken[0], open[i]) {
				assert.Equal(t, d.ID, r.Items[0].Declaration, "%s while %v", d.Spoken[0], open[i])
			}
		}
		for _, x := range k.Catalogue.Repairs {
			r := k.Parser.Parse(x.Spoken[0], ctx)
			if assert.Len(t, r.Items, 1, "%s while %v", x.Spoken[0], open[i]) {
				assert.Equal(t, x.ID, r.Items[0].Repair, "%s while %v", x.Spoken[0], open[i])
			}
		}
	}
}
