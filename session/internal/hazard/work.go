package hazard

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

//go:embed data/work.json
var workData []byte

// row says what one piece of work needs. Its needs are: outdoor, line_side and
// indoor, that area dead, locked and proved; capacitor, the run capacitor bled and
// measured; blower_capacitor, the blower's, or none fitted; control, the air
// handler off, which feeds the 24 V wires; probe, a caution; reset, the windings read to
// ground before a tripped breaker is closed again.
type row struct {
	Test    string   `json:"test"`
	Repair  string   `json:"repair"`
	Declare string   `json:"declare"`
	Reading string   `json:"reading"` // quantity and place, on the way to a dead unit
	Needs   []string `json:"needs"`
	Why     string   `json:"why"`
}

// Judge knows which prompt is hands-on, by a table made from the catalogue and the
// trade.
type Judge struct{ rows map[string]row }

// NewJudge reads the table.
func NewJudge() (*Judge, error) {
	var list []row
	d := json.NewDecoder(bytes.NewReader(workData))
	d.DisallowUnknownFields()
	if err := d.Decode(&list); err != nil {
		return nil, fmt.Errorf("hazard: work.json: %w", err)
	}
	j := &Judge{map[string]row{}}
	for _, r := range list {
		for _, key := range []string{"test " + r.Test, "repair " + r.Repair, "declare " + r.Declare, "reading " + r.Reading} {
			if strings.HasSuffix(key, " ") {
				continue
			}
			if _, twice := j.rows[key]; twice {
				return nil, fmt.Errorf("hazard: work.json has %q twice", key)
			}
			j.rows[key] = r
		}
	}
	return j, nil
}

// keys names the rows that a prompt comes under.
func keys(p Prompt) []string {
	switch {
	case p.Does == "wait" || p.Does == "done" || p.Does == "ask_nameplate":
		return nil
	case p.Does == "repair":
		return []string{"repair " + p.Repair}
	case p.Does == "test" || p.Does == "proof":
		return []string{"test " + p.Test}
	case len(p.Declare) > 0:
		var list []string
		for _, d := range p.Declare {
			list = append(list, "declare "+d)
		}
		return list
	}
	return []string{"reading " + p.Quantity + " " + p.Place}
}

// Needs lists what a prompt needs; an error names one that the table lacks.
func (j *Judge) Needs(p Prompt) ([]string, error) {
	var needs []string
	for _, key := range keys(p) {
		r, ok := j.rows[key]
		if !ok {
			return nil, fmt.Errorf("hazard: work.json has no %q (%s)", key, p.Say)
		}
		needs = append(needs, r.Needs...)
	}
	slices.Sort(needs)
	return slices.Compact(needs), nil
}

// Breach is a prompt that may not be given, or a claim that does not hold.
type Breach struct {
	Rule    string // the need that is not met, or the claim
	What    string // in words
	Because string // what is lacking
}

// Check judges a prompt at the moment it is given: every need that is not met.
func (j *Judge) Check(p Prompt, l *Ledger, now time.Time) []Breach {
	needs, err := j.Needs(p)
	if err != nil {
		return []Breach{{"unknown", "a step that the table of work lacks", err.Error()}}
	}
	var list []Breach
	for _, need := range needs {
		if lack := lacking(need, p, l, now); lack != "" {
			list = append(list, Breach{need, unmet[need], lack})
		}
	}
	return list
}

var unmet = map[string]string{
	"outdoor":          "hands-on at the outdoor unit, which is not proved dead",
	"capacitor":        "hands within reach of the capacitor, which is not proved bled",
	"line_side":        "hands-on at the disconnect's line side, which is not proved dead",
	"indoor":           "hands-on in the air handler, which is not proved dead",
	"control":          "hands-on at 24 V wires, fed from the air handler",
	"blower_capacitor": "hands within reach of the blower's capacitor, which is not proved bled",
	"probe":            "live probing",
	"reset":            "a tripped breaker is to be reset",
}

func lacking(need string, p Prompt, l *Ledger, now time.Time) string {
	unless := func(ok bool, lack string) string {
		if ok {
			return ""
		}
		return lack
	}
	switch need {
	case "outdoor":
		return l.Outdoor(now)
	case "capacitor":
		return l.Capacitor(now)
	case "line_side":
		return l.LineSide(now)
	case "indoor":
		return l.Indoor(now)
	case "control":
		return unless(l.s.air.open, "the air handler is not told off")
	case "blower_capacitor":
		return l.BlowerCapacitor(now)
	case "probe":
		return unless(len(p.Cautions) > 0, "no caution")
	case "reset":
		return unless(!l.s.tripped || l.s.grounds, "the windings were not read to ground")
	}
	return "no such need"
}

// Claims judges what the program says is proved.
func (l *Ledger) Claims(outdoor, indoor, capacitor bool, now time.Time) []Breach {
	var list []Breach
	add := func(claimed bool, lack, what string) {
		if claimed && lack != "" {
			list = append(list, Breach{"claim", "it says that the " + what + " is proved", lack})
		}
	}
	add(outdoor, l.Outdoor(now), "outdoor unit")
	add(indoor, l.Indoor(now), "air handler")
	add(capacitor, l.Capacitor(now), "capacitor")
	return list
}
