package simulator

import (
	"math"
	"strings"
)

// A probe is one question of the reference policies, with its answer put into
// one of a few classes as a technician would. Thresholds are common practice,
// no source; they are this package's own.
type probe struct {
	id    string
	asks  [][2]string
	state string // "any", "run", "run_kit", "dead", "indoor_dead", "isolated"
	class func(w *World, a []Answer) string
}

// one is a probe of one look, its value the class.
func one(quantity, place, state string) probe {
	return probe{quantity + " " + place, [][2]string{{quantity, place}}, state, func(w *World, a []Answer) string { return a[0].Choice }}
}

// bands is a probe of one number: cuts part the classes.
func bands(quantity, place, state string, cuts ...float64) probe {
	return scaled(quantity, place, state, func(*World) float64 { return 1 }, cuts...)
}

// scaled is the same with the number as a share of a rating.
func scaled(quantity, place, state string, rating func(w *World) float64, cuts ...float64) probe {
	return probe{quantity + " " + place, [][2]string{{quantity, place}}, state, func(w *World, a []Answer) string {
		if a[0].Qualifier != "" {
			return a[0].Qualifier
		}
		return cut(a[0].Value/rating(w), cuts)
	}}
}

func cut(x float64, cuts []float64) string {
	for i, c := range cuts {
		if x < c {
			return string(rune('a' + i))
		}
	}
	return string(rune('a' + len(cuts)))
}

func fla(w *World) float64    { return w.Unit.FanFLA }
func blower(w *World) float64 { return w.Unit.BlowerFLA }

// probes lists every question the reference policies may put.
func probes() []probe {
	list := []probe{
		one("thermostat_state", "thermostat", "any"), one("breaker_state", "breaker", "any"), one("breaker_reset", "breaker", "any"),
		one("filter_state", "filter", "any"), one("coil_state", "outdoor_coil", "any"), one("oil_stain", "unit", "any"),
		one("smell", "unit", "any"), one("shell_feel", "compressor", "any"), one("delay_state", "defrost_board", "any"),
		one("defrost_state", "defrost_board", "any"), one("drain_state", "indoor_coil", "any"), one("duct_state", "duct", "any"),
		one("switch_state", "float_switch", "any"), one("fuse_state", "control_fuse", "any"), one("connection", "low_voltage_wiring", "any"),
		one("leak_search", "unit", "any"), one("bulb_state", "suction_line", "any"), one("frost", "outdoor_coil", "any"), one("frost", "indoor_coil", "any"), one("frost", "liquid_line", "any"),

		one("fan_motion", "fan", "run"), one("compressor_sound", "compressor", "run"), one("fan_motion", "blower", "run"),
		one("contactor_state", "contactor", "run"), one("lines_feel", "unit", "run"), one("defrost_test", "defrost_board", "run"),
		one("noise_source", "unit", "run"), one("sight_glass", "liquid_line", "run"),
		bands("voltage", "contactor_line", "run", 30, 197), bands("voltage", "disconnect_line", "run", 30, 197), bands("voltage", "disconnect_load", "run", 30, 197),
		bands("voltage", "contactor_load", "run", 30, 190), bands("voltage", "compressor_terminals", "run", 30, 190),
		bands("voltage_under_start", "contactor_line", "run", 30, 190), bands("voltage_under_start", "contactor_load", "run", 30, 190),
		bands("voltage_drop", "contactor_pole_1", "run", 0.8, 100),
		bands("control_voltage", "transformer_secondary", "run", 5, 21), bands("control_voltage", "thermostat_call", "run", 5, 21),
		bands("control_voltage", "cooling_call", "run", 5, 20), bands("control_voltage", "board_output", "run", 5, 19),
		bands("control_voltage", "contactor_coil", "run", 5, 19), bands("control_voltage", "reversing_valve_coil", "run", 5, 19),
		bands("control_voltage", "high_pressure_switch", "run", 5), bands("control_voltage", "low_pressure_switch", "run", 5), bands("control_voltage", "float_switch", "run", 5),
		bands("voltage", "transformer_primary", "run", 50), bands("voltage", "blower", "run", 50), bands("voltage", "aux_heat", "run", 50),
		{"current compressor_common", [][2]string{{"current", "compressor_common"}}, "run", func(w *World, a []Answer) string {
			i := a[0].Value
			switch {
			case i > 0.6*w.Unit.LRA:
				return "locked"
			case i < 0.5:
				return "none"
			}
			return cut(i/w.Unit.RLA, []float64{0.5, 0.65, 1.02, 1.2})
		}},
		{"current compressor_start", [][2]string{{"current", "compressor_start"}, {"capacitor_voltage", "herm"}}, "run", func(w *World, a []Answer) string {
			if a[1].Value < 20 {
				return "none"
			}
			return cut(a[0].Value/(377e-6*a[1].Value)/w.Unit.CapHerm, []float64{0.05, 0.45, 0.88, 1.12})
		}},
		scaled("current", "fan", "run", fla, 0.05, 1.1, 1.6), scaled("current", "blower", "run", blower, 0.05, 0.62, 0.95, 1.4),
		bands("current", "aux_heat", "run", 2), bands("current", "crankcase_heater", "any", 0.05),
		bands("conductor_size", "unit", "any", 11),
		bands("static_pressure", "duct", "run", 0.1, 0.38, 0.68), bands("filter_drop", "filter", "run", 0.05, 0.22),
		bands("temperature_rise", "reversing_valve", "run", 8),

		one("breaker_isolated", "compressor", "isolated"), one("start_kit", "compressor", "run_kit"),

		one("capacitor_look", "capacitor", "dead"), one("connection", "compressor", "dead"), one("connection", "capacitor", "dead"),
		one("connection", "contactor", "dead"), one("connection", "disconnect", "dead"), one("connection", "fan", "dead"), one("contacts", "contactor", "dead"),
		one("fan_turns_by_hand", "fan", "dead"), one("switch_state", "high_pressure_switch", "dead"), one("switch_state", "low_pressure_switch", "dead"),
		one("switch_state", "defrost_sensor", "dead"), one("fuse_state", "disconnect_fuse", "dead"),
		scaled("capacitance", "herm", "dead", func(w *World) float64 { return w.Unit.CapHerm }, 0.45, 0.9, 1.1),
		scaled("capacitance", "fan_section", "dead", func(w *World) float64 { return w.Unit.CapFan }, 0.85, 1.1),
		scaled("capacitance", "start_capacitor", "dead", func(w *World) float64 { return math.Max(w.Unit.CapStart, 1) }, 0.8),
		{"windings", [][2]string{{"resistance", "common_to_run"}, {"resistance", "common_to_start"}, {"resistance", "run_to_start"}}, "dead", func(w *World, a []Answer) string {
			var s strings.Builder
			for _, x := range a {
				s.WriteByte("c-"[b2i(x.Qualifier == "open_line")])
			}
			if a[0].Qualifier == "" && a[0].Value < 0.8*w.Unit.RunOhms {
				s.WriteString(" low")
			}
			return s.String()
		}},
		bands("insulation_resistance", "winding_to_ground", "dead", 0.5), bands("insulation_resistance", "fan_to_ground", "dead", 0.5),
		bands("resistance", "fan_winding", "dead", 1), bands("resistance", "contactor_coil", "dead", 1), bands("resistance", "reversing_valve_coil", "dead", 1),
		bands("resistance", "start_relay", "dead", 1), bands("resistance", "crankcase_heater", "dead", 1), bands("resistance", "compressor_common", "dead", 1),

		one("coil_state", "indoor_coil", "indoor_dead"), one("belt_or_wheel", "blower", "indoor_dead"), one("fan_turns_by_hand", "blower", "indoor_dead"),
		scaled("capacitance", "blower_capacitor", "indoor_dead", func(w *World) float64 { return math.Max(w.Unit.CapBlower, 1) }, 0.85),
		bands("resistance", "blower_winding", "indoor_dead", 1), bands("resistance", "aux_heat", "indoor_dead", 1),
	}
	return append(list, circuitProbes()...)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// circuitProbes need the gauges or thermometers.
func circuitProbes() []probe {
	gauge := func(w *World, a Answer) float64 { return a.Value + 14.696*math.Exp(-w.Unit.Altitude/27700) }
	dew := func(w *World, a Answer) float64 {
		return fluidOf(w.Unit.Refrigerant).dew.temp(math.Max(gauge(w, a), 2))
	}
	bubble := func(w *World, a Answer) float64 {
		return fluidOf(w.Unit.Refrigerant).bubble.temp(math.Max(gauge(w, a), 2))
	}
	suction, liquid := [2]string{"suction_pressure", "suction_line"}, [2]string{"liquid_pressure", "liquid_line"}
	return []probe{
		{"superheat", [][2]string{suction, {"temperature", "suction_line"}, {"wet_bulb", "return_air"}, {"temperature", "outdoor_air"}}, "run", func(w *World, a []Answer) string {
			sh := a[1].Value - dew(w, a[0])
			if w.Unit.Valve || w.Heating {
				return cut(sh, []float64{-10, 3, 17, 30})
			}
			return cut(sh-math.Max((3*a[2].Value-80-a[3].Value)/2, 1), []float64{-25, -6, 6, 18})
		}},
		{"subcooling", [][2]string{liquid, {"temperature", "liquid_line"}}, "run", func(w *World, a []Answer) string {
			return cut(bubble(w, a[0])-a[1].Value-w.Unit.TargetSC, []float64{-16, -4, 4, 9})
		}},
		{"suction level", [][2]string{suction, {"wet_bulb", "return_air"}, {"temperature", "outdoor_air"}}, "run", func(w *World, a []Answer) string {
			d := a[1].Value - dew(w, a[0])
			if w.Heating {
				d = a[2].Value - dew(w, a[0])
			}
			return cut(d, []float64{-10, 12, 19, 28, 36})
		}},
		{"head level", [][2]string{liquid, {"temperature", "outdoor_air"}}, "run", func(w *World, a []Answer) string {
			d := bubble(w, a[0]) - a[1].Value
			if w.Heating {
				d = bubble(w, a[0]) - w.indoorDB
			}
			return cut(d, []float64{6, 12, 27, 36})
		}},
		{"split", [][2]string{{"temperature", "supply_air"}, {"temperature", "return_air"}}, "run", func(w *World, a []Answer) string {
			return cut(a[1].Value-a[0].Value, []float64{-30, -20, -12, -4, 4, 13, 18, 24})
		}},
		{"discharge", [][2]string{{"temperature", "discharge_line"}}, "run", func(w *World, a []Answer) string {
			return cut(a[0].Value, []float64{115, 150, 200, 230})
		}},
		{"drier drop", [][2]string{{"temperature", "liquid_line_after_drier"}, {"temperature", "liquid_line"}}, "run", func(w *World, a []Answer) string {
			return cut(a[1].Value-a[0].Value, []float64{4})
		}},
		{"condenser rise", [][2]string{{"temperature", "condenser_air"}, {"temperature", "outdoor_air"}}, "run", func(w *World, a []Answer) string {
			return cut(a[0].Value-a[1].Value, []float64{-4, 4, 13, 22})
		}},
		{"standing", [][2]string{{"standing_pressure", "liquid_line"}, {"temperature", "outdoor_air"}}, "any", func(w *World, a []Answer) string {
			return cut(dew(w, a[0])-a[1].Value, []float64{-20, 7})
		}},
	}
}

// Stand makes a call and takes its unit to one of the states in which the probes
// are asked: "any" as it is met, "run", "run_kit", "dead", "indoor_dead", "isolated".
func Stand(seed uint64, setup Setup, state string) *World {
	w := NewCall(seed, setup)
	w.stand(state)
	return w
}

func (w *World) stand(state string) {
	switch state {
	case "run_kit":
		w.kit = true
		w.cache = nil
		w.stand("run")
	case "run":
		if w.tripped {
			w.breakerOn, w.tripped, w.cache = true, false, nil // reset once; what trips later can be read first
		}
		if !w.calling && !w.p.welded {
			w.calling = true
		}
	case "dead":
		for _, d := range []string{"disconnect_pulled", "locked_out", "panel_open", "capacitor_bled", "capacitor_bled", "leads_off", "compressor_plug_off"} {
			if d == "disconnect_pulled" && w.p.pullOut {
				w.disconnectIn = false // keeps the arrival look of the disconnect
				w.cache = nil
				continue
			}
			w.Declare(d)
		}
	case "indoor_dead":
		w.Declare("air_handler_off")
	case "isolated":
		w.Declare("compressor_plug_off")
	}
}

// outcomes asks every probe of one call, each in its own state, from a fresh
// copy; "" is a question that can't be answered.
func outcomes(make func() *World) []string {
	list := probes()
	classes := map[string]*World{}
	state := func(name string) *World {
		if w := classes[name]; w != nil {
			return w
		}
		w := make()
		w.stand(name)
		classes[name] = w
		return w
	}
	out := []string{}
	for _, p := range list {
		w := state(p.state)
		if p.id == "breaker_reset breaker" {
			w = make()
		}
		answers := []Answer{}
		for _, q := range p.asks {
			a := w.Ask(q[0], q[1])
			if !a.Can {
				answers = nil
				break
			}
			answers = append(answers, a)
		}
		if answers == nil {
			out = append(out, "")
			continue
		}
		out = append(out, p.class(w, answers))
	}
	return out
}
