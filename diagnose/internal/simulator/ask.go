package simulator

import "math"

// Answer is what the technician says to one question.
type Answer struct {
	Can       bool    // false: not fitted, out of reach or no instrument
	Choice    string  // of an observed or marked quantity
	Value     float64 // of a measured or rated one
	Qualifier string  // "open_line", "nothing" or ""
}

func number(x float64) Answer { return Answer{Can: true, Value: x} }
func choice(c string) Answer  { return Answer{Can: true, Choice: c} }
func openLine() Answer        { return Answer{Can: true, Qualifier: "open_line"} }
func notHere() Answer         { return Answer{} }
func when(b bool, x Answer) Answer {
	if b {
		return x
	}
	return notHere()
}

// Ask answers one question at the present moment and energy state. Asking takes
// no time; the caller moves the clock.
func (w *World) Ask(quantity, place string) Answer {
	a := w.truth(quantity, place)
	if !a.Can || a.Choice != "" || a.Qualifier != "" {
		return a
	}
	if rated[quantity] {
		return a
	}
	a.Value = w.instrument(quantity, place, a.Value)
	return a
}

var rated = map[string]bool{
	"rated_load_amps": true, "locked_rotor_amps": true, "full_load_amps": true, "min_circuit_ampacity": true,
	"max_overcurrent": true, "overcurrent_fitted": true, "conductor_size": true, "rated_capacitance": true,
	"capacitor_voltage_rating": true, "capacitor_tolerance": true, "factory_charge": true, "target_subcooling": true,
	"rated_airflow": true, "rated_capacity": true, "aux_heat_rating": true, "altitude": true, "time_off": true,
}

// instrument adds the meter's own error, constant for the job, the reading's
// scatter, and the display's last digit.
func (w *World) instrument(quantity, place string, x float64) float64 {
	n := func(s float64) float64 { return s * w.habits.scatter * w.r.NormFloat64() }
	switch quantity {
	case "voltage", "control_voltage", "voltage_under_start", "capacitor_voltage":
		if x == 0 {
			if chance(w.r, 0.3) {
				return round(w.r.Float64()*0.8, 0.1) // a dead wire's whisper
			}
			return 0
		}
		return math.Max(0, round(x*(1+w.gain["volts"]+n(0.003)), 0.1))
	case "voltage_drop":
		return math.Max(0, round(x*(1+w.gain["volts"])+n(0.005), 0.01))
	case "current", "starting_current":
		if x == 0 {
			return 0
		}
		return math.Max(0, round(x*(1+w.gain["clamp"]+n(0.01)), 0.1))
	case "capacitance":
		return math.Max(0, round(x*(1+w.gain["cap"]+n(0.003)), 0.1))
	case "resistance", "lead_resistance":
		return math.Max(0, round(x*(1+w.gain["ohms"])+0.04+n(0.02), 0.05))
	case "insulation_resistance":
		return math.Max(0, round(x*(1+n(0.1)), 0.01))
	case "suction_pressure":
		return round(x+w.gain["low"]+n(0.5), 0.5)
	case "liquid_pressure", "standing_pressure":
		return math.Max(0, round(x+w.gain["high"]+n(1), 1))
	case "temperature", "wet_bulb":
		return round(x+w.gain["temp "+place]+n(0.2), 0.1)
	case "temperature_rise":
		return round(x+n(0.6), 0.1)
	case "relative_humidity":
		return math.Min(100, math.Max(5, round(x+n(2), 1)))
	case "static_pressure", "filter_drop":
		return math.Max(0, round(x*(1+n(0.04)), 0.01))
	case "airflow":
		return round(x*(1+n(0.04)), 5)
	}
	return x
}

// seen is an observation, now and then misjudged between neighbours.
func (w *World) seen(c string, neighbours ...string) Answer {
	if len(neighbours) > 0 && chance(w.r, w.careless) {
		return choice(pick(w.r, neighbours...))
	}
	return choice(c)
}

func (w *World) truth(quantity, place string) Answer {
	for _, of := range []func(string, string) (Answer, bool){w.nameplate, w.voltsAndAmps, w.deadTests, w.pressuresAndAir, w.observed} {
		if a, ok := of(quantity, place); ok {
			return a
		}
	}
	return notHere()
}

func (w *World) nameplate(quantity, place string) (Answer, bool) {
	u := &w.Unit
	switch quantity + " " + place {
	case "rated_load_amps compressor":
		return number(u.RLA), true
	case "locked_rotor_amps compressor":
		return number(u.LRA), true
	case "locked_rotor_amps fan":
		return notHere(), true
	case "full_load_amps fan":
		return number(u.FanFLA), true
	case "full_load_amps blower":
		return number(u.BlowerFLA), true
	case "min_circuit_ampacity unit":
		return number(u.MCA), true
	case "max_overcurrent unit":
		return number(u.MOCP), true
	case "overcurrent_fitted breaker":
		if w.p.breakerSize > 0 {
			return number(w.p.breakerSize), true
		}
		return number(u.Breaker), true
	case "conductor_size unit":
		if w.p.sourceOhms > w.sourceOhms {
			return number(14), true
		}
		return number(u.Wire), true
	case "rated_capacitance herm": // as the unit's plate has it
		return number(u.CapHerm), true
	case "rated_capacitance fan_section":
		return number(u.CapFan), true
	case "rated_capacitance start_capacitor":
		return when(u.CapStart > 0, number(u.CapStart)), true
	case "rated_capacitance blower_capacitor":
		return when(u.CapBlower > 0, number(u.CapBlower)), true
	case "capacitor_voltage_rating installed", "capacitor_voltage_rating replacement":
		return number(u.CapVolts), true
	case "capacitor_tolerance installed":
		return number(u.CapTol), true
	case "factory_charge unit":
		return number(u.Charge), true
	case "target_subcooling unit":
		return number(u.TargetSC), true
	case "rated_airflow unit":
		return number(u.Airflow), true
	case "rated_capacity unit":
		return number(u.Tons), true
	case "aux_heat_rating aux_heat":
		return when(u.AuxKW > 0, number(u.AuxKW)), true
	case "altitude unit":
		return number(u.Altitude), true
	case "unit_type unit":
		if u.HeatPump {
			return choice("heat_pump"), true
		}
		return choice("cooling_only"), true
	case "voltage_rating unit":
		return choice("208_230"), true
	case "phase unit":
		return choice("single"), true
	case "frequency unit":
		return choice("60"), true
	case "refrigerant unit":
		return choice(u.Refrigerant), true
	case "valve_energised unit":
		return when(u.HeatPump, choice(pickBool(w.energisedHeats, "in_heating", "in_cooling"))), true
	case "metering_device unit":
		if u.Valve {
			return choice("txv"), true
		}
		return choice("fixed_orifice"), true
	}
	return Answer{}, false
}

func (w *World) voltsAndAmps(quantity, place string) (Answer, bool) {
	r, p, u := w.settle(), &w.p, &w.Unit
	running := r.state == "running" || r.state == "locked"
	switch quantity + " " + place {
	case "voltage disconnect_line":
		return number(r.atPull), true
	case "voltage disconnect_load":
		if p.wireOff == "line" {
			return number(r.afterPull), true
		}
		return number(w.loaded(r)), true
	case "voltage contactor_line":
		return number(w.loaded(r)), true
	case "voltage leg_to_leg":
		return number(r.line), true
	case "voltage leg_1_to_ground":
		return number(r.leg1), true
	case "voltage leg_2_to_ground":
		return number(r.leg2), true
	case "voltage contactor_load":
		return number(r.load), true
	case "voltage compressor_terminals":
		if p.commonOpen || !w.plugOn {
			return number(0), true
		}
		return number(r.comp), true
	case "vacuum unit":
		return number(350), true
	case "test_pressure unit":
		return number(300), true
	case "voltage known_live":
		return number(120), true
	case "voltage capacitor":
		return number(w.capVolts), true
	case "voltage transformer_primary":
		if w.airHandlerOn && !p.primaryLost {
			return number(p.volts), true
		}
		return number(0), true
	case "voltage blower":
		if u.CapBlower == 0 { // its line volts stay on, its call is apart
			return number(pickBool(w.airHandlerOn && !p.primaryLost, p.volts, 0.0)), true
		}
		if r.blower == "stopped" && !(p.blowerOpen && r.secondary > 0 && w.airHandlerOn && !p.blowerRelay && r.asked(w)) {
			return number(0), true
		}
		return number(p.volts), true
	case "voltage aux_heat": // asked for, the thermostat is set to call it
		if u.AuxKW == 0 {
			return notHere(), true
		}
		if r.auxFed {
			return number(p.volts), true
		}
		return number(0), true
	case "voltage crankcase_heater":
		return when(u.Crankcase, number(r.line)), true
	case "voltage blower_command":
		called := r.secondary > 0 && w.airHandlerOn && !p.blowerRelay && r.asked(w)
		return when(u.CapBlower == 0, number(pickBool(called, r.secondary-0.5, 0.0))), true
	case "control_voltage transformer_secondary":
		if w.fuseBlown && w.pastFuse {
			return number(0), true
		}
		return number(r.secondary), true
	case "control_voltage thermostat_call":
		return number(r.statY), true
	case "control_voltage cooling_call":
		return number(r.callY), true
	case "control_voltage board_output":
		if u.Delay == 0 {
			return notHere(), true
		}
		return number(r.coil), true
	case "control_voltage contactor_coil":
		return number(r.coil), true
	case "control_voltage reversing_valve_coil":
		if !u.HeatPump {
			return notHere(), true
		}
		return number(w.valveVolts(r)), true
	case "control_voltage high_pressure_switch":
		return w.across(u.HighSwitch, p.highOpen, r), true
	case "control_voltage low_pressure_switch":
		return w.across(u.LowSwitch, p.lowOpen || r.lowOpen && r.state == "off", r), true
	case "control_voltage float_switch":
		if !u.Float {
			return notHere(), true
		}
		if p.floatOpen && w.calling {
			return number(r.secondary), true
		}
		return number(0), true
	case "control_voltage control_fuse":
		if w.fuseBlown {
			return number(r.secondary), true
		}
		return number(0), true
	case "voltage_under_start contactor_line":
		return number(r.sag), true
	case "voltage_under_start contactor_load", "voltage_under_start compressor_terminals":
		switch {
		case r.state == "locked" && place == "contactor_load":
			return number(r.load), true
		case r.state == "locked":
			return number(r.comp), true
		case r.state == "running":
			series := p.poleOhms[0] + p.poleOhms[1]
			v := r.sag - r.inrush*series
			if place == "compressor_terminals" {
				v -= r.inrush * p.commonOhms
			}
			return number(math.Max(v, 0)), true
		}
		if place == "compressor_terminals" {
			return number(r.comp), true
		}
		return number(r.load), true
	case "capacitor_voltage herm":
		if !running {
			return number(w.capVolts), true
		}
		return number(r.hermVolts), true
	case "capacitor_voltage fan_section":
		return number(math.Max(r.fanVolts, w.capVolts)), true
	case "capacitor_voltage blower_capacitor":
		return when(u.CapBlower > 0, number(w.blowerVolts())), true
	case "voltage_drop contactor_pole_1":
		return w.poleDrop(r, 0), true
	case "voltage_drop contactor_pole_2":
		return w.poleDrop(r, 1), true
	case "current compressor_common":
		return number(r.amps), true
	case "current compressor_run":
		if r.state == "locked" {
			return number(r.runAmps), true
		}
		return number(math.Max(r.amps-0.3*r.startAmps, 0)), true
	case "starting_current compressor_start":
		return number(r.startAmps), true
	case "current compressor_start":
		return number(r.startAmps), true
	case "starting_current compressor_common":
		return number(r.inrush), true
	case "current fan":
		return number(r.fanAmps), true
	case "starting_current fan":
		return number(r.fanAmps * 2), true
	case "current blower":
		return number(r.blowerAmps), true
	case "current aux_heat":
		return when(u.AuxKW > 0, number(r.auxCalled)), true
	case "current crankcase_heater":
		if !u.Crankcase {
			return notHere(), true
		}
		if p.crankcase || r.line == 0 {
			return number(0), true
		}
		return number(0.25), true
	}
	return Answer{}, false
}

// asked says whether the thermostat asks the indoor side for anything. A short
// has blown the control fuse: volts stop at it.
func (r *running) asked(w *World) bool {
	p := &w.p
	return r.secondary > 0 && w.calling && !p.statDead && !p.statBlank && !p.statWrongMode && !p.statSatisfied && !p.statWire && !w.fuseBlown && !p.floatOpen
}

// loaded is the contactor's line side with the present load on the supply.
func (w *World) loaded(r *running) float64 {
	if r.line == 0 {
		return 0
	}
	switch r.state {
	case "running":
		return r.line - w.Unit.RLA*0.8*(w.p.sourceOhms+w.p.pullOhms)
	case "locked":
		return r.sag
	}
	return r.line
}

func (w *World) poleDrop(r *running, pole int) Answer {
	if r.contactor != "pulled_in" || r.line == 0 {
		if r.line > 0 && pole == 0 {
			return number(r.line * 0.98)
		}
		return number(0)
	}
	if w.p.poleOpen && pole == 0 {
		return number(r.line)
	}
	return number(r.amps * w.p.poleOhms[pole])
}

// across is the control voltage over a switch in the chain to the coil.
func (w *World) across(fitted, open bool, r *running) Answer {
	if !fitted {
		return notHere()
	}
	if open {
		return number(r.callY)
	}
	return number(0)
}

func (w *World) deadTests(quantity, place string) (Answer, bool) {
	p, u := &w.p, &w.Unit
	hot := p.overload || w.Now < w.overloadUntil
	ohms := func(x float64, open bool) Answer {
		if open {
			return openLine()
		}
		return number(x)
	}
	// A megohm of 20 or more shows as an open line on an ordinary ohmmeter.
	insulation := func(m float64, megger bool) Answer {
		if megger {
			return number(math.Max(m, 0))
		}
		return ohms(m*1e6, m > 20)
	}
	section := func(rating, share float64) Answer {
		c := rating * share
		if c < 0.02*rating {
			return Answer{Can: true, Qualifier: pick(w.r, "nothing", "open_line")}
		}
		return number(c)
	}
	runOhms := u.RunOhms * (1 - p.turnShort)
	switch quantity + " " + place {
	case "capacitance herm":
		c := p.herm
		if p.wrongCap > 0 {
			c *= p.wrongCap
		}
		return section(u.CapHerm, c), true
	case "capacitance fan_section":
		return section(u.CapFan, p.fanCap), true
	case "capacitance start_capacitor":
		return when(u.CapStart > 0, section(u.CapStart, p.startCap)), true
	case "capacitance blower_capacitor":
		return when(u.CapBlower > 0, section(u.CapBlower, p.blowerCap)), true
	case "resistance common_to_run":
		return ohms(runOhms, hot || p.runOpen), true
	case "resistance common_to_start":
		return ohms(u.StartOhms, hot || p.startOpen), true
	case "resistance run_to_start":
		return ohms(runOhms+u.StartOhms, p.runOpen || p.startOpen), true
	case "resistance winding_to_ground":
		return insulation(p.toGround, false), true
	case "insulation_resistance winding_to_ground":
		return insulation(p.toGround, true), true
	case "resistance fan_winding":
		return ohms(u.FanOhms, p.fanOpen), true
	case "resistance fan_to_ground", "insulation_resistance fan_to_ground":
		m := 150.0
		if p.fanGround {
			m = 0
		}
		return insulation(m, quantity == "insulation_resistance"), true
	case "resistance blower_winding":
		return when(u.CapBlower > 0, ohms(8, p.blowerOpen)), true
	case "lead_resistance blower":
		return when(u.CapBlower == 0, ohms(6, p.blowerOpen)), true
	case "resistance contactor_coil":
		if p.coilShorted {
			return number(0.4), true
		}
		return ohms(12, p.coilOpen), true
	case "resistance reversing_valve_coil":
		if p.valveShorted {
			return number(0.5), true
		}
		return when(u.HeatPump, ohms(14, p.rvCoilOpen)), true
	case "resistance start_relay":
		return when(u.CapStart > 0, ohms(4000, p.relayOpen)), true
	case "resistance disconnect_fuse":
		return when(u.FusedPull, ohms(0.1, p.fuseBlown)), true
	case "resistance control_fuse":
		return ohms(0.1, w.fuseBlown), true
	case "resistance aux_heat":
		return when(u.AuxKW > 0, ohms(240*240/(math.Max(u.AuxKW, 1)*1000), p.auxOpen)), true
	case "resistance crankcase_heater":
		return when(u.Crankcase, ohms(900, p.crankcase)), true
	case "resistance compressor_common": // the wire from contactor to common
		return ohms(0.05+p.commonOhms, p.commonOpen), true
	}
	return Answer{}, false
}

func (w *World) pressuresAndAir(quantity, place string) (Answer, bool) {
	r, p, u := w.settle(), &w.p, &w.Unit
	c := r.point
	on := r.state == "running"
	atm := 14.696 * math.Exp(-u.Altitude/27700)
	temp := func(running, idle float64) (Answer, bool) {
		if on {
			return number(running), true
		}
		return number(idle), true
	}
	switch quantity + " " + place {
	case "suction_pressure suction_line":
		return temp(c.suction-atm, w.standing())
	case "liquid_pressure liquid_line":
		return temp(c.liquid-atm, w.standing())
	case "standing_pressure liquid_line":
		return number(w.standing() + 14.7 - atm), true
	case "temperature suction_line":
		return temp(c.suctionT, w.outdoor)
	case "temperature liquid_line":
		return temp(c.liquidT, w.outdoor)
	case "temperature liquid_line_after_drier":
		return temp(c.afterDrier, w.outdoor)
	case "temperature discharge_line":
		return temp(math.Min(c.discharge, 290), w.outdoor)
	case "temperature outdoor_air":
		return number(w.outdoor), true
	case "temperature return_air":
		return number(w.indoorDB), true
	case "temperature supply_air":
		supply := w.indoorDB
		if on {
			supply = c.supply
		}
		if r.auxAmps > 0 {
			supply += r.auxAmps * p.volts * 3.412 / (1.08 * math.Max(u.Airflow*r.blowerAir, 60))
		}
		return number(math.Min(supply, 190)), true
	case "temperature condenser_air":
		return temp(math.Min(c.leaving, 160), w.outdoor)
	case "temperature compressor_shell":
		return temp(math.Min(c.discharge-15, 240), w.outdoor)
	case "temperature outdoor_coil":
		return temp(c.sensed, w.outdoor)
	case "temperature indoor_coil":
		return temp(c.indoorCoilT, w.indoorDB)
	case "wet_bulb return_air":
		return number(w.indoorWB), true
	case "wet_bulb supply_air":
		if on && !w.Heating {
			return number(math.Min(math.Max(c.supply-0.5, 23), w.indoorWB)), true
		}
		return number(w.indoorWB), true
	case "relative_humidity return_air":
		return number(humidity(w.indoorDB, w.indoorWB)), true
	case "static_pressure duct":
		return number(w.static(r)), true
	case "filter_drop filter":
		return number(w.filterDrop(r)), true
	case "airflow duct":
		return number(u.Airflow * r.blowerAir), true
	case "time_off compressor":
		return number(math.Round(w.Now)), true
	case "temperature_rise reversing_valve":
		if !u.HeatPump {
			return notHere(), true
		}
		if on {
			return number(2 + 45*p.crossLeak), true
		}
		return number(0), true
	}
	return Answer{}, false
}

// static is the total external static pressure: a clean system stands near 0.5
// inch at its rated airflow.
func (w *World) static(r *running) float64 {
	if r.blower == "stopped" || r.blower == "hum" {
		return 0.02
	}
	p := &w.p
	resistance := 1.0
	resistance += 0.9 * (1/(p.filterAir*p.filterAir) - 1)
	resistance += 0.6 * (1/(p.indoorCoil*p.indoorCoil) - 1)
	if p.ducts == "closed" {
		resistance += 1.2
	}
	if p.ducts == "leaking" {
		resistance *= 0.5
	}
	speed := 1.0
	if r.blower == "slow" || p.blowerWheel != "clean" {
		speed = 0.6
	}
	return math.Min(0.5*math.Pow(resistance, 0.6)*speed, 1.6)
}

func (w *World) filterDrop(r *running) float64 {
	if r.blower == "stopped" || r.blower == "hum" {
		return 0.01
	}
	return math.Min(0.12/(w.p.filterAir*w.p.filterAir), 1.2)
}

// humidity is the relative humidity by Sprung's formula, percent.
func humidity(dry, wet float64) float64 {
	e := func(f float64) float64 { c := (f - 32) / 1.8; return 6.112 * math.Exp(17.62*c/(243.12+c)) }
	return math.Min(100, math.Max(5, 100*(e(wet)-0.662*(dry-wet)/1.8)/e(dry)))
}
