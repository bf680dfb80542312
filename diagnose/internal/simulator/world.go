package simulator

import (
	"math"
	"math/rand/v2"
)

// World is one unit with its faults, at one moment, with one technician's
// instruments. It is not safe for concurrent use.
type World struct {
	Unit    Unit
	Faults  []string // what is truly wrong; empty if nothing
	Heating bool
	Now     float64 // minutes since arrival

	outdoor, indoorDB, indoorWB float64
	loose                       float64 // the load on this compressor at start, share of its torque
	volts, sourceOhms           float64 // of this street and this wiring, without a fault
	settings                    []setting
	p                           parts
	r                           *rand.Rand
	gain                        map[string]float64 // instruments' own errors
	careless                    float64            // chance that an observation is misjudged
	habits                      habits
	seed, traits                uint64 // what the unit's traits are drawn from, and how many were

	disconnectIn, breakerOn, tripped, locked, panelOpen bool
	leadsOn, plugOn, calling, gaugesOn, airHandlerOn    bool
	kit                                                 bool // a start kit is wired in for a try
	bleeds                                              bool // the blower's capacitor was told bled
	blowerBled                                          bool
	capVolts                                            float64 // left on the run capacitor, V
	poweredAt                                           float64 // when the outdoor unit last got its call
	overloadUntil                                       float64
	cache                                               *running
	solved                                              circuit // the last one, and its operating point
	solution                                            point
	switchedOff                                         bool    // the breaker, by this technician
	tripAt                                              float64 // when a breaker that holds at first opens; 0 never
	tripTold                                            bool    // that the breaker tripped was said
	arrival                                             bool    // nothing has been switched yet
	said                                                string  // the complaint, once made
	fuseBlown                                           bool    // the control fuse
	batteries                                           bool    // the thermostat has its own
	energisedHeats                                      bool    // the reversing valve is energised in heating, not in cooling
	pastFuse                                            bool    // R to C is read behind the control fuse
	doorSwitch                                          bool    // the air handler has one
	noticed                                             []Noticed
	proved                                              map[string]bool // places read at nothing since power was taken off
}

// setting is a fault as drawn: how bad, and of which kind.
type setting struct {
	id  string
	bad float64
	way float64
}

// rebuild works out the parts from new and the faults.
func (w *World) rebuild() {
	p := w.Unit.healthy()
	p.volts, p.sourceOhms = w.volts, w.sourceOhms
	w.p = p
	for _, s := range w.settings {
		faultTable[s.id].apply(w, &w.p, s)
	}
	w.cache = nil
}

// running is what runs, and with what volts and amps.
type running struct {
	line               float64 // volts leg to leg at the contactor's line side
	leg1, leg2         float64 // to ground there
	atPull, afterPull  float64
	secondary          float64
	statY, callY, coil float64
	contactor          string
	load, comp         float64 // volts at contactor load side and compressor terminals
	sag                float64 // the same at the contactor's line side while it starts
	state              string  // compressor: off, running, locked, overload
	amps, startAmps    float64
	runAmps            float64 // in the run wire, of a rotor that does not turn
	inrush             float64
	hermVolts          float64
	stuckCap           float64 // microfarads that stay beside the run capacitor
	fan                string
	fanAmps, fanVolts  float64
	blower             string
	blowerAmps         float64
	blowerAir          float64
	auxAmps            float64
	auxCalled          float64 // what it would draw if called for
	auxFed             bool    // it would get its volts if called for
	point              point
	circuit            circuit
	lowOpen, highOpen  bool // pressure switches open by pressure
}

func (w *World) settle() *running {
	if w.cache != nil {
		return w.cache
	}
	r := &running{contactor: "open", state: "off", fan: "stopped", blower: "stopped"}
	p, u := &w.p, &w.Unit
	if p.controlShort || p.coilShorted || p.valveShorted {
		w.fuseBlown = true
	}
	w.supply(r)
	w.indoorSide(r)
	w.control(r)
	w.outdoorSide(r)
	if r.state == "running" {
		r.circuit = w.circuitNow(r)
		if r.circuit != w.solved {
			w.solved, w.solution = r.circuit, r.circuit.solve()
		}
		r.point = w.solution
		w.limits(r)
		power := r.point.power
		i := u.RLA * (0.40 + 0.42*power) * math.Pow(230/math.Max(r.comp, 150), 0.7) * (1 + 0.35*(1-math.Min(w.hermNow(), 1)))
		if p.turnShort > 0 {
			i *= 1 + 2.2*p.turnShort
		}
		if w.hermNow() > 1.15 {
			i *= 1 + 0.3*(w.hermNow()-1)
		}
		if r.stuckCap > 0 {
			i *= 1.5 // the start winding carries several times its running current
		}
		r.amps = i
	}
	w.cache = r
	return r
}

func (w *World) supply(r *running) {
	p := &w.p
	if w.breakerOn && !w.tripped {
		r.leg1, r.leg2 = p.volts/2, p.volts/2
		if p.legLost {
			r.leg2 = 0
		}
	}
	between := func(a, b float64) float64 {
		if a > 0 && b > 0 {
			return a + b
		}
		return 0
	}
	r.atPull = between(r.leg1, r.leg2)
	if !w.disconnectIn {
		r.leg2 = 0
		if !p.pullFails {
			r.leg1 = 0
		}
	}
	if p.fuseBlown && w.Unit.FusedPull {
		r.leg2 = 0
	}
	r.afterPull = between(r.leg1, r.leg2)
	if p.wireGround == "line" && r.leg1+r.leg2 > 0 && !w.tripped {
		w.trip("at_once")
		w.supply(r)
		return
	}
	if p.wireOff == "line" {
		r.leg2 = 0
	}
	r.line = between(r.leg1, r.leg2)
}

func (w *World) indoorSide(r *running) {
	p, u := &w.p, &w.Unit
	primary := 0.0
	if w.airHandlerOn && !p.primaryLost {
		primary = p.volts
	}
	if primary > 0 && !p.xfmrDead {
		r.secondary = p.xfmrVolts
	}
	fanCall := r.asked(w)
	if fanCall && !p.statNoY {
		r.statY = r.secondary - 0.3
	}
	air := 1.0
	switch {
	case !fanCall || p.blowerRelay:
		r.blower = "stopped"
	case p.blowerOpen, p.blowerModule, p.blowerStiff && u.CapBlower == 0:
		r.blower = "stopped" // a module gives up at a rotor that does not turn
	case p.blowerStiff || (u.CapBlower > 0 && p.blowerCap < 0.35):
		r.blower, r.blowerAmps = "hum", u.BlowerFLA*1.6
	case u.CapBlower > 0 && p.blowerCap < 0.8:
		r.blower, r.blowerAmps, air = "slow", u.BlowerFLA*1.15, 0.55+0.3*p.blowerCap
	default:
		r.blower, r.blowerAmps = "running", u.BlowerFLA*0.8
	}
	if r.blower == "hum" || r.blower == "stopped" {
		air = 0.06
	}
	air *= p.filterAir * p.indoorCoil
	switch p.blowerWheel {
	case "dirty":
		air *= 0.62
	case "loose":
		air *= 0.3
	}
	if p.ducts == "closed" {
		air *= 0.66
	}
	if r.blower == "running" {
		r.blowerAmps *= 0.7 + 0.3*math.Min(air, 1)
	}
	r.blowerAir = air
	if p.auxStuck && primary > 0 && r.blower != "stopped" { // without air its limit opens
		r.auxCalled = u.AuxKW * 1000 / 240 * p.volts / 240
		r.auxAmps = r.auxCalled
	}
	if u.AuxKW > 0 && w.Heating && fanCall {
		r.auxFed = !p.auxRelay
		if r.auxFed && !p.auxOpen {
			r.auxCalled = u.AuxKW * 1000 / 240 * p.volts / 240
		}
		if w.secondStage() {
			r.auxAmps = r.auxCalled
		}
	}
}

// secondStage says whether the thermostat calls for auxiliary heat: in the cold,
// or where something keeps the house from getting warm.
func (w *World) secondStage() bool {
	return w.Heating && (w.outdoor < 38 || w.p.defrostNow || len(w.settings) > 0 && !Normal(w.settings[0].id))
}

func (w *World) control(r *running) {
	p := &w.p
	if r.statY > 0 && !p.yOpen {
		r.callY = r.statY - 0.4
	}
	chain := r.callY
	if p.highOpen && w.Unit.HighSwitch || p.lowOpen && w.Unit.LowSwitch || r.lowOpen || r.highOpen || p.boardDead {
		chain = 0
	}
	if w.Unit.LowSwitch && w.standing() < lowLimit(w.Unit.Refrigerant) {
		r.lowOpen = true
		chain = 0
	}
	if w.inDelay() {
		chain = 0
	}
	r.coil = chain
	switch {
	case p.welded:
		r.contactor = "pulled_in"
	case chain < 1 || p.coilOpen || p.coilShorted || p.stuckOpen:
		r.contactor = "open"
	case chain < 18.5:
		r.contactor = "chattering"
	default:
		r.contactor = "pulled_in"
	}
}

// valveVolts is the control voltage at the reversing valve's coil.
func (w *World) valveVolts(r *running) float64 {
	p := &w.p
	if (p.defrostStuck || p.defrostNow) && r.secondary > 0 {
		if w.energisedHeats {
			return 0
		}
		return r.secondary
	}
	if r.callY == 0 || p.rvWireOpen || w.energisedHeats == (w.Heating == p.rvWrong) {
		return 0
	}
	return r.callY
}

// inDelay says whether a board still holds the compressor off.
func (w *World) inDelay() bool {
	if w.p.delayShort && w.Now < 4 {
		return true
	}
	return w.Unit.Delay > 0 && w.poweredAt > 0 && w.Now-w.poweredAt < w.Unit.Delay
}

func (w *World) hermNow() float64 {
	c := w.p.herm
	if w.p.wrongCap > 0 {
		c *= w.p.wrongCap
	}
	if w.p.capConnection == "broken" || w.p.startWire || !w.leadsOn {
		return 0
	}
	return c
}

func (w *World) outdoorSide(r *running) {
	p, u := &w.p, &w.Unit
	r.sag = r.line
	if r.line == 0 || r.contactor != "pulled_in" {
		return
	}
	if p.fanGround || p.wireGround == "load" || (p.toGround < 0.05 && w.plugOn) {
		w.trip("at_once")
		w.supply(r)
		r.sag = 0
		return
	}
	if p.poleOpen {
		return // one side never arrives
	}
	r.load = r.line
	if p.wireOff == "load" {
		return // at the contactor's terminals there are volts, beyond them none
	}
	series := p.sourceOhms + p.poleOhms[0] + p.poleOhms[1] + p.pullOhms
	w.fanMotor(r)
	if !w.plugOn || p.commonOpen || p.wireOff == "compressor" {
		return
	}
	r.comp = r.load
	if p.overload || w.Now < w.overloadUntil {
		r.state = "overload"
		return
	}
	if p.runOpen && p.startOpen {
		return
	}
	// At start the locked-rotor current pulls the voltage down along the way.
	lockedOhms := 230 / u.LRA * (1 - 0.8*p.turnShort) // shorted turns leave less to hold the current back
	total := lockedOhms + series + p.commonOhms
	in := r.line / total
	atMotor := in * lockedOhms
	r.inrush = in
	torque := math.Pow(atMotor/230, 2) * math.Pow(math.Min(w.hermNow(), 1.3), 0.9)
	if u.CapStart > 0 && p.startCap > 0.5 && !p.relayOpen {
		torque *= 1.9
	}
	if p.relayStuck {
		r.stuckCap = u.CapStart
	}
	if w.kit && !p.startWire && p.capConnection != "broken" && w.leadsOn {
		// The start capacitor lies beside the run capacitor, whatever that is worth.
		torque = math.Max(torque, math.Pow(atMotor/230, 2)*(math.Pow(math.Min(w.hermNow(), 1.3), 0.9)+1.2))
	}
	runOpen := p.runOpen || p.runWire
	if p.startOpen || runOpen {
		torque = 0
	}
	torque *= 1 - p.turnShort
	need := w.loose * (1 + p.tight)
	// Line-side and load-side volts while it starts.
	r.sag = r.line - in*(p.sourceOhms+p.pullOhms)
	if p.locked || torque < need {
		r.state = "locked"
		share := 0.97
		if p.startOpen || w.hermNow() == 0 {
			share = 0.86
		}
		if runOpen {
			share = 0.2
		}
		r.amps = in * share
		r.inrush = r.amps
		r.runAmps = r.amps
		if runOpen {
			r.runAmps = 0
		}
		r.comp = atMotor
		r.load = r.line - in*series
		if p.startOpen || p.startWire {
			return // nothing flows through the capacitor
		}
		r.hermVolts = atMotor * 0.75
		r.startAmps = w.hermNow() * u.CapHerm * 2 * math.Pi * 60 * 1e-6 * r.hermVolts
		return
	}
	r.state = "running"
	run := u.RLA * 0.8
	r.load = r.line - run*series
	r.comp = r.load - run*p.commonOhms
	h := w.hermNow()
	r.hermVolts = r.comp * (1.12 + 0.28*math.Min(h, 1.2))
	r.startAmps = (h*u.CapHerm + r.stuckCap) * 2 * math.Pi * 60 * 1e-6 * r.hermVolts
	r.inrush = in * 0.93
}

func (w *World) fanMotor(r *running) {
	p, u := &w.p, &w.Unit
	c := p.fanCap
	switch {
	case p.fanOpen || p.fanWire == "broken" || p.fanRelay || p.defrostStuck || p.defrostNow:
		r.fan = "stopped"
	case p.fanBackward:
		r.fan, r.fanAmps = "backwards", u.FanFLA*0.8
	case p.fanSeized || c < 0.35:
		r.fan, r.fanAmps = "hum", u.FanFLA*1.9
	case c < 0.75 || p.fanStiff:
		r.fan, r.fanAmps = "slow", u.FanFLA*1.25
	default:
		r.fan, r.fanAmps = "running", u.FanFLA*0.85
	}
	if r.fanAmps > 0 {
		r.fanVolts = r.load * (1.1 + 0.25*math.Min(c, 1))
	}
}

func (w *World) circuitNow(r *running) circuit {
	p, u := &w.p, &w.Unit
	out := p.outCoil * p.frosted
	switch r.fan {
	case "slow":
		out *= 0.6
	case "hum", "stopped":
		out *= 0.07
	case "backwards":
		out *= 0.3
	}
	if p.fanBlade {
		out *= 0.4
	}
	air := w.outdoor
	if p.defrostNow {
		out, air = 1, 33 // the coil melts its frost: what it condenses against stays near freezing
	}
	heating := w.Heating
	if u.HeatPump && (p.rvStuck || p.rvCoilOpen || p.rvWireOpen) {
		// Without its coil it does what it does unenergised: heat on most makes.
		if p.rvStuck {
			heating = !heating
		} else {
			heating = !w.energisedHeats
		}
	} else if u.HeatPump && p.rvWrong {
		heating = !heating
	}
	if p.defrostStuck || p.defrostNow {
		heating = false
	}
	return circuit{
		fluid: fluidOf(u.Refrigerant), valve: u.Valve, charge: p.charge, orifice: p.orifice, seized: p.valveSeized,
		bulbLoose: p.bulbLoose, restriction: p.restriction, air: p.air, pump: p.pump, crossLeak: p.crossLeak,
		indoor: math.Max(r.blowerAir, 0.06), outdoor: math.Max(out, 0.06), indoorUA: math.Sqrt(p.indoorCoil), outdoorUA: math.Sqrt(math.Max(p.outCoil*p.frosted, 0.1)),
		approach: u.Approach, heating: heating, outdoorDB: air, indoorDB: w.indoorDB, indoorWB: w.indoorWB, target: u.TargetSC,
	}
}

// limits marks a pressure switch that this operating point would open: the unit
// then runs in short spells and the technician reads it while it runs.
func (w *World) limits(r *running) {
	fl := fluidOf(w.Unit.Refrigerant)
	if high := fl.bubble.psia(149); r.point.liquid > high {
		r.highOpen = true
		r.point.liquid = high
		r.point.cond = math.Min(r.point.cond, fl.bubble.temp(high))
	}
	if w.Unit.LowSwitch && r.point.suction-14.7 < lowLimit(w.Unit.Refrigerant) {
		r.lowOpen = true
	}
}

func lowLimit(refrigerant string) float64 { return fluidOf(refrigerant).dew.psia(-12) - 14.7 }

// standing is the gauge pressure with the compressor long off and the coil at
// the outdoor air's temperature: saturation there, unless there is too little
// left for liquid; gas that does not condense comes on top.
func (w *World) standing() float64 {
	full := fluidOf(w.Unit.Refrigerant).dew.psia(w.outdoor)
	if w.p.charge < 0.15 {
		full *= w.p.charge / 0.15
	}
	return math.Max(full-14.7+0.7*w.p.air, 0)
}

// trip opens the breaker; a technician standing there hears it.
func (w *World) trip(how string) {
	if !w.tripped {
		w.tripped = true
		w.notice("breaker_reset", "breaker", "trips_"+how)
		w.tripTold = true
	}
}
