package simulator

import (
	"math"
	"math/rand/v2"
)

// habits are what one town's units, meters and people have in common: which faults
// are met how often and how bad, what is fitted, how well meters and eyes agree with
// the truth, what customers say. Every run draws many towns, so that no constant can
// be learnt from one. The ranges are wide on purpose: common practice, no source.
type habits struct {
	frequency map[string]float64 // of each fault, times its usual weight
	severity  float64            // exponent on how bad a fault is: under 1 worse, over 1 milder
	meters    float64            // instruments' own errors, times the usual
	scatter   float64            // readings' scatter, times the usual
	careless  float64            // chance that an observation is misjudged
	hidden    float64            // chance that a broken lead looks sound
	vague     float64            // chance that a complaint says less than it could
	plate     float64            // chance that the nameplate is read on the way in
	batteries float64            // share of thermostats with their own
	pastFuse  float64            // share of technicians who read R to C behind the fuse
	doors     float64            // share of air handlers with a door switch
	heats     float64            // share of valves energised in heating
	charged   float64            // chance that a capacitor keeps its charge
	bled      float64            // chance that it is badly bled
	trips     float64            // share of breakers that open before an overload
	winter    float64            // share of heat pumps met in heating
	warmer    float64            // outdoor air against the usual, F
	approach  float64            // condensing over ambient, times the usual
	ratio     float64            // ohms of start winding to run winding, times the usual
	loose     float64            // load at the start, times the usual
	pairs     float64            // share of second faults, times the setup's
	delay     float64            // minutes of a board's delay
}

// home is the town that the simulator began with.
func home() habits {
	return habits{severity: 1, meters: 1, scatter: 1, careless: 0.03, plate: 0.75, batteries: 0.4, pastFuse: 0.5, doors: 0.6, heats: 0.15,
		charged: 0.25, bled: 0.03, trips: 0.12, winter: 0.35, approach: 1, ratio: 1, loose: 1, pairs: 1, delay: 5}
}

// town draws one; 0 is home.
func town(seed uint64) habits {
	if seed == 0 {
		return home()
	}
	r := rand.New(rand.NewPCG(seed, 0xe7037ed1a0b428db))
	times := func(by float64) float64 { return math.Exp(math.Log(by) * (2*r.Float64() - 1)) } // from 1/by to by
	h := habits{
		severity: times(1.8), meters: times(2), scatter: times(1.8), careless: between(r, 0, 0.07), hidden: between(r, 0, 0.15), vague: between(r, 0, 0.35),
		plate: between(r, 0.4, 0.95), batteries: between(r, 0.1, 0.9), pastFuse: between(r, 0.1, 0.9), doors: between(r, 0.2, 0.9), heats: between(r, 0.02, 0.35),
		charged: between(r, 0.1, 0.5), bled: between(r, 0, 0.08), trips: between(r, 0.03, 0.3), winter: between(r, 0.15, 0.6), warmer: between(r, -6, 6),
		approach: times(1.2), ratio: between(r, 0.55, 1.4), loose: times(1.12), pairs: between(r, 0.3, 2), delay: between(r, 3, 6.5), frequency: map[string]float64{},
	}
	for _, id := range FaultIDs() {
		h.frequency[id] = math.Exp(0.8 * r.NormFloat64())
	}
	return h
}

// weight is how often a fault is met here.
func (h *habits) weight(id string) float64 {
	w := faultTable[id].weight
	if f, ok := h.frequency[id]; ok {
		w *= f
	}
	return w
}
