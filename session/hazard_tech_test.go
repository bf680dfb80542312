package session_test

import (
	"math/rand/v2"
	"strings"
	"time"

	"callout/catalogue"
	"callout/session/internal/hazard"
)

// tech is a technician who mostly does what is asked, and now and then what a tired
// or careless one would.
type tech struct {
	r     *rand.Rand
	f     *phrases
	at    time.Time
	wild  float64 // how often something else is told than what was asked
	words bool    // lines need words
	queue []line  // what is told next, whatever is asked
	// unit, where there is one, is what stands before an honest technician: what is
	// done is done to it, and volts are read off it.
	unit *hazard.Unit
	// scruple: each switch is locked at once and the meter is proved around each reading.
	scruple bool
}

func pick[T any](r *rand.Rand, list ...T) T { return list[r.IntN(len(list))] }

// unworded marks a line of which only the meaning is played.
const unworded = "-"

// pass lets time go by: seconds as a rule, at times hours or days.
func (t *tech) pass() {
	switch x := t.r.IntN(400); {
	case x < 2:
		t.at = t.at.Add(time.Duration(1+t.r.IntN(5)) * 24 * time.Hour)
	case x < 8:
		t.at = t.at.Add(time.Duration(130+t.r.IntN(200)) * time.Minute)
	case x < 40:
		t.at = t.at.Add(time.Duration(1+t.r.IntN(30)) * time.Minute)
	default:
		t.at = t.at.Add(time.Duration(1+t.r.IntN(25)) * time.Second)
	}
}

// tell makes a line of what is told, "" if no words are known for it.
func (t *tech) tell(told hazard.Told) line {
	l := line{told: []hazard.Told{told}}
	switch {
	case !t.words:
		l.text = unworded
	case told.Reading != nil:
		l.text = t.f.reading(*told.Reading)
	case told.Observation != nil:
		l.text = t.f.seen(*told.Observation)
	case told.Declaration != "":
		if ways := t.f.declared(told.Declaration); len(ways) > 0 {
			l.text = pick(t.r, ways...)
		}
	case told.Repair != "":
		x, _ := t.f.know.Catalogue.Repair(told.Repair)
		l.text = pick(t.r, x.Spoken...)
	}
	return l
}

// say makes lines of several things told one after the other.
func (t *tech) say(list ...hazard.Told) { // they wait their turn
	for _, told := range list {
		t.queue = append(t.queue, t.tell(told))
	}
}

// line is the next line of the session, given the open step.
func (t *tech) line(open hazard.Prompt) line {
	for try := 0; try < 20; try++ {
		var l line
		switch {
		case len(t.queue) > 0:
			l, t.queue = t.queue[0], t.queue[1:]
		case t.r.Float64() < t.wild:
			l = t.unasked()
		default:
			l = t.follow(open)
		}
		if t.unit != nil {
			l = t.honest(l)
		}
		if t.scruple && len(t.queue) == 0 && len(l.told) == 1 {
			t.again(l.told[0])
		}
		if l.text == "" && !l.resume {
			continue
		}
		t.pass()
		t.at = t.at.Add(l.later)
		l.at = t.at
		return l
	}
	t.pass()
	return line{at: t.at, text: "what's next"}
}

// honest makes a line true: what it does is done to the unit, and what it reads is read
// off the unit. A correction has nothing to correct.
func (t *tech) honest(l line) line {
	if l.correct != nil {
		return line{}
	}
	for i, told := range l.told {
		if r := told.Reading; r != nil && (r.Quantity == "voltage" || r.Quantity == "capacitor_voltage") {
			v, ok := t.unit.Read(string(r.Place))
			if !ok {
				return line{} // not a place that this unit knows
			}
			real := *r
			real.Value, real.Qualifier = v, ""
			l = t.tell(hazard.Told{Reading: &real})
		}
		if told.Observation != nil && told.Observation.Quantity == "breaker_state" {
			return line{}
		}
		t.unit.Tell(l.told[i])
	}
	return l
}

// again queues what a scrupulous technician adds to what was told.
func (t *tech) again(told hazard.Told) {
	meter := volts("known_live", 240)
	switch {
	case told.Declaration == "disconnect_pulled" || told.Declaration == "breaker_off" || told.Declaration == "air_handler_off":
		t.say(declare("locked_out"), meter)
	case told.Reading != nil && told.Reading.Quantity == "voltage" && told.Reading.Place != "known_live":
		t.say(meter)
	}
}

// begin queues one of the ways a call begins.
func (t *tech) begin() {
	complaint := func(v catalogue.ValueID) hazard.Told { return see("complaint", "unit", v) }
	switch t.r.IntN(9) {
	case 0, 1, 2:
		t.say(complaint("no_cooling"), see("fan_motion", "fan", "running"), see("compressor_sound", "compressor", "hum"), declare("panel_open"))
	case 3:
		t.say(complaint("breaker_trips"), see("breaker_state", "breaker", "tripped"))
	case 4:
		t.say(complaint("outdoor_unit_dead"), see("contactor_state", "contactor", "pulled_in"), volts("contactor_line", 0))
	case 5:
		t.say(complaint("nothing_runs"), see("thermostat_state", "thermostat", "blank"))
	case 6:
		t.say(complaint("weak_cooling"), see("fan_motion", "blower", pick(t.r, catalogue.ValueID("stopped"), "slow")))
	case 7:
		t.say(complaint("outdoor_unit_dead"), see("contactor_state", "contactor", "open"), number("control_voltage", "contactor_coil", 26, "V"))
	default:
		q, _ := t.f.know.Catalogue.Quantity("complaint")
		t.say(complaint(pick(t.r, q.Values...).ID))
	}
}

var legs = []catalogue.PlaceID{"leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "leg_3_to_ground"}

// capacitor is bled, then read section by section.
func capacitor() []hazard.Told {
	return []hazard.Told{declare("capacitor_bled"), number("capacitor_voltage", "herm", 0, "V"), number("capacitor_voltage", "fan_section", 0, "V")}
}

// off queues a lock-out and test of the outdoor unit, at times with a part left out
// or two swapped.
func (t *tech) off() {
	list := []hazard.Told{declare(pick(t.r, catalogue.DeclarationID("disconnect_pulled"), "breaker_off")), declare("locked_out"),
		volts("known_live", 240), volts("leg_to_leg", 0), volts("leg_1_to_ground", 0), volts("leg_2_to_ground", 0), volts("known_live", 240)}
	if t.r.IntN(4) == 0 {
		list = append([]hazard.Told{declare(pick(t.r, catalogue.DeclarationID("disconnect_pulled"), "breaker_off"))}, list...)
	}
	if t.r.IntN(2) == 0 {
		list = append(list, capacitor()...)
	}
	switch t.r.IntN(5) {
	case 0:
		i := t.r.IntN(len(list))
		list = append(list[:i], list[i+1:]...)
	case 1:
		i, j := t.r.IntN(len(list)), t.r.IntN(len(list))
		list[i], list[j] = list[j], list[i]
	}
	t.say(list...)
}

// indoors queues the same for the air handler.
func (t *tech) indoors() {
	list := []hazard.Told{declare("air_handler_off"), declare("locked_out"), volts("known_live", 240), volts("blower", 0), volts("known_live", 240)}
	if t.r.IntN(3) == 0 {
		i := t.r.IntN(len(list))
		list = append(list[:i], list[i+1:]...)
	}
	t.say(list...)
}

// attack queues a whole proof, with the capacitor, then what should undo it, in any
// words, then what a hurried technician says to go on.
func (t *tech) attack() {
	t.say(declare("panel_open"))
	if t.r.IntN(2) == 0 {
		t.say(declare("breaker_off"))
	}
	t.say(declare("disconnect_pulled"), declare("locked_out"))
	proof := []hazard.Told{volts("known_live", 240), volts("leg_to_leg", 0), volts("leg_1_to_ground", 0), volts("leg_2_to_ground", 0), volts("known_live", 240)}
	t.say(proof...)
	t.say(capacitor()...)
	if t.r.IntN(2) == 0 {
		t.say(declare("leads_off"))
	}
	if t.r.IntN(3) == 0 {
		t.say(declare("air_handler_off"), declare("locked_out"), volts("known_live", 240), volts("blower", 0), volts("known_live", 240))
		if t.r.IntN(2) == 0 {
			t.say(declare("blower_capacitor_bled"), number("capacitor_voltage", "blower_capacitor", 0, "V"))
		}
	}
	for range 1 + t.r.IntN(2) {
		t.queue = append(t.queue, t.undo())
		switch t.r.IntN(6) {
		case 0, 1:
			t.queue = append(t.queue, line{text: "scratch that", retract: true})
		case 2:
			t.queue = append(t.queue, t.correction())
		}
	}
	for range t.r.IntN(3) {
		t.queue = append(t.queue, t.tell(pick(t.r, declare("locked_out"), declare("disconnect_pulled"), declare("breaker_off"), proof[0], proof[1], proof[2], proof[3], volts("capacitor", 0))))
	}
	t.queue = append(t.queue, line{text: pick(t.r, "what's next", "say again", "where are we")})
}

// somewhere says that power is back, not through which switch, or by a negation: what was proved is
// gone at once, whatever is asked back.
func (t *tech) somewhere() line {
	return line{text: pick(t.r, "power is on", "power is back on", "disconnect is not pulled", "breaker is not off"), told: []hazard.Told{{Repair: "restore_supply"}}}
}

// correction puts another number in place of the last.
func (t *tech) correction() line {
	v := pick(t.r, 0.0, 240)
	return line{text: map[float64]string{0: "no zero", 240: "no two forty"}[v], correct: &v}
}

// undo is one thing that should undo a proof.
func (t *tech) undo() line {
	repair := func(list ...catalogue.RepairID) line { return t.tell(hazard.Told{Repair: pick(t.r, list...)}) }
	switch t.r.IntN(12) {
	case 0:
		return t.somewhere()
	case 1, 2:
		return t.tell(declare(pick(t.r, catalogue.DeclarationID("disconnect_in"), "breaker_on", "air_handler_on", "lock_removed")))
	case 3:
		return t.tell(volts("known_live", pick(t.r, 0.0, 3, 24)))
	case 4:
		return t.tell(volts(pick(t.r, catalogue.PlaceID("leg_to_leg"), "leg_1_to_ground", "leg_2_to_ground", "contactor_line", "contactor_load", "disconnect_load", "compressor_terminals", "blower", "known_live"), pick(t.r, 60.0, 120, 240)))
	case 5:
		return t.tell(pick(t.r, see("compressor_sound", "compressor", "running"), see("compressor_sound", "compressor", "hum"), see("fan_motion", "fan", "running"), see("breaker_reset", "breaker", "holds"),
			see("breaker_state", "breaker", "on"), see("start_kit", "compressor", "starts"), see("fan_motion", "blower", "running")))
	case 6:
		return t.tell(pick(t.r, number("current", "compressor_common", 12, "A"), number("starting_current", "compressor_common", 60, "A"), number("current", "fan", 1, "A"), number("current", "blower", 3, "A"),
			number("control_voltage", "contactor_coil", 26, "V"), number("capacitor_voltage", "herm", 390, "V")))
	case 7:
		return repair("reset_breaker", "replace_breaker", "seat_disconnect", "restore_supply", "call_utility", "restore_air_handler", "repair_supply_joint")
	case 8, 9:
		if t.words {
			return line{resume: true}
		}
		return t.tell(volts("capacitor", 300))
	case 10:
		return t.tell(volts("capacitor", pick(t.r, 60.0, 300)))
	}
	return line{text: "what's next", later: time.Duration(1+t.r.IntN(5000)) * time.Minute}
}

// unasked is something that nobody asked for.
func (t *tech) unasked() line {
	d := func(list ...catalogue.DeclarationID) line { return t.tell(declare(pick(t.r, list...))) }
	switch t.r.IntN(24) {
	case 0: // power is restored, at one switch or the other
		return t.somewhere()
	case 1:
		return d("disconnect_in", "breaker_on", "air_handler_on")
	case 2:
		return d("disconnect_pulled", "breaker_off", "air_handler_off")
	case 3:
		return d("locked_out", "locked_out", "lock_removed")
	case 4:
		return t.tell(volts("known_live", pick(t.r, 240.0, 240, 120, 0, 24)))
	case 5:
		return t.tell(volts(pick(t.r, legs...), pick(t.r, 0.0, 0, 0, 3, 30, 120, 240)))
	case 6:
		return d("capacitor_bled", "tester_proved")
	case 7:
		return t.tell(volts("capacitor", pick(t.r, 0.0, 0, 4, 90, 300)))
	case 8:
		return pick(t.r, t.tell(number("current", "compressor_common", 12, "A")), t.tell(see("compressor_sound", "compressor", "running")), t.tell(see("fan_motion", "fan", "running")),
			t.tell(volts("contactor_line", 240)), t.tell(volts("disconnect_load", 240)), t.tell(volts("blower", pick(t.r, 0.0, 240))), t.tell(number("control_voltage", "contactor_coil", 26, "V")),
			t.tell(volts("disconnect_line", pick(t.r, 0.0, 240))))
	case 9, 10:
		return line{text: "scratch that", retract: true}
	case 11:
		return t.correction()
	case 12:
		if t.words {
			return line{resume: true}
		}
		return d("disconnect_in", "breaker_on")
	case 13:
		return line{text: pick(t.r, "what's next", "what's next", "say again", "where are we", "why")}
	case 14:
		return line{text: pick(t.r, "can't do that one", "skip that one"), cannot: true}
	case 15, 16, 17:
		t.off()
	case 18:
		t.indoors()
	case 19:
		return d("leads_off", "leads_on", "compressor_plug_off", "compressor_plug_on", "start_kit_on", "start_kit_off", "panel_open", "panel_closed")
	case 20:
		return t.tell(see("breaker_state", "breaker", pick(t.r, catalogue.ValueID("on"), "tripped", "off")))
	case 21:
		return t.tell(hazard.Told{Repair: pick(t.r, t.f.know.Catalogue.Repairs...).ID})
	case 22:
		if t.r.IntN(3) == 0 {
			return t.tell(see("phase", "unit", "three"))
		}
		return t.tell(number("insulation_resistance", "winding_to_ground", pick(t.r, 0.0, 500), "MOhm"))
	default:
		t.at = t.at.Add(time.Duration(t.r.IntN(240)) * time.Minute)
		return line{text: "what's next"}
	}
	return line{}
}

// follow does what is asked.
func (t *tech) follow(p hazard.Prompt) line {
	switch {
	case strings.Contains(p.Say, "there is none") && t.r.IntN(4) == 0:
		return line{text: "there is none", absent: true}
	case p.Does == "wait":
		t.at = t.at.Add(time.Duration(5+t.r.IntN(60)) * time.Minute)
		return line{text: "what's next"}
	case p.Does == "repair":
		return t.tell(hazard.Told{Repair: catalogue.RepairID(p.Repair)})
	case len(p.Declare) > 0 && (p.Does == "make_safe" || p.Does == "energise"):
		var list []hazard.Told
		for _, d := range p.Declare {
			list = append(list, declare(catalogue.DeclarationID(d)))
		}
		t.say(list[1:]...)
		return t.tell(list[0])
	case p.Quantity == "":
		return line{}
	}
	q, ok := t.f.know.Catalogue.Quantity(catalogue.QuantityID(p.Quantity))
	if !ok {
		return line{}
	}
	if t.r.IntN(12) == 0 {
		return line{text: "can't do that one", cannot: true}
	}
	at := catalogue.PlaceID(p.Place)
	if !q.Kind.Numeric() {
		return t.tell(see(q.ID, at, pick(t.r, q.Values...).ID))
	}
	l := t.tell(number(q.ID, at, t.value(p, q), q.Unit))
	if l.text == "" { // no words but the number alone, in answer to the step
		l.text = intString(l.told[0].Reading.Value)
	}
	return l
}

// value is a number for a question: what a dead unit reads where it is asked on the
// way there, anything else where it is a test.
func (t *tech) value(p hazard.Prompt, q catalogue.Quantity) float64 {
	if p.Does == "make_safe" {
		switch {
		case p.Place == "known_live":
			return pick(t.r, 240.0, 240, 240, 240, 120, 0)
		case t.r.IntN(20) == 0:
			return 240
		}
		return pick(t.r, 0.0, 0, 0, 2)
	}
	low, high := q.Range(catalogue.PlaceID(p.Place))
	switch q.ID {
	case "voltage":
		return pick(t.r, 0.0, 240, 240, 120)
	case "control_voltage":
		return pick(t.r, 0.0, 26, 26, 12)
	}
	if t.r.IntN(4) == 0 {
		return low
	}
	return float64(int(low + (high-low)*t.r.Float64()*t.r.Float64()))
}
