package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/diagnose/energy"
	"callout/physics"
)

func (v *view) cautions(ids ...[]string) []Caution {
	var out []Caution
	seen := map[string]bool{}
	for _, list := range ids {
		for _, id := range list {
			if !seen[id] {
				seen[id] = true
				out = append(out, v.k.caution[id])
			}
		}
	}
	held := v.s.mark("refrigerant")
	for _, c := range v.k.along {
		if slices.Contains(c.Refrigerants, held) && slices.ContainsFunc(c.With, func(id string) bool { return seen[id] }) {
			out = append(out, v.k.caution[c.ID])
		}
	}
	return out
}

func (v *view) step(at int, test TestID, purpose string) Next {
	s := v.k.energy.Steps[at]
	n := Next{Kind: s.Kind, Test: test, Quantity: s.Quantity, Place: s.Place, Because: s.Because, Minutes: s.Minutes, Cautions: v.cautions(s.Cautions), Needs: []string{s.Needs}}
	for _, d := range s.Declare {
		if v.k.energy.Said(&v.s.energy, at, d) {
			continue
		}
		n.Declare = append(n.Declare, d)
	}
	if strings.Contains(s.Say+s.Because, "{bleed") {
		say, because := v.bleed()
		s.Say, s.Brief = strings.ReplaceAll(s.Say, "{bleed}", say), strings.ReplaceAll(s.Brief, "{bleed}", say)
		n.Because = strings.ReplaceAll(s.Because, "{bleed_because}", because)
	}
	n.Say, n.Step = s.Say, cmp.Or(s.Brief, s.Say)
	if purpose != "" {
		n.Say = "For " + purpose + ": " + strings.ToLower(s.Say[:1]) + s.Say[1:]
	}
	return n
}

func (v *view) bleed() (say, because string) {
	d, uf, volts := v.s.bleedTime()
	return fmt.Sprintf("at least %d seconds", int(math.Ceil(d.Seconds()))),
		fmt.Sprintf("%s µF charged to the peak of %s V takes %s s to fall below %g V through %g kΩ", short(uf), short(volts), trim(fmt.Sprintf("%.1f", d.Seconds())), bledVolts, bleedOhms/1000)
}

// What a capacitor is bled through, and what is left of it: common practice, no
// source.
const (
	bleedOhms = 20000.0
	bledVolts = 5.0
)

func (s *state) bleedTime() (d time.Duration, uf, volts float64) {
	uf, volts = 80, 440 // the largest usual run capacitor, where the label is not known
	if v, ok := s.ref("herm_uf"); ok {
		uf = v
	}
	if r, ok := s.rated[Input{Quantity: "capacitor_voltage_rating", Place: "installed"}]; ok {
		volts = r.value
	}
	d, err := physics.BleedTime(physics.Microfarads(uf), physics.Ohms(bleedOhms), physics.PeakVolts(physics.Volts(volts)), physics.Volts(bledVolts))
	if err != nil {
		d = time.Minute
	}
	return d, uf, volts
}

func (v *view) testNext(c candidate, kind string) Next {
	if c.before >= 0 {
		return v.testNext(v.candidate(c.before), kind)
	}
	t := &v.k.tests[c.test]
	if first, ok := v.beforeReset(c.path, t); ok {
		return v.testNext(v.candidate(first), kind)
	}
	reset := v.k.testAt["breaker_reset"]
	if t.State != "isolated" && len(c.path) > 0 && c.path[0] == v.k.energy.Step("breaker_on") && v.untried(reset) {
		return v.testNext(v.candidate(reset), kind) // switching a tripped breaker on is that test, with the compressor's wires on
	}
	missing := v.missing(t)
	for _, in := range missing { // the nameplate is read before anything is opened, a part's label after
		q, _ := v.k.cat.Quantity(in.Quantity)
		outside := in.Place == "unit" || in.Place == "compressor" || len(c.path) == 0
		if (q.Kind == catalogue.Rated || q.Kind == catalogue.Marked) && t.Quantity != in.Quantity && outside {
			p, _ := v.k.cat.Place(in.Place)
			say := fmt.Sprintf("For %s: what is the %s", t.Name, q.Name)
			if t.Optional {
				say = fmt.Sprintf("If there is one, %s: what is the %s", t.Name, q.Name)
			}
			if in.Place != "unit" && len(q.Places) > 1 {
				say += " of " + p.Name
			}
			return Next{Kind: DoNameplate, Test: t.ID, Quantity: in.Quantity, Place: in.Place, Minutes: 0.5, Say: say + v.orNone(t), Because: t.Because}
		}
	}
	if len(c.path) > 0 {
		return v.step(c.path[0], t.ID, t.Name)
	}
	if c.after > 0 {
		return v.wait(c.after, t)
	}
	n := Next{Kind: kind, Test: t.ID, Quantity: t.Quantity, Place: t.Place, Minutes: t.Minutes, Say: t.Say, Because: t.Because, Cautions: v.cautions(t.Cautions), Needs: v.needs(t.State)}
	if q, _ := v.k.cat.Quantity(t.Quantity); !q.Kind.Numeric() {
		if look, _, choices := strings.Cut(t.Say, ": "); choices { // the choices behind it are on the screen
			n.Short = look + "."
		}
	}
	if len(missing) > 0 && (missing[0].Quantity != t.Quantity || missing[0].Place != t.Place) {
		n.Quantity, n.Place, n.Short = missing[0].Quantity, missing[0].Place, ""
		q, _ := v.k.cat.Quantity(n.Quantity)
		p, _ := v.k.cat.Place(n.Place)
		n.Say = fmt.Sprintf("For %s: the %s", t.Name, q.Name)
		if len(q.Places) > 1 {
			n.Say += " of " + p.Name
		}
		n.Say += "?"
		n.Minutes = fetchMore
	}
	return n
}

// orNone ends a question about a part that may not be there.
func (v *view) orNone(t *Test) string {
	if t.Optional {
		return "? If not, say: there is none."
	}
	return "?"
}

// beforeReset gives what is still to be read before a tripped breaker is switched on
// by the way to a test, or reset as that test.
func (v *view) beforeReset(path []int, t *Test) (test int, ok bool) {
	gated := &v.k.tests[v.k.testAt["breaker_reset"]]
	if t.State == "isolated" {
		gated = t
	}
	on := slices.Contains(path, v.k.energy.Step("breaker_on")) || t.ID == gated.ID
	if !on || gated.First == "" || !v.s.energy.Is(energy.Tripped) {
		return 0, false
	}
	for _, m := range v.measures(v.before(nil, gated.First)) {
		if v.askable(m) && v.k.tests[m].ID != t.ID {
			return m, true
		}
	}
	return 0, false
}

// keptOff reports whether a tripped breaker stays off: what has to be read before it
// is reset speaks against it, or can't be read.
func (v *view) keptOff(state string) bool {
	if !v.s.energy.Is(energy.Tripped) || state == "isolated" || v.settling {
		return false
	}
	on := v.k.energy.Step("breaker_on")
	if !slices.Contains(v.path(state), on) {
		return false
	}
	v.settling = true // whether a reading can be taken does not hang on the breaker
	defer func() { v.settling = false }()
	reset := &v.k.tests[v.k.testAt["breaker_reset"]]
	for _, n := range v.before(nil, reset.First) {
		if !slices.ContainsFunc(v.measures([]need{n}), v.askable) {
			return true
		}
	}
	return false
}

// untried reports whether the breaker was found tripped and not reset yet: it is
// reset once, and what it does then is a finding.
func (v *view) untried(reset int) bool {
	found := v.standing[v.k.testAt["breaker_found"]]
	tripped := found != nil && found.done && v.k.tests[v.k.testAt["breaker_found"]].Classes[found.top].ID == "tripped"
	return tripped && v.s.energy.Is(energy.Tripped) && !v.s.cannot[reset] && !v.epochs[v.s.epoch][reset].done
}

func (v *view) needs(state string) []string {
	var out []string
	for _, at := range v.k.energy.Needs(state) {
		out = append(out, v.k.energy.Steps[at].Needs)
	}
	return out
}

func (v *view) wait(d time.Duration, t *Test) Next {
	minutes := int(math.Ceil(d.Minutes()))
	n := Next{Kind: DoWait, Test: t.ID, Wait: d, Minutes: d.Minutes()}
	if t.ID == "shell" {
		n.Say = fmt.Sprintf("Give the compressor %d more minutes to cool, then hold your hand near its shell again.", minutes)
		n.Because = "an overload opens again while the shell is hot"
		return n
	}
	if t.State == "run_kit" {
		n.Cautions = v.cautions(t.Cautions)
		n.Say = fmt.Sprintf("Wait up to %d minutes for the short-cycle delay, clear of it: it may start at any moment. Tell me then what it did.", minutes)
		n.Because = "a restored control may hold the unit off for 5 minutes"
		if o := v.standing[v.k.testAt[t.ID]]; o != nil && o.done {
			n.Say = fmt.Sprintf("Turn the thermostat off, give the overload %d more minutes to cool, then let it try once more.", minutes)
			n.Because = "a start with the overload open is no start"
		}
		return n
	}
	if t.Timers != nil {
		n.Say = fmt.Sprintf("Give the overload %d more minutes to cool, then read the windings again.", minutes)
		n.Because = "an open overload is not a bad winding: it closes as it cools, 2 hours at most before anything is condemned"
		return n
	}
	n.Say = fmt.Sprintf("Wait up to %d minutes for the short-cycle delay. Tell me if it starts before.", minutes)
	n.Cautions = v.cautions([]string{"moving_fan"})
	if t.ID == "start_volts" || t.ID == "starting_current" {
		n.Say = fmt.Sprintf("Wait up to %d minutes for the short-cycle delay, with the meter in place: it may start at any moment, and I want %s.", minutes, t.Name)
		n.Cautions = v.cautions([]string{"moving_fan"}, t.Cautions)
	}
	n.Because = "a restored control may hold the unit off for 5 minutes"
	return n
}

// mended reports whether a repair was done on the way to the verdict: a breaker
// that is reset once is not reset again.
func (v *view) mended(id catalogue.RepairID) bool {
	e := &v.s.energy
	switch id {
	case "reset_breaker":
		reset := v.epochs[v.s.epoch][v.k.testAt["breaker_reset"]]
		return (v.s.switched || reset.done) && e.Is(energy.Breaker) && !e.Is(energy.Tripped)
	case "seat_disconnect":
		return v.s.unseated && e.Is(energy.Disconnect)
	}
	return false
}

func (v *view) capacitorSize() string {
	say := " The same microfarads"
	if uf, ok := v.s.ref("herm_uf"); ok {
		say = " " + short(uf) + " µF"
		if fan, ok := v.s.ref("fan_uf"); ok {
			say = " " + short(uf) + " and " + short(fan) + " µF"
		}
	}
	if r, ok := v.s.rated[Input{Quantity: "capacitor_voltage_rating", Place: "installed"}]; ok {
		return say + ", at least " + short(r.value) + " V."
	}
	return say + ", and at least the old one's volts."
}
