package simulator

func (w *World) observed(quantity, place string) (Answer, bool) {
	r, p, u := w.settle(), &w.p, &w.Unit
	c := r.point
	on := r.state == "running"
	switch quantity + " " + place {
	case "complaint unit":
		return choice(w.complaint()), true
	case "mode unit":
		if w.Heating {
			return choice("heating"), true
		}
		return choice("cooling"), true
	case "compressor_sound compressor":
		switch {
		case on && (p.worn || p.crankcase):
			return choice("rattle"), true
		case on:
			return choice("running"), true
		case r.state == "locked" && (p.runOpen || p.runWire):
			return choice("hum"), true
		case r.state == "locked":
			return w.seen("hum_then_click", "hum"), true
		}
		return choice("silent"), true
	case "fan_motion fan":
		return choice(r.fan), true
	case "fan_motion blower":
		return choice(r.blower), true
	case "fan_turns_by_hand fan":
		switch {
		case p.fanSeized:
			return w.seen("seized", "stiff"), true
		case p.fanStiff:
			return choice("stiff"), true
		}
		return choice("free"), true
	case "motor_kind blower":
		return choice(pickBool(u.CapBlower > 0, "capacitor_run", "electronic")), true
	case "fan_turns_by_hand blower":
		if p.blowerStiff {
			return w.seen("seized", "stiff"), true
		}
		return choice("free"), true
	case "contactor_state contactor":
		return choice(r.contactor), true
	case "contacts contactor":
		switch {
		case p.welded:
			return choice("welded"), true
		case p.stuckOpen:
			return choice("blocked"), true
		case p.poleOpen || p.poleOhms[0] > 0.1:
			return choice("pitted"), true
		}
		return w.seen("clean", "pitted"), true
	case "capacitor_look capacitor":
		return choice(p.capLook), true
	case "connection compressor":
		return w.lead(p.plugLook), true
	case "connection capacitor":
		return w.lead(p.capConnection), true
	case "connection contactor":
		return w.lead(p.contactWire), true
	case "connection disconnect":
		if p.pullOut && w.arrival {
			return choice("loose"), true
		}
		return choice(p.pullLook), true
	case "connection fan":
		return w.lead(p.fanWire), true
	case "connection low_voltage_wiring":
		if p.yOpen || p.rvWireOpen || p.controlShort || p.statWire {
			return w.seen("broken", "tight"), true // not all of it can be seen
		}
		return choice("tight"), true
	case "smell compressor", "smell unit":
		if p.toGround < 0.05 || p.turnShort > 0.3 || p.contactWire == "burnt" || p.plugLook == "burnt" || p.fanGround {
			return w.seen("burnt", "none"), true
		}
		return choice("none"), true
	case "shell_feel compressor":
		switch {
		case w.Now < w.overloadUntil || r.state == "locked" || on && (c.discharge > 235 || r.amps > 1.25*u.RLA):
			return w.seen("hot", "warm"), true
		case on:
			return choice("warm"), true
		}
		return w.seen("cool", "warm"), true
	case "lines_feel unit":
		d := c.liquidT - c.suctionT
		if on && (d > 15 || d < -15) {
			return choice("parting"), true
		}
		return choice("same"), true
	case "frost indoor_coil":
		return w.frost(on && !r.circuit.heating, c.evap), true
	case "frost suction_line":
		return w.frost(on, c.suctionT), true
	case "frost outdoor_coil":
		switch {
		case p.frosted < 1 && p.frosted <= 0.3:
			return choice("full"), true
		case p.frosted < 1 || p.defrostNow:
			return w.seen("partial", "full"), true
		case on && r.circuit.heating && c.evap < 28 && w.outdoor < 42:
			return w.seen("partial", "none"), true
		}
		return choice("none"), true
	case "frost liquid_line":
		if on && c.liquidT-c.afterDrier > 25 && c.afterDrier < 50 {
			return choice("partial"), true
		}
		return choice("none"), true
	case "oil_stain unit":
		return w.oil(0.55), true
	case "oil_stain indoor_coil", "oil_stain outdoor_coil":
		return w.oil(0.3), true
	case "filter_state filter":
		if p.filter == "clean" {
			return w.seen("clean", "dirty"), true
		}
		return choice(p.filter), true
	case "coil_state outdoor_coil":
		return w.fouling(p.outCoil), true
	case "coil_state indoor_coil":
		return w.fouling(p.indoorCoil), true
	case "breaker_state breaker":
		switch {
		case w.tripped:
			return choice("tripped"), true
		case !w.breakerOn:
			return choice("off"), true
		}
		return choice("on"), true
	case "fuse_state disconnect_fuse":
		return when(u.FusedPull, choice(pickBool(p.fuseBlown, "blown", "good"))), true
	case "fuse_state control_fuse":
		return choice(pickBool(w.fuseBlown, "blown", "good")), true
	case "thermostat_state thermostat":
		switch {
		case p.statBlank || (r.secondary == 0 || w.fuseBlown || p.statWire && w.once("common wire", 0.5)) && !w.batteries:
			return choice("blank"), true
		case p.statWrongMode:
			return choice("wrong_mode"), true
		case p.statSatisfied || !w.calling:
			return choice("satisfied"), true
		}
		return choice("calling"), true
	case "switch_state high_pressure_switch":
		return when(u.HighSwitch, choice(pickBool(p.highOpen, "open", "closed"))), true
	case "switch_state low_pressure_switch":
		return when(u.LowSwitch, choice(pickBool(p.lowOpen || w.standing() < lowLimit(u.Refrigerant), "open", "closed"))), true
	case "switch_state float_switch":
		return when(u.Float, choice(pickBool(p.floatOpen, "open", "closed"))), true
	case "switch_state door_switch":
		return when(w.doorSwitch || p.doorOpen, choice(pickBool(p.doorOpen, "open", "closed"))), true
	case "jumper_start thermostat":
		bridged := r.secondary > 0 && !w.fuseBlown && !p.floatOpen && !p.statWire && !p.yOpen && !p.highOpen && !p.lowOpen && !r.lowOpen && !p.boardDead && !p.coilOpen && !p.stuckOpen && r.line > 0
		return choice(pickBool(bridged, "starts", "nothing")), true
	case "switch_state defrost_sensor":
		if !u.HeatPump {
			return notHere(), true
		}
		cold := w.Heating && (p.frosted < 1 || w.outdoor < 30)
		return choice(pickBool(cold && p.defrostNever != "sensor", "closed", "open")), true
	case "delay_state defrost_board":
		switch {
		case u.Delay == 0:
			return choice("none"), true
		case w.inDelay():
			return choice("running"), true
		}
		return choice("expired"), true
	case "defrost_state defrost_board":
		switch {
		case !u.HeatPump:
			return notHere(), true
		case p.defrostStuck:
			return w.seen("stuck", "defrosting"), true
		case p.defrostNow:
			return choice("defrosting"), true
		case p.defrostNever != "":
			// A look sees the moment; that it never does is what the customer has seen, or nobody.
			return choice(pickBool(w.once("never seen to defrost", 0.4), "never", "normal")), true
		}
		return choice("normal"), true
	case "defrost_test defrost_board":
		if !u.HeatPump {
			return notHere(), true
		}
		// Some boards force a defrost past an open sensor, others do not.
		past := p.defrostNever == "sensor" && w.once("forced past the sensor", 0.5)
		return choice(pickBool(p.defrostNever != "" && !past || r.callY == 0, "nothing", "starts")), true
	case "sight_glass liquid_line":
		switch {
		case !u.SightGlass:
			return choice("none"), true
		case on && c.subcooling < 0.5:
			return choice("bubbles"), true
		}
		return choice("clear"), true
	case "drain_state indoor_coil":
		return choice(pickBool(p.drainBlocked, "blocked", "clear")), true
	case "belt_or_wheel blower":
		return choice(p.blowerWheel), true
	case "duct_state duct":
		return choice(p.ducts), true
	case "breaker_reset breaker":
		return w.resetOnce(), true
	case "breaker_isolated compressor":
		if p.fanGround || p.wireGround != "" {
			return choice("trips"), true
		}
		w.breakerOn, w.tripped, w.tripTold, w.cache = true, false, true, nil
		return choice("holds"), true
	case "start_kit compressor":
		switch {
		case !w.kit:
			return notHere(), true
		case on:
			return choice("starts"), true
		case r.state == "locked":
			return w.seen("stalled", "silent"), true
		}
		return choice("silent"), true
	case "valve_shift reversing_valve":
		moves := u.HeatPump && r.state == "running" && !p.rvStuck && !p.rvCoilOpen && !p.rvWireOpen && !p.defrostStuck && !p.defrostNow
		return when(u.HeatPump, choice(pickBool(moves, "shifts", "stays"))), true
	case "unloaded_voltage transformer_secondary":
		return choice(pickBool(r.secondary > 20, "comes_back", "stays_low")), true
	case "valve_setting thermostat":
		return when(u.HeatPump, choice(pickBool(p.rvWrong, "wrong", "right"))), true
	case "starts_again compressor":
		return choice(pickBool(on, "quick", "stalls")), true
	case "leak_search unit":
		if p.leak {
			return w.seen("found", "none", "found", "found"), true
		}
		return choice("none"), true
	case "bulb_state suction_line":
		if !u.Valve {
			return choice("none"), true
		}
		return choice(pickBool(p.bulbLoose, "loose", "tight")), true
	case "bulb_response suction_line":
		opens := u.Valve && on && !p.valveSeized
		return when(u.Valve, choice(pickBool(opens, "rises", "stays"))), true
	case "blade_state fan":
		return choice(pickBool(p.fanBlade, "damaged", "whole")), true
	case "noise_source unit":
		switch {
		case p.noise != "none":
			return choice(p.noise), true
		case on && (p.worn || p.crankcase):
			return choice("compressor"), true
		case p.fanBlade && r.fan != "stopped":
			return choice("fan"), true
		case r.contactor == "chattering":
			return choice("contactor"), true
		}
		return choice("none"), true
	}
	return Answer{}, false
}

// lead is the look of a connection. Some broken ones look and feel sound.
func (w *World) lead(look string) Answer {
	if w.habits.hidden > 0 && w.once("hidden lead", w.habits.hidden) {
		return choice("tight")
	}
	return choice(look)
}

func pickBool[T any](b bool, yes, no T) T {
	if b {
		return yes
	}
	return no
}

func (w *World) frost(on bool, t float64) Answer {
	switch {
	case on && t < 22:
		return choice("full")
	case on && t < 29:
		return w.seen("partial", "none", "full")
	}
	return choice("none")
}

// oil shows at a leak now and then.
func (w *World) oil(share float64) Answer {
	return choice(pickBool(w.p.leak && w.once("oil", share), "present", "none"))
}

func (w *World) fouling(left float64) Answer {
	switch {
	case left < 0.4:
		return w.seen("blocked", "dirty")
	case left < 0.8:
		return w.seen("dirty", "blocked")
	}
	return w.seen("clean", "dirty")
}

// once draws a chance the first time and keeps it for the job.
func (w *World) once(what string, p float64) bool {
	if _, ok := w.gain[what]; !ok {
		w.gain[what] = w.r.Float64()
	}
	return w.gain[what] < p
}

// resetOnce resets the breaker and says how it goes.
func (w *World) resetOnce() Answer {
	if !w.tripped && w.breakerOn {
		if w.tripsLater() {
			w.tripped, w.tripTold, w.tripAt, w.cache = true, true, 0, nil
			return choice("trips_later")
		}
		return choice("holds")
	}
	w.breakerOn, w.tripped, w.tripTold = true, false, true
	w.cache = nil
	before := len(w.noticed)
	w.settle()
	if w.tripped {
		w.noticed = w.noticed[:before] // it is the answer
		return choice("trips_at_once")
	}
	if w.tripsLater() {
		w.tripped, w.tripAt, w.cache = true, 0, nil
		return choice("trips_later")
	}
	return choice("holds")
}

// tripsLater says whether the breaker opens after a while under this load.
func (w *World) tripsLater() bool {
	r := w.settle()
	return (w.p.breakerWeak || w.overloaded(r)) && r.state == "running" || r.state == "locked" && w.p.tripsOnLocked
}

// overloaded says whether the running unit draws more than a breaker too small for it
// carries for long: 80 percent of its rating, in a box that stands in the sun.
func (w *World) overloaded(r *running) bool {
	return w.p.breakerSize > 0 && r.amps+r.fanAmps > 0.8*w.p.breakerSize
}

// complaint is what the customer says, as far as the customer can tell.
func (w *World) complaint() string {
	r, p := w.settle(), &w.p
	which := func(cool, heat string) string { return pickBool(w.Heating, heat, cool) }
	if w.said != "" {
		return w.said
	}
	on := r.state == "running"
	var s string
	switch {
	case w.tripped && !p.breakerOff && w.once("breaker", 0.7), p.breakerSize > 0 && !w.tripped:
		s = "breaker_trips"
	case p.welded:
		s = pickBool(w.once("weld", 0.5), "high_bill", "freezes")
	case p.noise != "none" || on && (p.worn || p.crankcase) || p.fanBlade && w.once("noise", 0.6):
		s = "noise"
	case p.drainBlocked && w.once("water", 0.4):
		s = "water"
	case r.blower == "stopped" && r.load == 0:
		s = pickBool(w.once("dead", 0.7), "nothing_runs", which("no_cooling", "no_heating"))
	case r.load == 0 || r.state == "overload" || r.state == "off" && r.fan == "stopped":
		s = pickBool(w.once("out", 0.5), "outdoor_unit_dead", which("no_cooling", "no_heating"))
	case !on:
		s = which("no_cooling", "no_heating")
	case r.circuit.heating && !w.Heating:
		s = "heat_in_cooling"
	case p.frosted < 1 || !w.Heating && r.point.evap < 26 && w.once("ice", 0.6):
		s = "freezes"
	case (r.highOpen || r.lowOpen) && w.once("cycle", 0.6):
		s = "short_cycles"
	case r.blower == "stopped" || r.blower == "hum":
		s = which("no_cooling", "no_heating")
	case w.once("bill", 0.08):
		s = "high_bill"
	default:
		s = which("weak_cooling", "weak_heating")
	}
	if w.habits.vague > 0 && w.once("vague", w.habits.vague) {
		s = vaguer(s, which)
	}
	w.said = s
	return s
}

// vaguer is what a customer says who tells less.
func vaguer(s string, which func(cool, heat string) string) string {
	switch s {
	case "outdoor_unit_dead", "nothing_runs", "heat_in_cooling", "breaker_trips", "water":
		return which("no_cooling", "no_heating")
	case "freezes", "short_cycles":
		return which("weak_cooling", "weak_heating")
	}
	return s
}
