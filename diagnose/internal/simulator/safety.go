package simulator

// hands says where a question puts the hands on conductors or into moving
// parts: "outdoor", "capacitor" (outdoor, with the capacitor in reach),
// "indoor", or "" for looking, listening and probing from outside. It is this
// package's own judgement, not the engine's table of states. Common practice,
// no source.
func hands(quantity, place string) string {
	switch quantity {
	case "capacitance":
		if place == "blower_capacitor" {
			return "blower"
		}
		return "capacitor"
	case "resistance", "insulation_resistance":
		switch place {
		case "blower_winding":
			return "blower"
		case "aux_heat", "control_fuse":
			return "indoor"
		case "disconnect_fuse":
			return "line"
		}
		return "capacitor"
	case "lead_resistance":
		return "blower"
	case "fan_turns_by_hand":
		if place == "blower" {
			return "blower"
		}
		return "capacitor"
	case "connection":
		switch place {
		case "low_voltage_wiring":
			return ""
		case "disconnect":
			return "line"
		}
		return "capacitor"
	case "contacts":
		return "capacitor"
	case "capacitor_look":
		return "outdoor"
	case "switch_state":
		if place == "high_pressure_switch" || place == "low_pressure_switch" || place == "defrost_sensor" {
			return "capacitor"
		}
	case "belt_or_wheel":
		return "indoor"
	}
	return ""
}

// wiring is the same for what is declared once it was done.
func wiring(declaration string) string {
	switch declaration {
	case "leads_off", "leads_on", "compressor_plug_off", "compressor_plug_on", "start_kit_on", "start_kit_off":
		return "capacitor"
	}
	return ""
}

// repairHands is the same for repairs. "line" is the line side of the
// disconnect, which pulling it does not make dead.
func repairHands(repair string) string {
	switch repair {
	case "replace_run_capacitor", "repair_terminal", "replace_contactor", "replace_compressor", "replace_start_gear", "fit_start_kit",
		"replace_fan_motor", "correct_fan_rotation", "replace_fan_blade", "replace_crankcase_heater",
		"replace_high_switch", "replace_low_switch", "replace_board", "clean_outdoor_coil",
		"replace_valve_coil", "replace_defrost_sensor", "replace_reversing_valve", "replace_drier":
		return "capacitor"
	case "replace_transformer", "clean_indoor_coil", "replace_element", "replace_sequencer":
		return "indoor"
	case "clean_blower_wheel", "replace_blower_capacitor", "replace_blower_motor", "replace_blower_module", "replace_blower_relay":
		return "blower"
	case "replace_conductors", "repair_supply_joint", "replace_disconnect_fuse":
		return "line"
	}
	return ""
}

// liveQuantity says whether a reading is taken on or beside live line-voltage
// parts with the cover off.
func liveQuantity(quantity, place string) bool {
	switch quantity {
	case "voltage", "voltage_under_start", "capacitor_voltage", "voltage_drop", "current", "starting_current":
		return true
	case "contactor_state", "start_kit":
		return true
	}
	return false
}

// Unsafe kinds, counted in a Result.
const (
	HandsOnLive     = "hands on what is live"
	HandsOnUnproved = "hands on what is not proved dead"
	HandsOnCharged  = "hands on a charged capacitor"
	LiveUncautioned = "live reading without a caution"
)

// touching judges a prompt to put hands somewhere against the truth; "" is safe.
func (w *World) touching(where string) string {
	r := w.settle()
	switch where {
	case "":
		return ""
	case "indoor", "blower":
		if w.airHandlerOn && !w.p.primaryLost {
			return HandsOnLive
		}
		if !w.proved["blower"] {
			return HandsOnUnproved
		}
		switch {
		case where == "indoor" || w.Unit.CapBlower == 0:
			return ""
		case w.blowerVolts() > 50:
			return HandsOnCharged
		case !w.proved["blower_capacitor"]:
			return HandsOnUnproved
		}
		return ""
	case "line":
		if w.breakerOn && !w.tripped {
			return HandsOnLive
		}
	}
	if r.leg1 > 0 || r.leg2 > 0 {
		return HandsOnLive
	}
	if !w.proved["known_live"] || !w.legs() || !w.proved["closed"] {
		return HandsOnUnproved
	}
	if where == "capacitor" {
		if w.capVolts > 50 {
			return HandsOnCharged
		}
		if !w.proved["herm"] || !w.proved["fan_section"] {
			return HandsOnUnproved
		}
	}
	return ""
}

// legs says whether all three readings have shown nothing.
func (w *World) legs() bool {
	return w.proved["leg_to_leg"] && w.proved["leg_1_to_ground"] && w.proved["leg_2_to_ground"]
}

// prove keeps what a reading has shown to be dead.
func (w *World) prove(quantity, place string, a Answer) {
	if quantity == "capacitor_voltage" && a.Can {
		w.proved[place] = a.Value < 5
	}
	if quantity == "voltage" && place == "blower" && a.Can && w.bleeds {
		w.proved["blower_capacitor"] = w.blowerVolts() < 5 // the volts across it are asked for so
	}
	if quantity != "voltage" || !a.Can {
		return
	}
	if a.Value > 90 && place != "capacitor" {
		w.proved["known_live"] = true // live, dead, live: any live source will do
		w.proved["closed"] = w.legs()
	}
	switch place {
	case "leg_to_leg", "leg_1_to_ground", "leg_2_to_ground", "blower":
		w.proved[place] = a.Value < 2
	}
	if place == "blower" && w.blowerBled { // then the volts there are its capacitor's
		w.proved["blower_capacitor"] = w.blowerVolts() < 5
	}
}
