package simulator

import (
	"math"
	"math/rand/v2"
)

// Unit is a nameplate, with what is fitted.
type Unit struct {
	HeatPump    bool
	Refrigerant string
	Valve       bool // thermostatic expansion valve; else a fixed orifice
	Tons        float64
	RLA, LRA    float64
	FanFLA      float64
	BlowerFLA   float64
	MCA, MOCP   float64
	Breaker     float64
	Wire        float64 // AWG
	CapHerm     float64 // microfarads
	CapFan      float64
	CapBlower   float64 // 0: an electronically commutated blower
	CapStart    float64 // 0: no start gear
	CapVolts    float64
	CapTol      float64 // percent
	Charge      float64 // ounces
	TargetSC    float64
	Airflow     float64
	AuxKW       float64 // 0: none
	Altitude    float64 // feet
	Approach    float64 // condensing over ambient when new, F
	FusedPull   bool    // fuses in the disconnect
	LowSwitch   bool
	HighSwitch  bool
	Float       bool
	Delay       float64 // minutes a board holds the compressor off; 0 none
	Crankcase   bool
	RunOhms     float64
	StartOhms   float64
	FanOhms     float64
	SightGlass  bool
}

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

func pick[T any](r *rand.Rand, of ...T) T { return of[r.IntN(len(of))] }

// round gives the nearest multiple of a step that is whole or divides one.
func round(x, step float64) float64 {
	if step >= 1 {
		return math.Round(x/step) * step
	}
	return math.Round(x/step) / math.Round(1/step)
}

// newUnit draws a nameplate with ratings that go together.
func newUnit(r *rand.Rand) Unit {
	u := Unit{
		HeatPump:    chance(r, 0.6),
		Refrigerant: pick(r, "R-410A", "R-410A", "R-410A", "R-410A", "R-22", "R-22", "R-32", "R-454B", "R-407C"),
		Valve:       chance(r, 0.55),
		Tons:        pick(r, 1.5, 2, 2.5, 2.5, 3, 3, 3.5, 4, 5),
		CapVolts:    pick(r, 370.0, 440.0, 440.0),
		CapTol:      pick(r, 5.0, 6.0, 6.0, 10.0),
		Approach:    between(r, 15, 24),
		FusedPull:   chance(r, 0.35),
		LowSwitch:   chance(r, 0.6),
		HighSwitch:  chance(r, 0.7),
		Float:       chance(r, 0.6),
		SightGlass:  chance(r, 0.1),
		Altitude:    pick(r, 0, 0, 200, 500, 800, 1200, 3000, 5200.0),
	}
	u.RLA = round(u.Tons*between(r, 4.4, 5.8), 0.1)
	u.LRA = round(u.RLA*between(r, 4.3, 5.9), 1)
	u.FanFLA = round(between(r, 0.6, 1.6), 0.1)
	u.BlowerFLA = round(between(r, 2, 5), 0.1)
	u.MCA = round(1.25*u.RLA+u.FanFLA, 0.1)
	u.MOCP = math.Floor((2.25*u.RLA+u.FanFLA)/5) * 5
	u.Breaker = u.MOCP
	u.Wire = 10
	if u.MCA > 30 {
		u.Wire = 8
	}
	u.CapHerm = pick(r, 30.0, 35, 35, 40, 40, 45, 45, 50, 55, 60)
	u.CapFan = pick(r, 4.0, 5, 5, 5, 7.5, 10)
	if chance(r, 0.55) {
		u.CapBlower = pick(r, 5.0, 7.5, 10)
	}
	if chance(r, 0.25) {
		u.CapStart = pick(r, 88.0, 108, 135, 189)
	}
	u.Charge = round(u.Tons*between(r, 30, 55), 1)
	u.TargetSC = float64(8 + r.IntN(5))
	u.Airflow = u.Tons * pick(r, 350.0, 400, 400)
	if u.HeatPump || chance(r, 0.3) {
		u.AuxKW = pick(r, 5.0, 7.5)
		if u.Tons >= 2.5 {
			u.AuxKW = pick(r, 7.5, 10.0)
		}
		if u.Tons >= 3.5 {
			u.AuxKW = pick(r, 10.0, 15)
		}
	}
	if u.HeatPump || chance(r, 0.3) {
		u.Delay = 5
	}
	u.Crankcase = u.HeatPump && chance(r, 0.7)
	// A larger motor has less resistance; the start winding has 3 to 5 times as
	// much as the run winding.
	u.RunOhms = math.Max(0.3, round(9/u.RLA*between(r, 0.9, 1.3), 0.05))
	u.StartOhms = round(u.RunOhms*between(r, 2.6, 4.2), 0.05)
	u.FanOhms = between(r, 25, 60)
	return u
}
