package session

import (
	"callout/intents/hearing"
	"callout/joblog"
)

// FromEar is the utterance that an ear heard.
func FromEar(h hearing.Heard) Utterance {
	u := Utterance{At: h.At, Source: joblog.Speech, Text: h.Text, Certainty: h.Certainty, LogLikelihood: h.LogLikelihood,
		Engine: h.Engine, Duration: h.Duration, Sound: h.Sound}
	for _, a := range h.Alternatives {
		u.Alternatives = append(u.Alternatives, joblog.Alternative(a))
	}
	return u
}

// Expectation is what the ear should know before the next utterance.
func (c *Call) Expectation() hearing.Expectation {
	x := hearing.Expectation{Context: c.context(), Question: c.asked() != nil}
	q, p := c.Expects()
	if low, high, ok := c.job.Expect(q, p); ok {
		x.Reading = &hearing.ExpectedReading{Quantity: q, Place: p, Low: low, High: high}
	}
	return x
}
