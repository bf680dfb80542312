package physics

import (
	"fmt"
	"time"
)

// MinimumChargeOutdoor is the lowest outdoor dry bulb at which the standard
// charge test is valid; below it the charge is weighed in (California Energy
// Commission 2008 Residential Appendix RA3.2.1 and RA3.2.3; 2013 RA3.2.1.1(d)).
const MinimumChargeOutdoor Fahrenheit = 55

// How long the circuit must settle after a change of charge before it is read.
const (
	Settle     = 15 * time.Minute // CEC 2008 RA3; Carrier 38HDF manual
	SettleLong = 20 * time.Minute // Trane/Service First charging procedure steps 6-7
)

// Accuracy asked of digital gauges and pipe sensors (CEC 2013 RA3.2.2.2).
const (
	GaugeErrorLiquid  PSIG = 7.0
	GaugeErrorSuction PSIG = 3.5
	// PipeSensorSettle is the time a clamp-on sensor has to become accurate.
	PipeSensorSettle = 90 * time.Second
)

// MakerTolerance is the usual makers' tolerance on a charted suction-line
// (Carrier 38QRA steps 8-9) or liquid-line temperature (Carrier 38HDF p.13).
const MakerTolerance DeltaF = 3

// A NoTargetError says why no target exists at these conditions. It is a
// refusal: the table prints a dash or does not reach there, and nothing may be
// charged by it.
type NoTargetError struct {
	Reason  NoTarget
	Target  string // "superheat" or "temperature split"
	WetBulb Fahrenheit
	DryBulb Fahrenheit // outdoor for superheat, return air for the split
}

// NoTarget is the reason a target is refused.
type NoTarget int

const (
	ColdOutdoor  NoTarget = iota // outdoor air below MinimumChargeOutdoor: weigh in
	SluggingRisk                 // a dash: target below 5 F, liquid could reach the compressor
	OffTable                     // the published table does not reach there
)

func (e *NoTargetError) Error() string {
	switch e.Reason {
	case ColdOutdoor:
		return fmt.Sprintf("physics: no target %s at %.4g F outdoors: below %g F the charge is weighed in", e.Target, e.DryBulb, MinimumChargeOutdoor)
	case SluggingRisk:
		return fmt.Sprintf("physics: no target %s at %.4g F wet bulb and %.4g F outdoors: the table has a dash there, liquid could reach the compressor; weigh the charge in", e.Target, e.WetBulb, e.DryBulb)
	}
	return fmt.Sprintf("physics: no target %s at %.4g F wet bulb and %.4g F dry bulb: outside the published table", e.Target, e.WetBulb, e.DryBulb)
}

// TargetSuperheat is the suction superheat a fixed-orifice unit should have in
// cooling, from the indoor (return) wet bulb, 50 to 76 F, and the outdoor dry
// bulb, 55 to 115 F, by linear interpolation in the maker's table. It returns a
// *NoTargetError wherever one of the neighbouring cells is a dash: interpolation
// never reaches past the printed numbers.
//
// Source: Carrier 38VTA manual Table 4, cross-read with Carrier 38TUA p.10.
func TargetSuperheat(wetBulb, outdoor Fahrenheit) (DeltaF, error) {
	g, err := superheatGrid()
	if err != nil {
		return 0, err
	}
	refuse := &NoTargetError{Target: "superheat", WetBulb: wetBulb, DryBulb: outdoor}
	if outdoor < MinimumChargeOutdoor {
		refuse.Reason = ColdOutdoor
		return 0, refuse
	}
	if !g.covers(float64(outdoor), float64(wetBulb)) {
		refuse.Reason = OffTable
		return 0, refuse
	}
	target, known := g.at(float64(outdoor), float64(wetBulb))
	if !known {
		refuse.Reason = SluggingRisk
		return 0, refuse
	}
	return DeltaF(target), nil
}

// TargetSplit is the fall of dry bulb from return to supply that a unit with
// the right airflow has in cooling, from the return dry bulb, 70 to 80 F, and
// wet bulb, 57 to 70 F. Outside it returns a *NoTargetError.
//
// Source: Lennox TSA-H4 manual 507994-01, Figure 18.
func TargetSplit(returnDry, returnWet Fahrenheit) (DeltaF, error) {
	g, err := splitGrid()
	if err != nil {
		return 0, err
	}
	if !g.covers(float64(returnDry), float64(returnWet)) {
		return 0, &NoTargetError{Reason: OffTable, Target: "temperature split", WetBulb: returnWet, DryBulb: returnDry}
	}
	target, known := g.at(float64(returnDry), float64(returnWet))
	if !known {
		return 0, &NoTargetError{Reason: OffTable, Target: "temperature split", WetBulb: returnWet, DryBulb: returnDry}
	}
	return DeltaF(target), nil
}

// A Role chooses the pass band: the installer aims closer than the verifying
// rater checks.
type Role int

const (
	Installer Role = iota
	Rater
)

// SuperheatTolerance is how far a fixed-orifice unit's superheat may lie from its
// target: 5 F for the installer, 6 F for the rater, ends included (CEC 2008 RA3-14
// steps 5-6).
func SuperheatTolerance(role Role) DeltaF {
	if role == Rater {
		return 6
	}
	return 5
}

// SubcoolingTolerance is the same of the subcooling of a unit with a valve: 3 F for
// the installer (CEC 2008 RA3-15 step 6), 4 F for the rater (from memory of the same).
func SubcoolingTolerance(role Role) DeltaF {
	if role == Rater {
		return 4
	}
	return 3
}

// SplitTolerance is the same of the temperature split: 3 F and 4 F (CEC 2008 RA3-16;
// the same 3 F in Lennox TSA-H4 manual Figure 18).
func SplitTolerance(role Role) DeltaF {
	if role == Rater {
		return 4
	}
	return 3
}

// ValveSuperheatBand is the superheat range in which a thermostatic valve
// meters rightly when the maker names none (CEC 2008 RA3-15 step 9).
func ValveSuperheatBand(role Role) Band {
	if role == Rater {
		return Band{3, 26}
	}
	return Band{4, 25}
}

// MinimumAirflowPerTon is the measured airflow that the CEC 2008 RA3.2.2.7
// accepts in place of the split test, in cfm per ton of cooling; it must be
// exceeded.
const MinimumAirflowPerTon = 300

// CondensingOverAmbient is how far the bubble point at the liquid gauge is
// above the air entering the condenser. Common practice, no source.
func (r Refrigerant) CondensingOverAmbient(liquid PSIG, entering Fahrenheit, z Feet) (DeltaF, error) {
	t, err := r.Temperature(liquid, Bubble, z)
	return DeltaF(t - entering), err
}

// EvaporatorDifference is how far the air entering the evaporator is above the
// dew point at the suction gauge. Common practice, no source.
func (r Refrigerant) EvaporatorDifference(suction PSIG, entering Fahrenheit, z Feet) (DeltaF, error) {
	t, err := r.Temperature(suction, Dew, z)
	return DeltaF(entering - t), err
}
