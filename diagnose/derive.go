package diagnose

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"callout/physics"
)

// A sum turns the readings of one test into one number on the scale of its
// outcomes, or straight into an outcome. The formulas and tables stand in
// physics; here they are only put together.

// sumInput is what a sum works on: the test's own reading first, then its
// inputs in the order of the data; open readings are +Inf.
type sumInput struct {
	v    []float64
	job  *state
	cold bool   // the windings were given their time to cool
	own  string // the test's first reference
	refs func(id string) (float64, bool)
}

// sumResult is the number, or an outcome by name, and the texts for the words.
type sumResult struct {
	x       float64
	class   ClassID
	text    map[string]string
	refused string  // why no outcome may be drawn from these readings
	misread bool    // with refused: they can't be, so that they are read again
	unsure  float64 // with class: the chance that it is another
}

type sum func(in sumInput) sumResult

var sums = map[string]sum{
	"capacitance": func(in sumInput) sumResult { return deviation(in, in.v[0]) },
	"capacitance_under_load": func(in sumInput) sumResult {
		uf, err := physics.CapacitanceUnderLoad(physics.Amps(in.v[1]), physics.Volts(in.v[0]), in.job.frequency())
		if err != nil {
			return sumResult{refused: err.Error()}
		}
		return deviation(in, float64(uf))
	},
	"windings":      windings,
	"valve_call":    valveCall,
	"superheat":     superheat,
	"subcooling":    subcooling,
	"suction_level": suctionLevel,
	"head_level":    headLevel,
	"split":         split,
	"pumping":       pumping,
	"standing":      standing,
	"sag":           sag,
	"compression":   compression,
	"rating":        func(in sumInput) sumResult { return sumResult{x: in.v[0] * 1.001} },
	"circuit":       circuit,
	"protection":    protection,
	"unbalance":     unbalance,
	"heat_rise":     heatRise,
	"air_rise":      func(in sumInput) sumResult { return degrees(in.v[0] - in.v[1]) },
	"line_drop":     func(in sumInput) sumResult { return degrees(in.v[1] - in.v[0]) },
	"aux_load":      auxLoad,
	"heat_head": func(in sumInput) sumResult {
		return in.saturation(in.v[0], physics.Bubble, func(t float64) sumResult { return degrees(t - in.v[1]) })
	},
	"heat_suction": func(in sumInput) sumResult {
		return in.saturation(in.v[0], physics.Dew, func(t float64) sumResult { return degrees(in.v[1] - t) })
	},
}

// named are the sums that name their outcome, which then has no ends.
var named = map[string]bool{"aux_load": true, "windings": true, "valve_call": true, "circuit": true, "protection": true}

// short writes a number as people do: no more digits than it needs.
func short(x float64) string {
	switch {
	case math.IsInf(x, 1):
		return "OL"
	case math.Abs(x) >= 100:
		return strconv.FormatFloat(x, 'f', 0, 64)
	case math.Abs(x) >= 10:
		return trim(strconv.FormatFloat(x, 'f', 1, 64))
	}
	return trim(strconv.FormatFloat(x, 'f', 2, 64))
}

func ohms(x float64) string {
	if math.IsInf(x, 1) {
		return "OL"
	}
	return short(x) + " Ω"
}

func trim(s string) string {
	for len(s) > 1 && s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	if s == "-0" {
		return "0"
	}
	return s
}

func fahrenheit(x float64) string { return strconv.Itoa(int(math.Round(x))) + " °F" }

// heatRise holds the rise from return to supply air against what a heat pump by itself
// gives at this outdoor temperature, on a scale on which 24 is just that: the colder
// it is, the less it gives.
func heatRise(in sumInput) sumResult {
	rise := in.v[0] - in.v[1]
	const usual = 24 // F, at 45 F outdoors: Goodman SSZ140301 manual p.28
	expected := float64(usual)
	if out, ok := in.job.told(Input{Quantity: "temperature", Place: "outdoor_air"}); ok {
		if at, err := physics.HeatingExample(physics.Fahrenheit(min(max(out, -10), 65))); err == nil {
			expected = float64(at.Rise)
		}
	}
	res := sumResult{x: usual * rise / expected, text: map[string]string{"x": fahrenheit(rise), "target": fahrenheit(expected)}}
	if rise < -3 { // colder out than in by more than two thermometers' error
		res.class = "reversed"
	}
	return res
}

// told is the last that was read of something that outlives a test, as the weather does.
func (s *state) told(in Input) (float64, bool) {
	for i := len(s.records) - 1; i >= 0; i-- {
		if s.records[i].in == in {
			return s.records[i].value, true
		}
	}
	return 0, false
}

func degrees(d float64) sumResult {
	return sumResult{x: d, text: map[string]string{"x": fahrenheit(d)}}
}

// auxLoad holds the volts at the elements against the current that they draw.
func auxLoad(in sumInput) sumResult {
	const noVolts, noAmps = 20, 1 // as of the tests of each by itself
	switch {
	case in.v[0] <= noVolts:
		return sumResult{class: "off"}
	case in.v[1] <= noAmps:
		return sumResult{class: "open"}
	}
	return sumResult{class: "carries"}
}

// deviation compares microfarads with the label, in percent.
func deviation(in sumInput, uf float64) sumResult {
	rated, ok := in.refs(in.own)
	if !ok {
		return sumResult{refused: "the label's microfarads are not known"}
	}
	off, err := physics.CapacitorDeviation(physics.Microfarads(uf), physics.Microfarads(rated))
	if err != nil {
		return sumResult{refused: err.Error()}
	}
	dev := float64(off)
	sign := ""
	if dev > 0 {
		sign = "+"
	}
	return sumResult{x: dev, text: map[string]string{"x": short(uf), "dev": sign + short(math.Round(dev*10)/10) + "%"}}
}

func windings(in sumInput) sumResult {
	if len(in.v) == 2 {
		return twoWindings(physics.Windings{CR: physics.Ohms(in.v[0]), CS: physics.Ohms(in.v[1]), SR: physics.Ohms(math.NaN())})
	}
	w := physics.Windings{CR: physics.Ohms(in.v[0]), CS: physics.Ohms(in.v[1]), SR: physics.Ohms(in.v[2])}
	switch w.Pattern() {
	case physics.OverloadOpen:
		if in.cold {
			return sumResult{class: "overload_stays"}
		}
		return sumResult{class: "overload_open"}
	case physics.AllOpen:
		return sumResult{class: "all_open"}
	case physics.RunOpen:
		return sumResult{class: "run_open"}
	case physics.StartOpen:
		return sumResult{class: "start_open"}
	case physics.WindingsClosed:
		const noTurns = 0.15 // ohms: less than any run winding, common practice, no source
		// Three terminals of one star always add up, shorted turns or not: what does
		// not was misread.
		if ok, _, err := w.Identity(); err != nil || !ok {
			return sumResult{misread: true, refused: fmt.Sprintf("C-R %s and C-S %s Ω must make S-R, and that is %s Ω: one was misread. Zero the leads and read the three again", short(in.v[0]), short(in.v[1]), short(in.v[2]))}
		}
		if in.v[0] < noTurns || in.v[1] < noTurns {
			return sumResult{class: "shorted"}
		}
		return sumResult{class: "sound"}
	}
	return sumResult{misread: true, refused: fmt.Sprintf("C-R %s, C-S %s, S-R %s Ω can't be: measure the three pairs again", short(in.v[0]), short(in.v[1]), short(in.v[2]))}
}

// twoWindings judges what is read from common alone, where start to run can't be: one open
// winding is told from the other pair, and two closed ones are whole, less surely.
func twoWindings(w physics.Windings) sumResult {
	res := sumResult{text: map[string]string{"in2": "not read"}, unsure: 0.08}
	switch w.Pattern() {
	case physics.RunOpen:
		res.class = "run_open"
	case physics.StartOpen:
		res.class = "start_open"
	case physics.WindingsClosed:
		res.class = "sound"
	default:
		res.refused = "C-R and C-S are both open: without S-R an open overload can't be told from an open winding"
	}
	return res
}

// valveCall holds the volts at the reversing valve's coil against the season: O
// energises it in cooling, B in heating. Where the diagram could not be read, O is
// taken, which most makes use (common practice, no source).
func valveCall(in sumInput) sumResult {
	const otherwise = 0.15 // makes that energise it in heating: common practice, no source
	mode := in.job.mode()
	if mode == "" {
		return sumResult{refused: "the season is not known: in which the valve is energised tells nothing yet"}
	}
	res := sumResult{text: map[string]string{"target": "this unit energises it in cooling"}}
	wanted := mode == "cooling"
	switch in.job.mark("valve_energised") {
	case "in_heating":
		wanted, res.text["target"] = !wanted, "this unit energises it in heating"
	case "":
		res.unsure, res.text["target"] = otherwise, "taken as energised in cooling, as most are"
	}
	res.class = "wrong"
	if (in.v[0] > callVolts) == wanted {
		res.class = "right"
	}
	return res
}

// callVolts is the least that counts as a call on a 24 V circuit: common practice, no source.
const callVolts = 10

// saturation finds the boiling or bubble temperature at a pressure.
func (in sumInput) saturation(psig float64, b physics.Branch, then func(t float64) sumResult) sumResult {
	r, err := in.job.refrigerant()
	if err != nil {
		return sumResult{refused: "no saturation table for this refrigerant: read the maker's chart"}
	}
	t, err := r.Temperature(physics.PSIG(psig), b, in.job.altitude())
	if err != nil {
		return sumResult{refused: fmt.Sprintf("%s psig is outside the table of %s", short(psig), r)}
	}
	return then(float64(t))
}

func superheat(in sumInput) sumResult {
	return in.saturation(in.v[1], physics.Dew, func(t float64) sumResult {
		sh := in.v[0] - t
		if in.job.metering() == "fixed_orifice" && in.job.mode() == "heating" {
			return sumResult{refused: "no target superheat for a fixed orifice in heating: weigh the charge in"}
		}
		if in.job.metering() != "fixed_orifice" {
			band := physics.ValveSuperheatBand(physics.Installer)
			step := float64(physics.SuperheatTolerance(physics.Installer)) // past the band as wide as for a fixed orifice
			x := 2*(sh-band.Low)/(band.High-band.Low) - 1
			if sh < band.Low {
				x = (sh-band.Low)/step - 1
			} else if sh > band.High {
				x = (sh-band.High)/step + 1
			}
			return sumResult{x: x, text: map[string]string{"x": fahrenheit(sh), "target": fmt.Sprintf("%g to %g °F", band.Low, band.High)}}
		}
		target, err := physics.TargetSuperheat(physics.Fahrenheit(in.v[2]), physics.Fahrenheit(in.v[3]))
		if err != nil {
			return refusal(err)
		}
		return sumResult{x: (sh - float64(target)) / float64(physics.SuperheatTolerance(physics.Installer)), text: map[string]string{"x": fahrenheit(sh), "target": fahrenheit(float64(target))}}
	})
}

// refusal says in a person's words why a table gives no target.
func refusal(err error) sumResult {
	var no *physics.NoTargetError
	if !errors.As(err, &no) {
		return sumResult{refused: err.Error()}
	}
	switch no.Reason {
	case physics.ColdOutdoor:
		return sumResult{refused: fmt.Sprintf("no target %s at %s outdoors: below 55 °F the charge is weighed in, not read", no.Target, fahrenheit(float64(no.DryBulb)))}
	case physics.SluggingRisk:
		return sumResult{refused: fmt.Sprintf("no target %s at %s wet bulb and %s outdoors: the table has a dash there; weigh the charge in", no.Target, fahrenheit(float64(no.WetBulb)), fahrenheit(float64(no.DryBulb)))}
	}
	return sumResult{refused: fmt.Sprintf("no target %s at %s wet bulb and %s dry bulb: outside the published table", no.Target, fahrenheit(float64(no.WetBulb)), fahrenheit(float64(no.DryBulb)))}
}

func subcooling(in sumInput) sumResult {
	return in.saturation(in.v[1], physics.Bubble, func(t float64) sumResult {
		sc := t - in.v[0]
		if sc < -hotLiquid {
			return sumResult{misread: true, refused: fmt.Sprintf("%s in the liquid line and %s psig, which condenses at %s, can't be: one was misread, or they were not read at one time. Read both again", fahrenheit(in.v[0]), short(in.v[1]), fahrenheit(t))}
		}
		target, _ := in.refs("target_sc")
		if in.job.mode() == "heating" {
			// The nameplate's target is for cooling: in heating the smaller coil condenses,
			// and what it can't hold stands in it as liquid.
			target += 4
		}
		band, _ := in.job.subcoolingBand()
		x := (sc - target) / band
		if in.job.mode() == "heating" && sc < flashing {
			x = min(x, -2.4)
		}
		return sumResult{x: x, text: map[string]string{"x": fahrenheit(sc), "target": fahrenheit(target)}}
	})
}

// flashing is a subcooling, in F, at which the line holds gas as well: no condenser that
// has its charge lets that out in any season. Common practice, no source.
const flashing = 2

// hotLiquid is how far, in F, a liquid line can seem hotter than what its pressure
// condenses at: what flashes is no hotter than that (saturation), and a gauge, a probe and
// the drop of pressure between them make no more than this. Common practice, no source.
const hotLiquid = 15

// subcoolingBand is how far, in F, the subcooling may lie off its target: twice as
// far where the target is none of the unit's own for this season. Common practice,
// no source.
func (s *state) subcoolingBand() (band float64, wide bool) {
	if s.mode() == "heating" || !s.knows("target_subcooling", "unit") {
		return 2 * float64(physics.SubcoolingTolerance(physics.Installer)), true
	}
	return float64(physics.SubcoolingTolerance(physics.Installer)), false
}

// Usual spans, common practice, no source: a coil boils 35 F under the return
// air, give or take 9; a condenser condenses 19 F over outdoors, give or take
// 10.5 (14 to 22 F on one 14 SEER unit, 10 to 15 F on better ones); at rest a pressure fits the outdoor temperature within 4.5 F; a system with
// no liquid left stands far below.
func suctionLevel(in sumInput) sumResult {
	return in.saturation(in.v[0], physics.Dew, func(t float64) sumResult {
		d := in.v[1] - t
		return sumResult{x: (35 - d) / 9, text: map[string]string{"x": fahrenheit(t), "dev": fahrenheit(d)}}
	})
}

func headLevel(in sumInput) sumResult {
	if in.v[1] < float64(physics.MinimumChargeOutdoor) {
		return sumResult{refused: fmt.Sprintf("%s outdoors: below 55 °F head pressure tells nothing in cooling", fahrenheit(in.v[1]))}
	}
	return in.saturation(in.v[0], physics.Bubble, func(t float64) sumResult {
		d := t - in.v[1]
		return sumResult{x: (d - 19) / 10.5, text: map[string]string{"x": fahrenheit(t), "dev": fahrenheit(d)}}
	})
}

func standing(in sumInput) sumResult {
	if in.v[0] < 20 {
		return sumResult{class: "low", text: map[string]string{"target": "saturation"}} // hardly above the air: below the tables
	}
	return in.saturation(in.v[0], physics.Bubble, func(t float64) sumResult {
		r, _ := in.job.refrigerant()
		p, err := r.Pressure(physics.Fahrenheit(in.v[1]), physics.Bubble, in.job.altitude())
		if err != nil {
			return sumResult{refused: err.Error()}
		}
		return sumResult{x: (t - in.v[1]) / 4.5, text: map[string]string{"target": short(float64(p)) + " psig"}}
	})
}

// pumping compares the compression ratio with that of a healthy unit on the same
// day: boiling and condensing as far from the air as is usual.
func pumping(in sumInput) sumResult {
	r, err := in.job.refrigerant()
	if err != nil {
		return sumResult{refused: "no saturation table for this refrigerant: read the maker's chart"}
	}
	z := in.job.altitude()
	back, out := physics.Fahrenheit(in.v[2]), physics.Fahrenheit(in.v[3])
	boil, condense := back-35, out+20
	if in.job.mode() == "heating" {
		boil, condense = out-13, back+30
	}
	low, err1 := r.Pressure(boil, physics.Dew, z)
	high, err2 := r.Pressure(condense, physics.Bubble, z)
	ratio, err3 := physics.CompressionRatio(physics.PSIG(in.v[0]), physics.PSIG(in.v[1]), z)
	usual, err4 := physics.CompressionRatio(low, high, z)
	if err3 == nil && ratio < 0.9 {
		return sumResult{misread: true, refused: fmt.Sprintf("%s psig at the suction line over %s psig at the liquid line can't be while it runs: read both again", short(in.v[0]), short(in.v[1]))}
	}
	if err := errors.Join(err1, err2, err3, err4); err != nil || usual <= 1 {
		return sumResult{refused: "the compression ratio can't be worked out from these readings"}
	}
	return sumResult{x: ratio / usual, text: map[string]string{"x": short(ratio), "target": short(usual)}}
}

// sag is how far the supply falls from rest to the compressor's start.
func sag(in sumInput) sumResult {
	if in.v[1] < 150 {
		return sumResult{refused: "no sag can be worked out without a whole supply"}
	}
	fall, err := physics.Sag(physics.Volts(in.v[1]), physics.Volts(in.v[0]))
	if err != nil {
		return sumResult{refused: err.Error()}
	}
	x := float64(fall)
	return sumResult{x: x, text: map[string]string{"x": short(math.Round(x)) + "%", "target": short(in.v[1]) + " V"}}
}

// compression compares the discharge gas with what compressing makes of gas in a
// sound compressor.
func compression(in sumInput) sumResult {
	r, err := in.job.refrigerant()
	if err != nil {
		return sumResult{refused: "no saturation table for this refrigerant: read the maker's chart"}
	}
	want, err := r.DischargeExpected(physics.PSIG(in.v[2]), physics.PSIG(in.v[3]), physics.Fahrenheit(in.v[1]), in.job.altitude())
	if err != nil {
		return sumResult{refused: err.Error()}
	}
	return sumResult{x: in.v[0] - float64(want), text: map[string]string{"x": fahrenheit(in.v[0]), "target": fahrenheit(float64(want))}}
}

func split(in sumInput) sumResult {
	fall := in.v[1] - in.v[0]
	if fall < -2 { // warmer out than in by more than two thermometers' error
		return sumResult{class: "reversed", text: map[string]string{"x": fahrenheit(-fall)}}
	}
	// Past the table's ends its edge is taken, with a wider band: good enough to
	// tell that something is wrong, not to set anything by.
	dry, wet := min(max(in.v[1], 70), 80), min(max(in.v[2], 57), 70)
	off := math.Abs(dry-in.v[1]) + math.Abs(wet-in.v[2])
	target, err := physics.TargetSplit(physics.Fahrenheit(dry), physics.Fahrenheit(wet))
	if err != nil || off > 10 {
		return refusal(&physics.NoTargetError{Reason: physics.OffTable, Target: "temperature split", WetBulb: physics.Fahrenheit(in.v[2]), DryBulb: physics.Fahrenheit(in.v[1])})
	}
	text := fahrenheit(float64(target))
	if off > 0 {
		text += " at the edge of the table"
	}
	return sumResult{x: (fall - float64(target)) / (float64(physics.SplitTolerance(physics.Installer)) + 0.4*off), text: map[string]string{"x": fahrenheit(fall), "target": text}}
}

func circuit(in sumInput) sumResult {
	ampacity, err := physics.CopperAmpacity(int(math.Round(in.v[1])), physics.Lugs75C)
	if err != nil {
		return sumResult{refused: err.Error()}
	}
	text := map[string]string{"x": short(in.v[1]) + " AWG carries " + short(float64(ampacity)) + " A"}
	if float64(ampacity) < in.v[0] {
		return sumResult{class: "small", text: text}
	}
	return sumResult{class: "ok", text: text}
}

// protection holds the breaker against the nameplate's marks, which hold their
// 125% already.
func protection(in sumInput) sumResult {
	mca, _ := in.refs("mca")
	mocp, _ := in.refs("mocp")
	class := ClassID("ok")
	for _, fault := range physics.CheckCircuit(physics.Amps(mca), physics.Amps(mocp), physics.Amps(in.v[0]), 0) {
		switch fault {
		case physics.DeviceTooLarge:
			return sumResult{class: "over"}
		case physics.DeviceTooSmall:
			class = "small"
		}
	}
	return sumResult{class: class}
}

// unbalance is NEMA's, of three voltages or of three currents.
func unbalance(in sumInput) sumResult {
	v := []float64{max(in.v[0], 0.001), max(in.v[1], 0.001), max(in.v[2], 0.001)} // a dead line reads nothing
	if in.v[0]+in.v[1]+in.v[2] < 1 {
		return sumResult{refused: "none of the three lines shows anything"}
	}
	percent, err := physics.VoltageUnbalance(physics.Volts(v[0]), physics.Volts(v[1]), physics.Volts(v[2]))
	if err != nil {
		return sumResult{refused: err.Error()}
	}
	mean := (v[0] + v[1] + v[2]) / 3
	worst := 0
	for i := range v {
		if math.Abs(v[i]-mean) > math.Abs(v[worst]-mean) {
			worst = i
		}
	}
	res := sumResult{x: float64(percent), text: map[string]string{"x": trim(strconv.FormatFloat(float64(percent), 'f', 1, 64)) + "% unbalance", "worst": []string{"the first", "the second", "the third"}[worst]}}
	if min(v[0], v[1], v[2]) < 0.5*max(v[0], v[1], v[2]) {
		res.class = "lost"
	}
	return res
}
