package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func healthyCircuit() circuit {
	return circuit{fluid: fluidOf("R-410A"), charge: 1, orifice: 1, indoor: 1, outdoor: 1, indoorUA: 1, outdoorUA: 1, approach: 20, outdoorDB: 95, indoorDB: 80, indoorWB: 67, target: 10}
}

// A rightly charged orifice follows the published target superheat (Carrier
// 38VTA manual, Table 4; a sample of its cells) within 3.5 F, rms 2.5 F.
func TestOrificeFollowsPublishedSuperheat(t *testing.T) {
	table := map[float64]map[float64]float64{
		75:  {60: 12, 64: 18, 68: 24, 72: 31},
		85:  {62: 8, 64: 11, 68: 19, 72: 26},
		95:  {64: 6, 66: 10, 68: 14, 72: 22},
		105: {68: 9, 70: 13, 72: 17},
	}
	n, squares := 0, 0.0
	for outdoor, row := range table {
		for wet, want := range row {
			c := healthyCircuit()
			c.outdoorDB, c.indoorWB, c.indoorDB = outdoor, wet, wet+12
			got := c.solve().superheat
			assert.InDelta(t, want, got, 4, "%g F, %g F wet bulb", outdoor, wet)
			n++
			squares += (got - want) * (got - want)
		}
	}
	assert.Less(t, math.Sqrt(squares/float64(n)), 2.5)
}

// Signs of the fixed-orifice fault table in the Purdue report on fault
// detection for rooftop units (Table 1-1, rules after Rossi and Braun 1997).
// Left out: discharge gas on valve leakage (the copies disagree) and the air
// split of leaking valves and condenser fouling below noise.
func TestFaultSigns(t *testing.T) {
	base := healthyCircuit()
	h := base.solve()
	tests := []struct {
		fault                             string
		break_                            func(*circuit)
		suction, superheat, cond, subcool int
		rise, split                       int
	}{
		{"undercharge", func(c *circuit) { c.charge = 0.85 }, -1, +1, -1, -1, -1, -1},
		{"compressor valve leak", func(c *circuit) { c.pump = 0.4 }, +1, -1, -1, -1, -1, -1},
		{"liquid-line restriction", func(c *circuit) { c.restriction = 2 }, -1, +1, -1, +1, -1, -1},
		{"condenser fouling", func(c *circuit) { c.outdoor, c.outdoorUA = 0.6, 0.8 }, +1, -1, +1, -1, +1, -1},
		{"evaporator fouling", func(c *circuit) { c.indoor, c.indoorUA = 0.6, 0.8 }, -1, -1, -1, -1, -1, +1},
	}
	for _, tt := range tests {
		c := base
		tt.break_(&c)
		p := c.solve()
		for what, v := range map[string][3]float64{
			"suction saturation": {float64(tt.suction), h.evap, p.evap}, "superheat": {float64(tt.superheat), h.superheat, p.superheat},
			"condensing saturation": {float64(tt.cond), h.cond, p.cond}, "subcooling": {float64(tt.subcool), h.subcooling, p.subcooling},
			"condenser air rise": {float64(tt.rise), h.leaving, p.leaving}, "evaporator split": {float64(tt.split), -h.supply, -p.supply},
		} {
			assert.Positive(t, v[0]*(v[2]-v[1]), "%s: %s from %.1f to %.1f", tt.fault, what, v[1], v[2])
		}
	}
}

// With an expansion valve superheat is held until the valve runs out of liquid
// and the subcooling tells (common practice; maker's training).
func TestValveHoldsSuperheat(t *testing.T) {
	c := healthyCircuit()
	c.valve, c.charge = true, 0.9
	p := c.solve()
	assert.InDelta(t, superheat0, p.superheat, 4)
	assert.Less(t, p.subcooling, 5.0)
	c.charge = 0.65
	assert.Greater(t, c.solve().superheat, 20.0)
}

// Rise and fall of heating with the outdoor temperature: Goodman SSZ140301
// manual p.28, one unit; field tolerance 5 F.
func TestHeatingRise(t *testing.T) {
	for outdoor, want := range map[float64]float64{55: 28.6, 47: 25.6, 35: 21.2, 17: 16.0} {
		c := healthyCircuit()
		c.valve, c.heating, c.outdoorDB, c.indoorDB = true, true, outdoor, 70
		assert.InDelta(t, want, c.solve().supply-70, 5, outdoor)
	}
}

// Saturation against printed chart points: Carrier 38VTA Table 5,
// Armstrong 48478A006 Table 5 (R-410A), Liebert ITR Table 33 (R-407C).
func TestSimulatorSaturation(t *testing.T) {
	for _, p := range []struct {
		k       antoine
		t, psig float64
	}{{fluidOf("R-22").dew, 41, 70.0}, {fluidOf("R-410A").bubble, 40, 118.0}, {fluidOf("R-410A").bubble, 120, 417.7}, {fluidOf("R-407C").bubble, 100, 222}} {
		assert.InDelta(t, p.t, p.k.temp(p.psig+14.696), 1.5)
		assert.InDelta(t, p.psig+14.696, p.k.psia(p.k.temp(p.psig+14.696)), 1e-6)
	}
}

// Whatever the faults, the circuit settles at numbers that can be read.
func TestSolveIsFinite(t *testing.T) {
	for seed := uint64(0); seed < 3000; seed++ {
		w := NewCall(seed, Setup{Pairs: 0.3})
		r := w.settle()
		if r.state != "running" {
			continue
		}
		p := r.point
		for name, v := range map[string]float64{"suction": p.suction, "liquid": p.liquid, "superheat": p.superheat, "subcooling": p.subcooling, "discharge": p.discharge, "supply": p.supply, "amps": r.amps} {
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%v seed %d %s", w.Faults, seed, name)
		}
		require.GreaterOrEqual(t, p.liquid, p.suction, w.Faults)
	}
}

// With the right airflow the fall of temperature over the indoor coil is the
// published target (Lennox TSA-H4 manual 507994-01, Figure 18; field tolerance
// 3 F), on a mild and on a hot day.
func TestSplitFollowsPublishedTarget(t *testing.T) {
	n, squares := 0, 0.0
	for _, row := range []struct{ dry, wet, want float64 }{
		{80, 60, 23}, {80, 64, 22}, {80, 67, 18}, {80, 70, 15}, {76, 60, 21}, {76, 63, 19}, {76, 66, 17}, {72, 60, 18}, {72, 64, 15},
	} {
		for _, outdoor := range []float64{82, 95} {
			c := healthyCircuit()
			c.valve, c.outdoorDB, c.indoorDB, c.indoorWB = true, outdoor, row.dry, row.wet
			got := row.dry - c.solve().supply
			assert.InDelta(t, row.want, got, 4, "%v at %g F", row, outdoor)
			n++
			squares += (got - row.want) * (got - row.want)
		}
	}
	assert.Less(t, math.Sqrt(squares/float64(n)), 2.2)
}
