package session

import (
	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
)

// DefaultPolicy leaves to the recogniser what is asked back; the other limits were chosen on
// the tuning voices of the hearing bench, each judged by weights fitted to the others.
var DefaultPolicy = Policy{Ask: 0, AskSafety: 0.9, Ignore: 0.4}

// Judgement is what would become of one utterance that stands alone.
type Judgement struct {
	Action       joblog.Decision
	Readings     []joblog.Reading
	Observations []joblog.Observation
	Declarations []catalogue.DeclarationID
	Commands     []catalogue.Asked
	Repairs      []catalogue.RepairID
	Notes        []string
	Question     string
	Because      string // why it was ignored
}

// Judge decides on one utterance without a job around it: nothing is open and
// nothing was said before. If anything has to be asked back the action is
// asked, and only what is sure is listed.
func Judge(k *Knowledge, p Policy, u Utterance) (Judgement, error) {
	c := NewCall(k, p)
	d := c.decide(u)
	j := Judgement{Action: joblog.Recorded}
	switch {
	case len(d.ask) > 0:
		j.Action = joblog.Asked
		line, err := k.Book.Line(d.ask[0].phrase, d.ask[0].args)
		if err != nil {
			return Judgement{}, err
		}
		j.Question = line.Text
	case len(d.record) == 0:
		j.Action, j.Because = joblog.Ignored, d.why
	}
	for _, it := range d.record {
		j.add(it, u.Certainty)
	}
	return j, nil
}

func (j *Judgement) add(it intents.Item, certainty float64) {
	switch {
	case it.Reading != nil:
		j.Readings = append(j.Readings, toReading(*it.Reading, certainty))
	case it.Observation != nil:
		j.Observations = append(j.Observations, toObservation(*it.Observation, certainty))
	case it.Declaration != "":
		j.Declarations = append(j.Declarations, it.Declaration)
	case it.Command != nil:
		j.Commands = append(j.Commands, *it.Command)
	case it.Repair != "":
		j.Repairs = append(j.Repairs, it.Repair)
	case it.Note != "":
		j.Notes = append(j.Notes, it.Note)
	}
}
