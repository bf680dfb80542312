package simulator

import "math"

// faultKind is one thing that can be wrong, how often it is met relative to the
// others (common practice, no source), when it can be, what mends it and what
// it does to the parts.
type faultKind struct {
	weight float64
	fits   func(w *World) bool
	mends  []string // repairs, any of which puts it right
	normal bool     // nothing is wrong with the unit
	apply  func(w *World, p *parts, s setting)
}

func always(*World) bool       { return true }
func hasFuses(w *World) bool   { return w.Unit.FusedPull }
func hasValve(w *World) bool   { return w.Unit.Valve }
func hasDelay(w *World) bool   { return w.Unit.Delay > 0 }
func hasStart(w *World) bool   { return w.Unit.CapStart > 0 }
func noStart(w *World) bool    { return w.Unit.CapStart == 0 }
func hasLow(w *World) bool     { return w.Unit.LowSwitch }
func hasHigh(w *World) bool    { return w.Unit.HighSwitch }
func hasFloat(w *World) bool   { return w.Unit.Float && !w.Heating }
func pump(w *World) bool       { return w.Unit.HeatPump }
func pumpOn(w *World) bool     { return w.Unit.HeatPump && w.Heating == w.energisedHeats } // its valve is energised
func pumpHeat(w *World) bool   { return w.Unit.HeatPump && w.Heating }
func coldHeat(w *World) bool   { return pumpHeat(w) && w.outdoor < 45 }
func auxHeat(w *World) bool    { return pumpHeat(w) && w.Unit.AuxKW > 0 && w.outdoor < 40 }
func auxCool(w *World) bool    { return w.Unit.AuxKW > 0 && !w.Heating }
func psc(w *World) bool        { return w.Unit.CapBlower > 0 }
func electronic(w *World) bool { return w.Unit.CapBlower == 0 }
func crankcase(w *World) bool  { return w.Unit.Crankcase }

// scale maps 0..1 to from..to.
func scale(x, from, to float64) float64 { return from + (to-from)*x }

// faultTable maps a fault's id to its kind.
var faultTable = map[string]faultKind{
	// Nothing wrong.
	"delay_running":         {5, hasDelay, nil, true, func(w *World, p *parts, s setting) { p.delayShort = true }},
	"thermostat_satisfied":  {4, always, nil, true, func(w *World, p *parts, s setting) { p.statSatisfied = true }},
	"thermostat_wrong_mode": {6, always, nil, true, func(w *World, p *parts, s setting) { p.statWrongMode = true }},
	"defrosting":            {4, coldHeat, nil, true, func(w *World, p *parts, s setting) { p.defrostNow = true }},
	"no_fault":              {8, always, nil, true, func(w *World, p *parts, s setting) {}},
	"overload_cooled":       {0, always, nil, true, func(w *World, p *parts, s setting) { p.overloadHot = true }},

	// Supply.
	"breaker_off":           {12, always, []string{"reset_breaker"}, false, func(w *World, p *parts, s setting) { p.breakerOff = true }},
	"breaker_worn":          {5, always, []string{"replace_breaker"}, false, func(w *World, p *parts, s setting) { p.breakerWeak = true }},
	"disconnect_out":        {6, always, []string{"seat_disconnect"}, false, func(w *World, p *parts, s setting) { p.pullOut = true }},
	"disconnect_fuse_blown": {10, hasFuses, []string{"replace_disconnect_fuse"}, false, func(w *World, p *parts, s setting) { p.fuseBlown = true }},
	"leg_lost":              {4, always, []string{"restore_supply"}, false, func(w *World, p *parts, s setting) { p.legLost = true }},
	"supply_low":            {3, always, []string{"call_utility"}, false, func(w *World, p *parts, s setting) { p.volts = scale(s.bad, 184, 160) }},
	"supply_joint_burnt": {5, always, []string{"repair_supply_joint"}, false, func(w *World, p *parts, s setting) {
		// A joint that passes a voltmeter's microamps and fails under load.
		p.pullOhms = scale(s.bad, 1.2, 4)
		p.pullLook = "burnt"
	}},
	// A breaker one or two sizes under what the plate asks for.
	"breaker_small": {0, func(w *World) bool { return w.Unit.MCA >= 22 }, []string{"replace_breaker"}, false, func(w *World, p *parts, s setting) {
		p.breakerSize = math.Floor(w.Unit.MCA*scale(s.bad, 0.78, 0.62)/5) * 5
	}},
	"conductor_small": {2, always, []string{"replace_conductors"}, false, func(w *World, p *parts, s setting) {
		p.sourceOhms = 230 / w.Unit.LRA * scale(s.bad, 0.16, 0.32) // what a wire sags hangs on what flows in it
	}},

	// Control.
	"thermostat_failed": {6, always, []string{"replace_thermostat"}, false, func(w *World, p *parts, s setting) {
		p.statDead, p.statNoY = s.way < 0.4, s.way >= 0.4
	}},
	"thermostat_blank_battery": {6, always, []string{"replace_thermostat_batteries"}, false, func(w *World, p *parts, s setting) { p.statBlank = true }},
	"stat_wire_broken":         {0, always, []string{"repair_control_wire"}, false, func(w *World, p *parts, s setting) { p.statWire = true }},
	"control_wire_broken":      {7, always, []string{"repair_control_wire"}, false, func(w *World, p *parts, s setting) { p.yOpen = true }},
	"transformer_failed":       {8, always, []string{"replace_transformer"}, false, func(w *World, p *parts, s setting) { p.xfmrDead = true }},
	"transformer_weak":         {2, always, []string{"replace_transformer"}, false, func(w *World, p *parts, s setting) { p.xfmrVolts = scale(s.bad, 18, 14) }},
	"air_handler_dead":         {6, always, []string{"restore_air_handler"}, false, func(w *World, p *parts, s setting) { p.primaryLost = true }},
	"door_switch_open":         {0, always, []string{"close_air_handler"}, false, func(w *World, p *parts, s setting) { p.primaryLost, p.doorOpen = true, true }},
	"contactor_coil_shorted":   {0, always, []string{"replace_contactor"}, false, func(w *World, p *parts, s setting) { p.coilShorted = true }},
	"valve_coil_shorted":       {0, pump, []string{"replace_valve_coil"}, false, func(w *World, p *parts, s setting) { p.valveShorted = true }},
	"control_short":            {7, always, []string{"repair_control_short"}, false, func(w *World, p *parts, s setting) { p.controlShort = true }},
	"high_switch_failed":       {3, hasHigh, []string{"replace_high_switch"}, false, func(w *World, p *parts, s setting) { p.highOpen = true }},
	"low_switch_failed":        {3, hasLow, []string{"replace_low_switch"}, false, func(w *World, p *parts, s setting) { p.lowOpen = true }},
	"charge_lost": {8, hasLow, []string{"repair_leak_and_charge"}, false, func(w *World, p *parts, s setting) {
		p.charge, p.leak = scale(s.bad, 0.025, 0), true
	}},
	"drain_blocked":       {8, hasFloat, []string{"clear_drain"}, false, func(w *World, p *parts, s setting) { p.floatOpen, p.drainBlocked = true, true }},
	"float_switch_failed": {0, hasFloat, []string{"replace_float_switch"}, false, func(w *World, p *parts, s setting) { p.floatOpen = true }},
	"board_failed":        {6, pump, []string{"replace_board"}, false, func(w *World, p *parts, s setting) { p.boardDead = true }},

	// Contactor.
	"contactor_coil_open": {8, always, []string{"replace_contactor"}, false, func(w *World, p *parts, s setting) { p.coilOpen = true }},
	"contactor_stuck":     {8, always, []string{"replace_contactor"}, false, func(w *World, p *parts, s setting) { p.stuckOpen = true }},
	"contactor_burnt":     {10, always, []string{"replace_contactor"}, false, func(w *World, p *parts, s setting) { p.poleOpen = true }},
	"contactor_drop": {7, always, []string{"replace_contactor"}, false, func(w *World, p *parts, s setting) {
		p.poleOhms[0] = scale(s.bad, 0.25, 1.5)
	}},
	"contactor_welded": {4, always, []string{"replace_contactor"}, false, func(w *World, p *parts, s setting) { p.welded = true }},
	"contactor_terminal_burnt": {6, always, []string{"repair_terminal"}, false, func(w *World, p *parts, s setting) {
		p.contactWire, p.wireOff = pickWay(s.way, "broken", "burnt"), pickWay(s.bad, "line", "load", "compressor")
	}},

	"wire_shorted": {0, always, []string{"repair_terminal"}, false, func(w *World, p *parts, s setting) {
		p.wireGround, p.contactWire = pickWay(s.way, "load", "load", "line"), pickWay(s.bad, "tight", "tight", "tight", "tight", "burnt")
	}},

	// Capacitors and start gear.
	"run_capacitor_failed": {75, always, []string{"replace_run_capacitor"}, false, func(w *World, p *parts, s setting) {
		p.herm = 0
		if s.bad < 0.5 {
			p.herm = scale(s.bad, 0.02, 0.4)
		}
		p.capLook = pickWay(s.way, "normal", "swollen", "swollen", "swollen", "leaking", "burst")
	}},
	"run_capacitor_weak": {35, always, []string{"replace_run_capacitor"}, false, func(w *World, p *parts, s setting) {
		p.herm = scale(s.bad, 0.82, 0.55)
		p.capLook = pickWay(s.way, "normal", "normal", "swollen")
	}},
	"run_capacitor_wrong": {3, always, []string{"replace_run_capacitor"}, false, func(w *World, p *parts, s setting) {
		p.wrongCap = pickWay(s.way, 0.5, 0.6, 0.7, 1.4)
	}},
	"start_wire_broken": {8, always, []string{"repair_terminal"}, false, func(w *World, p *parts, s setting) {
		p.startWire, p.plugLook = true, pickWay(s.way, "broken", "burnt")
	}},
	"capacitor_terminal_broken": {8, always, []string{"repair_terminal"}, false, func(w *World, p *parts, s setting) { p.capConnection = "broken" }},
	"common_wire_broken": {8, always, []string{"repair_terminal"}, false, func(w *World, p *parts, s setting) {
		p.commonOpen, p.plugLook = s.bad < 0.7, pickWay(s.way, "broken", "burnt")
		p.runWire = !p.commonOpen
	}},
	"start_gear_failed": {5, hasStart, []string{"replace_start_gear"}, false, func(w *World, p *parts, s setting) {
		p.startCap, p.relayOpen = pickWay(s.way, 0, 0.3, 1.0), s.way >= 0.66
		p.tight = 0.9 // such a compressor needs its start gear
	}},

	"start_relay_stuck": {0, hasStart, []string{"replace_start_gear"}, false, func(w *World, p *parts, s setting) { p.relayStuck = true }},

	// A compressor whose load at the start is more than its own torque, and no more
	// than a start kit's: see worthACall.
	"compressor_hard_start": {6, noStart, []string{"fit_start_kit"}, false, func(w *World, p *parts, s setting) { p.tight = scale(s.bad, 1.6, 4) }},

	// Compressor.
	"compressor_seized":     {10, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.locked = true }},
	"start_winding_open":    {4, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.startOpen = true }},
	"run_winding_open":      {4, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.runOpen = true }},
	"compressor_grounded":   {7, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.toGround = scale(s.bad, 0.04, 0) }},
	"compressor_turn_short": {3, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.turnShort = scale(s.bad, 0.3, 0.6) }},
	"overload_stuck":        {2, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.overload = true }},
	"compressor_noisy":      {3, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.worn = true }},
	"crankcase_heater_open": {2, crankcase, []string{"replace_crankcase_heater"}, false, func(w *World, p *parts, s setting) { p.crankcase = true }},

	// Outdoor fan.
	"fan_capacitor_failed": {18, always, []string{"replace_run_capacitor"}, false, func(w *World, p *parts, s setting) { p.fanCap = scale(s.bad, 0.7, 0) }},
	"fan_motor_open":       {9, always, []string{"replace_fan_motor"}, false, func(w *World, p *parts, s setting) { p.fanOpen = true }},
	"fan_motor_seized":     {10, always, []string{"replace_fan_motor"}, false, func(w *World, p *parts, s setting) { p.fanSeized = s.bad < 0.7; p.fanStiff = s.bad >= 0.7 }},
	"fan_motor_grounded":   {3, always, []string{"replace_fan_motor"}, false, func(w *World, p *parts, s setting) { p.fanGround = true }},
	"fan_wire_broken":      {4, always, []string{"repair_terminal"}, false, func(w *World, p *parts, s setting) { p.fanWire = "broken" }},
	"fan_backwards":        {1, always, []string{"correct_fan_rotation"}, false, func(w *World, p *parts, s setting) { p.fanBackward = true }},
	"fan_blade_damaged":    {3, always, []string{"replace_fan_blade"}, false, func(w *World, p *parts, s setting) { p.fanBlade = true }},
	"board_fan_relay":      {3, pump, []string{"replace_board"}, false, func(w *World, p *parts, s setting) { p.fanRelay = true }},

	// Indoor air.
	"filter_blocked": {22, always, []string{"replace_filter"}, false, func(w *World, p *parts, s setting) {
		p.filter, p.filterAir = pickWay(s.bad, "dirty", "blocked"), scale(s.bad, 0.6, 0.25)
	}},
	"indoor_coil_dirty":     {9, always, []string{"clean_indoor_coil"}, false, func(w *World, p *parts, s setting) { p.indoorCoil = scale(s.bad, 0.65, 0.3) }},
	"blower_wheel_dirty":    {6, always, []string{"clean_blower_wheel"}, false, func(w *World, p *parts, s setting) { p.blowerWheel = pickWay(s.way, "dirty", "dirty", "loose") }},
	"ducts_closed":          {5, always, []string{"correct_ducts"}, false, func(w *World, p *parts, s setting) { p.ducts = pickWay(s.way, "closed", "leaking") }},
	"blower_capacitor_weak": {6, psc, []string{"replace_blower_capacitor"}, false, func(w *World, p *parts, s setting) { p.blowerCap = scale(s.bad, 0.75, 0) }},
	"blower_motor_failed":   {9, always, []string{"replace_blower_motor"}, false, func(w *World, p *parts, s setting) { p.blowerOpen = s.way < 0.6; p.blowerStiff = s.way >= 0.6 }},
	"blower_module_failed":  {0, electronic, []string{"replace_blower_module", "replace_blower_motor"}, false, func(w *World, p *parts, s setting) { p.blowerModule = true }},
	"blower_relay_failed":   {4, always, []string{"replace_blower_relay"}, false, func(w *World, p *parts, s setting) { p.blowerRelay = true }},

	// Circuit.
	"outdoor_coil_dirty": {20, always, []string{"clean_outdoor_coil"}, false, func(w *World, p *parts, s setting) { p.outCoil = scale(s.bad, 0.6, 0.3) }},
	"undercharge":        {30, always, []string{"repair_leak_and_charge"}, false, func(w *World, p *parts, s setting) { p.charge, p.leak = scale(s.bad, 0.86, 0.55), true }},
	"overcharge":         {12, always, []string{"recover_charge"}, false, func(w *World, p *parts, s setting) { p.charge = scale(s.bad, 1.14, 1.4) }},
	"non_condensables":   {3, always, []string{"recover_evacuate_charge"}, false, func(w *World, p *parts, s setting) { p.air = scale(s.bad, 35, 90) }},
	"drier_restricted":   {4, always, []string{"replace_drier"}, false, func(w *World, p *parts, s setting) { p.restriction = scale(s.bad, 1.2, 3.5) }},
	"metering_starved":   {5, always, []string{"replace_metering"}, false, func(w *World, p *parts, s setting) { p.orifice, p.valveSeized = scale(s.bad, 0.62, 0.38), true }},
	"metering_floods":    {3, always, []string{"replace_metering"}, false, func(w *World, p *parts, s setting) { p.orifice, p.valveSeized = scale(s.bad, 1.5, 2.2), true }},
	"bulb_loose":         {3, hasValve, []string{"strap_bulb"}, false, func(w *World, p *parts, s setting) { p.bulbLoose = true }},
	"valves_leak":        {5, always, []string{"replace_compressor"}, false, func(w *World, p *parts, s setting) { p.pump = scale(s.bad, 0.35, 0.7) }},

	// Heat pump.
	"valve_leaks_inside": {3, pump, []string{"replace_reversing_valve"}, false, func(w *World, p *parts, s setting) { p.crossLeak = scale(s.bad, 0.25, 0.5) }},
	"valve_stuck":        {3, pump, []string{"replace_reversing_valve"}, false, func(w *World, p *parts, s setting) { p.rvStuck = true }},
	"valve_coil_open":    {3, pumpOn, []string{"replace_valve_coil"}, false, func(w *World, p *parts, s setting) { p.rvCoilOpen = true }},
	"valve_call_lost": {2, pump, []string{"repair_control_wire"}, false, func(w *World, p *parts, s setting) {
		p.rvWireOpen = s.way < 0.5 && pumpOn(w)
		p.rvWrong = !p.rvWireOpen
	}},
	"defrost_board_failed": {5, coldHeat, []string{"replace_board"}, false, func(w *World, p *parts, s setting) { p.defrostNever, p.frosted = "board", scale(s.bad, 0.4, 0.15) }},
	"defrost_sensor_open":  {4, coldHeat, []string{"replace_defrost_sensor"}, false, func(w *World, p *parts, s setting) { p.defrostNever, p.frosted = "sensor", scale(s.bad, 0.4, 0.15) }},
	"defrost_stuck":        {3, pumpHeat, []string{"replace_board"}, false, func(w *World, p *parts, s setting) { p.defrostStuck = true }},
	"aux_element_open":     {5, auxHeat, []string{"replace_element"}, false, func(w *World, p *parts, s setting) { p.auxOpen = true }},
	"aux_stuck_on":         {0, auxCool, []string{"replace_sequencer"}, false, func(w *World, p *parts, s setting) { p.auxStuck = true }},
	"aux_sequencer_failed": {4, auxHeat, []string{"replace_sequencer"}, false, func(w *World, p *parts, s setting) { p.auxRelay = true }},

	// Noise.
	"pipes_touch":  {2, always, []string{"separate_pipes"}, false, func(w *World, p *parts, s setting) { p.noise = "pipes" }},
	"blower_noisy": {2, always, []string{"replace_blower_motor"}, false, func(w *World, p *parts, s setting) { p.noise = "blower" }},
}

// rares are faults that are drawn apart, with their shares of all calls: see rare. Common
// practice, no source.
var rares = []struct {
	id    string
	share float64
}{
	{"wire_shorted", 0.008}, {"breaker_small", 0.005},
	{"contactor_coil_shorted", 0.006}, {"valve_coil_shorted", 0.002}, {"stat_wire_broken", 0.004}, {"door_switch_open", 0.004}, {"float_switch_failed", 0.003},
	{"overload_cooled", 0.006}, {"blower_module_failed", 0.006}, {"aux_stuck_on", 0.004}, {"start_relay_stuck", 0.003},
}

// pickWay chooses one of several by a number in 0..1.
func pickWay[T any](x float64, of ...T) T {
	i := int(x * float64(len(of)))
	return of[min(i, len(of)-1)]
}
