package simulator

import "math"

// circuit is the refrigerant circuit as the faults left it. Shares are of the
// healthy value.
type circuit struct {
	fluid       fluid
	valve       bool    // thermostatic expansion valve
	charge      float64 // 1 is right
	orifice     float64 // flow coefficient of the metering device
	seized      bool    // the valve does not modulate
	bulbLoose   bool
	restriction float64 // extra resistance in the liquid line, 1 is as much as the metering device
	air         float64 // psi of gas that does not condense
	pump        float64 // share of the flow that leaks back in the compressor
	crossLeak   float64 // share of discharge gas that leaks across the reversing valve
	indoor      float64 // airflow
	outdoor     float64
	indoorUA    float64
	outdoorUA   float64
	approach    float64 // healthy condensing over ambient at 95 F, F
	heating     bool
	outdoorDB   float64
	indoorDB    float64
	indoorWB    float64
	target      float64 // subcooling at the right charge, F
}

// point is a steady operating point. Pressures are psi absolute.
type point struct {
	evap, cond          float64 // dew at suction, bubble at the liquid line, F
	suction, liquid     float64
	superheat           float64
	subcooling          float64
	flow, capacity      float64 // shares of rated
	power               float64 // share of rated
	discharge           float64 // F
	supply, leaving     float64 // air off the indoor coil, off the outdoor coil
	suctionT, liquidT   float64
	afterDrier          float64
	floods              bool
	indoorCoilT, sensed float64 // metal of the indoor coil, of the outdoor coil
}

// Conductances of the healthy unit, per F, as shares of rated capacity: the
// indoor coil wet (against wet bulb) and dry, the outdoor coil, and the indoor
// air's heat capacity at the rated airflow.
const (
	indoorWet   = 1 / 23.0
	indoorDry   = 0.0285
	indoorAir   = 0.040
	outdoorRate = 1.25
	ntuIndoor   = 1.5
	ntuOutdoor  = 1.2
	wetted0     = 0.932 // share of the evaporator that holds liquid, healthy
	superheat0  = 10.0
	evap0       = 44.0
)

// exchange is a coil's conductance with its airflow, surface and active share
// changed: effectiveness 1-exp(-NTU), surface conductance with the root of flow.
func exchange(conductance, ntu, air, ua, active float64) float64 {
	air = max(air, 0.05)
	e0 := 1 - math.Exp(-ntu)
	e := 1 - math.Exp(-ntu*ua*active/math.Sqrt(air))
	return conductance * air * e / e0
}

// solve lets the circuit run until it settles: liquid moves until the metering
// device and the compressor pass the same flow, the charge fills what is left.
func (c circuit) solve() point {
	cond0 := 95 + c.approach
	p0e, p0c := c.fluid.dew.psia(evap0), c.fluid.bubble.psia(cond0)
	ratio0 := p0c / p0e
	evapAir, evapWet, condAir := c.indoorDB, c.indoorWB, c.outdoorDB
	evapK, condK := indoorWet, outdoorRate/c.approach
	evapFlow, evapUA, condFlow, condUA := c.indoor, c.indoorUA, c.outdoor, c.outdoorUA
	evapNTU, condNTU := ntuIndoor, ntuOutdoor
	if c.heating {
		evapAir, evapWet, condAir = c.outdoorDB, c.outdoorDB-1, c.indoorDB
		evapK, condK = 0.7*outdoorRate/c.approach, indoorDry
		evapFlow, evapUA, condFlow, condUA = c.outdoor, c.outdoorUA, c.indoor, c.indoorUA
		evapNTU, condNTU = ntuOutdoor, ntuIndoor
	}

	te, tc, wet := evapWet-22, condAir+25, wetted0
	var p point
	for i := 0; i < 700; i++ {
		pe, pc := c.fluid.dew.psia(te), c.fluid.bubble.psia(tc)
		sh := max(evapAir-te, 0.1) * (1 - math.Exp(-4.8*max(1-wet, 0)))
		// Charge: what is not in the evaporator, the lines and as vapour stands in
		// the condenser and sets the subcooling; below none it flashes.
		inCond := c.charge - 0.07 - 0.37*wet/wetted0 - 0.14*pe/p0e
		s := c.target + (inCond-0.42)/0.0115
		backed := max(s, 0) // liquid backed up in the condenser takes its area
		if s > 0 {
			s = min(s, max(tc-condAir-1, 0.5)) // liquid can't leave colder than the air
		}
		sc := max(s, 0)
		g := 1 + 0.012*(sc-c.target)
		if s < 0 {
			g = (1 - 0.012*c.target) * math.Exp(max(s, -60)/22)
		}
		ratio := max((pc+c.air)/pe, 1.05)
		volumetric := (1 - 0.02*(ratio-1)) / (1 - 0.02*(ratio0-1))
		density := pe / p0e * (evap0 + superheat0 + 460) / (te + sh + 460)
		flow := max(density*volumetric*(1-c.pump)*(1-c.crossLeak), 0.02)
		feed := c.feed(pc-pe, p0c-p0e, g, sh)
		effect := 1 - 0.008*((tc-sc)-(cond0-c.target)) + 0.002*(sh-superheat0)
		if s < 0 {
			effect += 0.004 * max(s, -60) // gas in the liquid line cools nothing
		}
		effect = max(effect, 0.1)
		q := exchange(evapK, evapNTU, evapFlow, evapUA, max(wet/wetted0, 0.05)) * (evapWet - te)
		work := math.Pow(ratio, 0.17) - 1
		w := 0.25 * (density * volumetric * (1 - 0.55*c.pump) * work / (math.Pow(ratio0, 0.17) - 1))
		active := max(1-0.012*(backed-c.target), 0.3)
		reject := exchange(condK, condNTU, condFlow, condUA, active) * (tc - condAir)
		leak := 0.35 * (c.crossLeak + 0.3*c.pump)

		de, dc, dw := 2.2*(q-flow*effect-leak), 2.2*(flow*effect+w+leak-reject), 0.05*(feed-flow)
		te, tc, wet = te+de, tc+dc, wet+dw
		wet = min(max(wet, 0.03), 1.02)
		te = min(max(te, -35), evapAir-0.5)
		tc = min(max(tc, condAir+0.5), 175)
		p = point{evap: te, cond: tc, suction: pe, liquid: pc + c.air, superheat: sh, subcooling: sc, flow: flow, capacity: max(q, 0), power: w / 0.25, floods: wet >= 1}
		if i > 20 && math.Abs(de) < 2e-3 && math.Abs(dc) < 2e-3 && (math.Abs(dw) < 2e-5 || wet >= 1.02 || wet <= 0.03) {
			break
		}
	}
	c.finish(&p)
	return p
}

// feed is the flow through the liquid line and the metering device.
func (c circuit) feed(drop, drop0, g, sh float64) float64 {
	k := c.orifice * g
	if c.valve && !c.seized {
		set := superheat0
		if c.bulbLoose {
			set = 1
		}
		// The valve opens with superheat over its setting, up to half more than
		// rated.
		k = c.orifice * g * min(max(1+0.10*(sh-set), 0.08), 1.5)
	}
	// The exponent, as the other constants here, makes a rightly charged orifice
	// follow the published target superheat: a test holds it.
	return math.Pow(max(drop, 0)/drop0, 0.38) / math.Sqrt(1/(k*k)+c.restriction)
}

// finish works out the temperatures of lines and air.
func (c circuit) finish(p *point) {
	ratio := p.liquid / p.suction
	p.suctionT = p.evap + p.superheat + 1
	p.liquidT = p.cond - p.subcooling
	if p.floods {
		p.superheat = 0
		p.suctionT = p.evap
	}
	p.discharge = (p.suctionT+12+460)*math.Pow(ratio, 0.195) - 460 + 45*c.pump + 30*c.crossLeak
	// A drop of pressure across a restriction boils some liquid: it leaves at the
	// bubble point of the lower pressure.
	loss := c.restriction * p.flow * p.flow * (c.fluid.bubble.psia(95+c.approach) - c.fluid.dew.psia(evap0))
	p.afterDrier = min(p.liquidT, c.fluid.bubble.temp(max(p.liquid-c.air-loss, p.suction)))
	indoor, outdoor := max(c.indoor, 0.05), max(c.outdoor, 0.05)
	if c.heating {
		p.supply = c.indoorDB + (p.capacity+0.25*p.power)/(indoorAir*indoor)
		p.leaving = c.outdoorDB - p.capacity/(0.075*outdoor)
		p.indoorCoilT, p.sensed = p.cond-8, p.evap+2
		return
	}
	// The drier the room, the more of the work is sensible.
	sensible := min(max(0.72+0.035*((c.indoorDB-c.indoorWB)-13), 0.45), 1)
	p.supply = c.indoorDB - sensible*p.capacity/(indoorAir*indoor)
	p.supply = max(p.supply, p.evap+2, 24)
	p.leaving = c.outdoorDB + (p.capacity+0.25*p.power)/(0.075*outdoor)
	p.indoorCoilT, p.sensed = p.evap+2, p.cond-8
}
