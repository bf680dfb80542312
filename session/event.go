package session

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"callout/joblog"
)

// Event is one thing that happened, as other programs see it: a JSON object
// with "event", "at" and "seq", then the fields of what happened.
type Event struct {
	Name string
	At   time.Time
	Seq  uint64 // the log entry it comes from
	Body any    // a struct or map that encodes to a JSON object
}

// MarshalJSON writes one flat object.
func (e Event) MarshalJSON() ([]byte, error) {
	head, err := json.Marshal(struct {
		Event string    `json:"event"`
		At    time.Time `json:"at"`
		Seq   uint64    `json:"seq"`
	}{e.Name, e.At.UTC(), e.Seq})
	if err != nil {
		return nil, err
	}
	var body bytes.Buffer
	enc := json.NewEncoder(&body)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(e.Body); err != nil {
		return nil, err
	}
	rest := bytes.TrimSpace(body.Bytes())
	if len(rest) < 2 || rest[0] != '{' {
		return nil, fmt.Errorf("session: event %s has no fields", e.Name)
	}
	if len(rest) == 2 {
		return head, nil
	}
	return append(append(head[:len(head)-1], ','), rest[1:]...), nil
}

type verdictView struct {
	Faults  []string `json:"faults"`
	Because string   `json:"because"`
}

type causeView struct {
	Fault       string   `json:"fault"`
	Faults      []string `json:"faults"`
	Probability float64  `json:"probability"`
	Because     string   `json:"because"`
}

type nextView struct {
	joblog.Next
	Expects []string `json:"expects,omitempty"` // choices, where the answer is one of a list
}

// Events lists what one record means to a reader of the stream: a recorded
// callout is one event for each thing in it.
func (k *Knowledge) Events(r Record) []Event {
	one := func(name string, body any) []Event { return []Event{{Name: name, At: r.At, Seq: r.Seq, Body: body}} }
	switch b := r.Body.(type) {
	case joblog.Callout:
		return calloutEvents(r, b)
	case joblog.Assessment:
		return one("assessment", assessmentView(b))
	case joblog.Next:
		v := nextView{Next: b}
		if q, ok := k.Catalogue.Quantity(fromReading(joblog.Reading{Quantity: b.Quantity}).Quantity); ok {
			for _, choice := range q.Values {
				v.Expects = append(v.Expects, string(choice.ID))
			}
		}
		return one("next", v)
	}
	return one(string(r.Body.Kind()), r.Body)
}

func assessmentView(b joblog.Assessment) any {
	v := struct {
		Causes  []causeView  `json:"causes"`
		Verdict *verdictView `json:"verdict,omitempty"`
	}{Causes: []causeView{}}
	for _, c := range b.Causes {
		v.Causes = append(v.Causes, causeView{c.Fault, strings.Split(c.Fault, "+"), c.Probability, c.Because})
	}
	if b.Verdict != "" {
		v.Verdict = &verdictView{strings.Split(b.Verdict, "+"), b.Because}
	}
	return v
}

func calloutEvents(r Record, b joblog.Callout) []Event {
	var list []Event
	add := func(name string, body any) { list = append(list, Event{Name: name, At: r.At, Seq: r.Seq, Body: body}) }
	switch b.Decision {
	case joblog.Ignored:
		add("ignored", struct {
			Heard   uint64 `json:"heard"`
			Because string `json:"because"`
		}{b.Heard, b.Because})
		return list
	case joblog.Asked:
		return nil // the question follows, with the candidates
	}
	for _, x := range b.Readings {
		add("reading", x)
	}
	for _, x := range b.Observations {
		add("observation", x)
	}
	for _, x := range b.Declarations {
		add("declaration", x)
	}
	for _, x := range b.Commands {
		add("command", x)
	}
	return list
}
