package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"callout/catalogue"
	"callout/intents"
	"callout/joblog"
	"callout/session"
)

// outcome is what became of a clip. Right and wrong are of what was recorded in silence:
// wrong is anything recorded that was not said, or said and left out without a question.
type outcome string

const (
	right   outcome = "right"
	wrong   outcome = "wrong"
	asked   outcome = "asked"
	ignored outcome = "ignored"
)

// keysOfJudgement writes what was recorded in the bench's words.
func keysOfJudgement(j session.Judgement) []string {
	var list []intents.Item
	for _, r := range j.Readings {
		list = append(list, intents.Item{Reading: &catalogue.Reading{Quantity: catalogue.QuantityID(r.Quantity), Place: catalogue.PlaceID(r.Place),
			Value: r.Value, Qualifier: catalogue.Qualifier(r.Qualifier)}})
	}
	for _, o := range j.Observations {
		list = append(list, intents.Item{Observation: &catalogue.Observation{Quantity: catalogue.QuantityID(o.Quantity), Place: catalogue.PlaceID(o.Place),
			Value: catalogue.ValueID(o.Value)}})
	}
	for _, d := range j.Declarations {
		list = append(list, intents.Item{Declaration: d})
	}
	for _, r := range j.Repairs {
		list = append(list, intents.Item{Repair: r})
	}
	for i := range j.Commands {
		list = append(list, intents.Item{Command: &j.Commands[i]})
	}
	for _, n := range j.Notes {
		list = append(list, intents.Item{Note: n})
	}
	return unique(keysOf(list))
}

func outcomeOf(c clip, j session.Judgement) outcome {
	o := c.outcome(c.Means, j)
	for _, means := range c.Or {
		if o != right && c.outcome(means, j) == right {
			return right
		}
	}
	return o
}

// outcome is what became of the clip if it means this.
func (c clip) outcome(means []string, j session.Judgement) outcome {
	keys := keysOfJudgement(j)
	for _, k := range keys {
		if !slices.Contains(means, k) && !(c.Kind == "note" && k == "note") {
			return wrong
		}
	}
	switch j.Action {
	case joblog.Asked:
		return asked
	case joblog.Ignored:
		if c.Kind == "intent" {
			return right
		}
		return ignored
	}
	if c.Kind != "note" && len(keys) != len(means) {
		return wrong
	}
	return right
}

// tally counts outcomes.
type tally map[outcome]int

func (t tally) n() int { return t[right] + t[wrong] + t[asked] + t[ignored] }

func (t tally) percent(o outcome) string {
	if t.n() == 0 {
		return "–"
	}
	return strconv.FormatFloat(100*float64(t[o])/float64(t.n()), 'f', 0, 64)
}

func (t tally) row() string {
	return fmt.Sprintf("%s / %s / %s / %s", t.percent(right), t.percent(wrong), t.percent(asked), t.percent(ignored))
}

// table is one system's outcomes by kind of clip, family of voice, and level.
type table struct {
	name  string
	cells map[[3]string]tally
}

func newTable(name string) *table { return &table{name, map[[3]string]tally{}} }

func (t *table) add(c clip, o outcome) {
	kinds := []string{c.Kind}
	if c.Kind != "chatter" && slices.Contains(alone, c.Kind) {
		kinds = append(kinds, talkKinds)
	}
	for _, kind := range kinds {
		for _, family := range []string{c.Family, "all"} {
			key := [3]string{kind, family, c.Level}
			if t.cells[key] == nil {
				t.cells[key] = tally{}
			}
			t.cells[key][o]++
		}
	}
}

// talkKinds stands for all kinds of the corpus of talk but chatter.
const talkKinds = "talk"

// families in the order of the table; kokoro is the natural one.
var families = []struct{ id, name string }{{"kokoro", "natural (neural)"}, {"espeak-ng", "espeak-ng"}, {"flite", "flite"}, {"all", "all voices"}}

// write prints the tables in Markdown: right / wrong in silence / asked / ignored, percent.
func write(w io.Writer, tables []*table) {
	head := "| system | voices | n a level | clean | 10 dB | 5 dB | 0 dB |\n|---|---|---|---|---|---|---|\n"
	for _, part := range []struct{ kind, title string }{
		{"reading", "Clips that carry values: exact / wrong in silence / asked / ignored, %"},
		{"other", "Declarations, observations and commands without a number: the same, %"},
		{"chatter", "Chatter: (none) / recorded / asked / ignored, %"},
		{"note", "Notes: kept as a note / taken for something else / asked / ignored, %"},
		{"pair", "Several values in one breath: exact / wrong in silence / asked / ignored, %"},
		{"nameplate", "The nameplate: the same, %"},
		{"isolation", "Switching, proving, bleeding: the same, %"},
		{"observation", "What is seen and heard: the same, %"},
		{"complaint", "Complaints: the same, %"},
		{"repair", "Repairs: the same, %"},
		{"intent", "What is not done yet: left alone / recorded / asked / –, %"},
		{talkKinds, "All of these and readings together: exact / wrong in silence / asked / ignored, %"},
	} {
		rows := ""
		for _, t := range tables {
			for _, f := range families {
				if part.kind != "reading" && part.kind != talkKinds && f.id != "all" {
					continue
				}
				cells := make([]string, len(levels))
				n := 0
				for i, l := range levels {
					c := t.cells[[3]string{part.kind, f.id, l}]
					cells[i], n = c.row(), max(n, c.n())
				}
				if n > 0 {
					rows += fmt.Sprintf("| %s | %s | %d | %s |\n", t.name, f.name, n, strings.Join(cells, " | "))
				}
			}
		}
		if rows != "" {
			fmt.Fprintf(w, "\n%s\n\n%s%s", part.title, head, rows)
		}
	}
}

// quantile of durations in milliseconds, q from 0 to 1.
func quantile(list []float64, q float64) float64 {
	if len(list) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(list))
	return s[min(len(s)-1, int(q*float64(len(s))))]
}
