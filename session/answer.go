package session

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"callout/catalogue"
	"callout/diagnose"
	"callout/intents"
	"callout/joblog"
	"callout/physics"
	"callout/prompts"
)

// asks is the command under which the log keeps a question: asked, not read.
const asks = "ask"

//go:embed data/hypotheses.json
var hypothesesFile []byte

// hypothesisOf is a part or fault as technicians suspect it, and the faults that it
// covers: ids, or the beginnings of ids.
type hypothesisOf struct {
	About  string   `json:"about"`
	Name   string   `json:"name"`
	Faults []string `json:"faults"`
}

func loadHypotheses() (map[string]hypothesisOf, error) {
	var list []hypothesisOf
	d := json.NewDecoder(bytes.NewReader(hypothesesFile))
	d.DisallowUnknownFields()
	if err := d.Decode(&list); err != nil {
		return nil, fmt.Errorf("session: hypotheses.json: %w", err)
	}
	out := map[string]hypothesisOf{}
	for _, h := range list {
		out[h.About] = h
	}
	return out, nil
}

// question is what an item asks, or nil.
func asksFor(list []intents.Item) *intents.Question {
	for _, it := range list {
		if it.Question != nil {
			return it.Question
		}
	}
	return nil
}

// reply answers a question at once, from the same data as all advice. Nothing of it is
// taken as read.
func (t *turn) reply(q intents.Question) {
	switch q.Kind {
	case "belief":
		t.belief()
	case "hypothesis":
		t.hypothesis(q.About)
	case "recall":
		t.recall(q)
	case "expected":
		t.expected(q)
	case "safe":
		t.safe()
	case "saturation_temperature", "saturation_pressure":
		t.saturation(q)
	case "target_superheat":
		t.targetSuperheat(q)
	case "within_tolerance":
		t.tolerance(q)
	}
}

// belief tells what is most likely, and the test that would settle it.
func (t *turn) belief() {
	a := t.call.job.Assess(t.at)
	switch {
	case a.Verdict != nil:
		t.say("verdict", prompts.Args{"Name": capital(a.Verdict.Name), "Because": sentence(a.Verdict.Because)})
	case len(a.Causes) > 0:
		t.say("leading", prompts.Args{"Percent": percent(a.Causes[0].Probability), "Name": a.Causes[0].Name})
	default:
		t.say("no_lead", nil)
	}
	t.settles(a.Next)
}

func percent(p float64) string { return fmt.Sprintf("%.0f%%", 100*p) }

// settles tells what to do next, where that is a test.
func (t *turn) settles(n diagnose.Next) {
	if n.Say != "" {
		t.say("would_settle", prompts.Args{"Say": n.Say})
	}
}

// hypothesis weighs what the technician suspects.
func (t *turn) hypothesis(about string) {
	h, ok := t.call.know.Hypotheses[about]
	if !ok {
		t.belief()
		return
	}
	a := t.call.job.Assess(t.at)
	share := 0.0
	for _, c := range a.Causes {
		if slices.ContainsFunc(c.Faults, func(f diagnose.FaultID) bool { return h.covers(string(f)) }) {
			share += c.Probability
		}
	}
	args := prompts.Args{"Name": capital(h.Name), "Percent": percent(share)}
	if share < .01 {
		t.say("hypothesis_unlikely", args)
	} else {
		t.say("hypothesis", args)
	}
	t.settles(a.Next)
}

func (h hypothesisOf) covers(fault string) bool {
	return slices.ContainsFunc(h.Faults, func(f string) bool {
		return f == fault || strings.HasSuffix(f, "_") && strings.HasPrefix(fault, f)
	})
}

// recall tells what was recorded.
func (t *turn) recall(q intents.Question) {
	var said []string
	for _, k := range t.call.stack {
		for _, r := range k.readings {
			quantity, _ := t.call.know.Catalogue.Quantity(r.Quantity)
			switch {
			case q.About == "nameplate" && quantity.Kind == catalogue.Rated:
				said = append(said, t.call.know.Book.Reading(r))
			case r.Quantity == q.Quantity && r.Place == q.Place:
				said = []string{t.call.know.Book.Reading(r)} // the last of them
			}
		}
		for _, o := range k.seen {
			if quantity, _ := t.call.know.Catalogue.Quantity(o.Quantity); q.About == "nameplate" && quantity.Kind == catalogue.Marked {
				said = append(said, t.call.know.Book.Observation(o))
			}
		}
	}
	if len(said) == 0 {
		t.say("not_read", prompts.Args{"What": t.asked(q)})
		return
	}
	said[0] = capital(said[0])
	t.say("values_so_far", prompts.Args{"What": said})
}

// asked names what a question is about.
func (t *turn) asked(q intents.Question) string {
	if q.About == "nameplate" {
		return "the nameplate"
	}
	return t.call.know.Book.Named(q.Quantity, q.Place)
}

// expected tells what a reading should be on a sound unit, or what the call leads to expect.
func (t *turn) expected(q intents.Question) {
	quantity, ok := t.call.know.Catalogue.Quantity(q.Quantity)
	if !ok || !quantity.Kind.Numeric() {
		t.say("not_known", prompts.Args{"What": t.asked(q)})
		return
	}
	low, high, ok := t.call.job.Usual(q.Quantity, q.Place)
	if !ok {
		t.say("not_known", prompts.Args{"What": capital(t.asked(q))})
		return
	}
	value := func(v *float64) string {
		return t.call.know.Book.Value(catalogue.Reading{Quantity: q.Quantity, Place: q.Place, Value: *v, Unit: quantity.Unit})
	}
	args := prompts.Args{"What": capital(t.asked(q))}
	switch a, b := limit(low), limit(high); {
	case a == nil:
		args["Most"] = value(b)
		t.say("expected_below", args)
	case b == nil:
		args["Least"] = value(a)
		t.say("expected_above", args)
	default:
		args["Least"], args["Most"] = value(a), value(b)
		t.say("expected", args)
	}
}

// safe tells what is live, and never that anything may be touched that is not proved.
func (t *turn) safe() {
	e := t.call.job.Energy()
	t.say("energy", prompts.Args{"Text": energyText(e)})
	if e.Outdoor != diagnose.ProvedDead || e.Capacitor != diagnose.Proved {
		t.say("not_safe", nil)
	}
}

func (t *turn) saturation(q intents.Question) {
	r, err := physics.ParseRefrigerant(q.About)
	if err != nil || len(q.Numbers) != 1 {
		t.say("ask_again", nil)
		return
	}
	args := prompts.Args{"Refrigerant": q.About}
	f := func(v float64, unit catalogue.UnitID) string {
		return t.call.know.Book.Value(catalogue.Reading{Value: roundTo(v, 1), Unit: unit})
	}
	var dew, bubble float64
	if q.Kind == "saturation_temperature" {
		var a, b physics.Fahrenheit
		a, err = r.Temperature(physics.PSIG(q.Numbers[0]), physics.Dew, 0)
		if err == nil {
			b, err = r.Temperature(physics.PSIG(q.Numbers[0]), physics.Bubble, 0)
		}
		dew, bubble = float64(a), float64(b)
		args["At"], args["Dew"], args["Bubble"] = f(q.Numbers[0], "[psi]"), f(dew, "[degF]"), f(bubble, "[degF]")
	} else {
		var a, b physics.PSIG
		a, err = r.Pressure(physics.Fahrenheit(q.Numbers[0]), physics.Dew, 0)
		if err == nil {
			b, err = r.Pressure(physics.Fahrenheit(q.Numbers[0]), physics.Bubble, 0)
		}
		dew, bubble = float64(a), float64(b)
		args["At"], args["Dew"], args["Bubble"] = f(q.Numbers[0], "[degF]"), f(dew, "[psi]"), f(bubble, "[psi]")
	}
	switch {
	case err != nil:
		t.say("off_table", prompts.Args{"Why": sentence(err.Error())})
	case args["Dew"] == args["Bubble"]:
		t.say("saturation", args)
	default:
		t.say("saturation_glide", args)
	}
}

func roundTo(v float64, decimals int) float64 {
	f := 1.0
	for range decimals {
		f *= 10
	}
	if v < 0 {
		return -float64(int(-v*f+.5)) / f
	}
	return float64(int(v*f+.5)) / f
}

func (t *turn) targetSuperheat(q intents.Question) {
	if len(q.Numbers) != 2 {
		t.say("ask_again", nil)
		return
	}
	target, err := physics.TargetSuperheat(physics.Fahrenheit(q.Numbers[1]), physics.Fahrenheit(q.Numbers[0]))
	if err != nil {
		t.say("off_table", prompts.Args{"Why": sentence(err.Error())})
		return
	}
	f := func(v float64) string {
		return t.call.know.Book.Value(catalogue.Reading{Value: roundTo(v, 1), Unit: "[degF]"})
	}
	t.say("target_superheat", prompts.Args{"Outdoor": f(q.Numbers[0]), "WetBulb": f(q.Numbers[1]), "Target": f(float64(target))})
}

// tolerance tells whether a capacitor is within what its label allows.
func (t *turn) tolerance(q intents.Question) {
	if len(q.Numbers) != 2 {
		t.say("ask_again", nil)
		return
	}
	allowed, assumed := physics.DefaultCapacitorTolerance, true
	for _, k := range t.call.stack {
		for _, r := range k.readings {
			if r.Quantity == "capacitor_tolerance" {
				allowed, assumed = physics.Percent(r.Value), false
			}
		}
	}
	band, err := physics.CapacitorBand(physics.Microfarads(q.Numbers[1]), allowed)
	if err != nil {
		t.say("off_table", prompts.Args{"Why": sentence(err.Error())})
		return
	}
	f := func(v float64) string {
		return t.call.know.Book.Value(catalogue.Reading{Value: roundTo(v, 2), Unit: "uF"})
	}
	args := prompts.Args{"Measured": f(q.Numbers[0]), "Rated": f(q.Numbers[1]), "Least": f(band.Low), "Most": f(band.High), "Percent": intents.WriteNumber(float64(allowed)), "Assumed": assumed}
	if band.Contains(q.Numbers[0]) {
		t.say("within_tolerance", args)
	} else {
		t.say("out_of_tolerance", args)
	}
}

// logged is a question as the log keeps it.
func logged(q intents.Question) joblog.Command {
	return joblog.Command{Command: asks, Text: q.String()}
}
