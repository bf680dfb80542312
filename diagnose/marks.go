package diagnose

import (
	"fmt"
	"math"
	"slices"

	"callout/catalogue"
	"callout/physics"
)

// circuit holds what protects and feeds the unit against its nameplate, whenever
// one of the four values is given. What it finds is a hazard of its own, whatever
// else is wrong (NEC 440.22 and 440.32; ampacities NEC Table 310.16).
func (s *state) circuit(given catalogue.QuantityID, warn func(id, text string, with ...uint64)) {
	value := func(q catalogue.QuantityID, p catalogue.PlaceID) float64 {
		return s.rated[Input{Quantity: q, Place: p}].value
	}
	mca, mocp := value("min_circuit_ampacity", "unit"), value("max_overcurrent", "unit")
	device, awg := value("overcurrent_fitted", "breaker"), value("conductor_size", "unit")
	var hot, cold physics.Amps // at lugs of 75 and of 60 degrees; 0, which is not judged, for a size the table lacks
	if awg > 0 {
		hot, _ = physics.CopperAmpacity(int(math.Round(awg)), physics.Lugs75C)
		cold, _ = physics.CopperAmpacity(int(math.Round(awg)), physics.Lugs60C)
	}
	about := func(qs ...catalogue.QuantityID) bool { return slices.Contains(qs, given) } // told once, when the second value comes
	faults := physics.CheckCircuit(physics.Amps(mca), physics.Amps(mocp), physics.Amps(device), hot)
	if slices.Contains(faults, physics.DeviceTooLarge) && about("overcurrent_fitted", "max_overcurrent") {
		warn("overfused", fmt.Sprintf("A %s A breaker or fuse, and the nameplate allows %s A at most: overfused. Neither unit nor wire is protected: have it put right whatever else is wrong. It is not the cause of a fault.", short(device), short(mocp)))
	}
	if slices.Contains(faults, physics.DeviceTooSmall) && about("overcurrent_fitted", "min_circuit_ampacity") {
		warn("breaker_small", fmt.Sprintf("A %s A breaker or fuse is below the nameplate's minimum of %s A: it can trip with nothing wrong.", short(device), short(mca)))
	}
	if !about("conductor_size", "min_circuit_ampacity") || hot == 0 || mca == 0 {
		return
	}
	switch {
	case slices.Contains(faults, physics.WireTooSmall):
		warn("wire_small", fmt.Sprintf("%s AWG copper carries %s A, and the nameplate asks for %s A: the wire is too small, it overheats and sags. Have it put right whatever else is wrong.", short(awg), short(float64(hot)), short(mca)))
	case float64(cold) < mca:
		warn("wire_small", fmt.Sprintf("%s AWG copper carries %s A only on lugs marked 75 °C, and %s A on others: the nameplate asks for %s A, look at the marks.", short(awg), short(float64(hot)), short(float64(cold)), short(mca)))
	}
}

// notDead says that ohms or microfarads were read on what was not told to be
// off, once until the power changes. The reading counts: it may only be that
// nobody said so.
func (s *state) notDead(r catalogue.Reading) string {
	on := s.energy.Outdoor
	switch r.Place {
	case "blower", "blower_winding", "blower_capacitor", "aux_heat", "control_fuse":
		on = s.energy.Indoor
	}
	switch r.Quantity {
	case "capacitance", "resistance", "insulation_resistance", "lead_resistance":
		if on == ProvedDead || s.toldLive == s.segment+1 {
			break
		}
		s.toldLive = s.segment + 1
		if on == Live {
			return s.k.energy.Lines.OhmsLive
		}
		return s.k.energy.Lines.OhmsNot
	}
	return ""
}
