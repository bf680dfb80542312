package session

import (
	"math"

	"callout/diagnose"
	"callout/joblog"
)

// limitKey says which reading a limit is for.
type limitKey struct {
	entry           uint64
	quantity, place string
}

func keyOf(x joblog.Expected) limitKey { return limitKey{x.Entry, x.Quantity, x.Place} }

// newLimits are the limits that the findings so far were held against, without
// those that the log tells already.
func (c *Call) newLimits(a diagnose.Assessment) []joblog.Expected {
	var out []joblog.Expected
	for _, f := range a.Findings {
		l, ok := c.job.Limits(f.Test)
		if !ok {
			continue
		}
		x := joblog.Expected{Quantity: string(l.Quantity), Place: string(l.Place), Low: limit(l.Low), High: limit(l.High),
			Unit: string(l.Unit), Source: l.Source, Entry: f.Seq / eventsPerEntry}
		if told, ok := c.limits[keyOf(x)]; !ok || !equal(told.Low, x.Low) || !equal(told.High, x.High) {
			out = append(out, x)
		}
	}
	return out
}

// limit is an end of an interval; one at infinity is open.
func limit(v float64) *float64 {
	if math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func equal(a, b *float64) bool { return a == b || a != nil && b != nil && *a == *b }
