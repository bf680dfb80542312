package physics

import "math"

// MCA is the minimum circuit ampacity: 1.25 x the largest motor + the rest
// (Daikin UAA manual p.32, citing NEC 430.24).
func MCA(largest Amps, others ...Amps) (Amps, error) {
	return circuitAmps(1.25, largest, others)
}

// MOCP is the largest protective device of a unit: 2.25 x the largest motor +
// the rest, and the standard size it is rounded down to (Daikin UAA manual
// pp.32-33, NEC 440.22). A unit's own marks win over this sum.
func MOCP(largest Amps, others ...Amps) (exact, standard Amps, err error) {
	exact, err = circuitAmps(2.25, largest, others)
	if err != nil {
		return 0, 0, err
	}
	standard, err = RoundDownDevice(exact)
	return exact, standard, err
}

func circuitAmps(factor Amps, largest Amps, others []Amps) (Amps, error) {
	if err := positive("largest motor current", largest, "amps"); err != nil {
		return 0, err
	}
	sum := factor * largest
	for _, a := range others {
		if err := within("motor current", a, 0, largest, "amps"); err != nil {
			return 0, err
		}
		sum += a
	}
	return sum, nil
}

// MotorCompressorCircuit sizes the circuit of one motor-compressor without
// other load: conductor 125 %, device at most 175 %, or 225 % if it will not
// start on that; devices rounded down to a standard size (NEC 440.22(A) and
// 440.32 as answered in an EC&M code column).
func MotorCompressorCircuit(rla Amps) (conductor, device, deviceIfNoStart Amps, err error) {
	if err = positive("rated load current", rla, "amps"); err != nil {
		return 0, 0, 0, err
	}
	if device, err = RoundDownDevice(1.75 * rla); err != nil {
		return 0, 0, 0, err
	}
	if deviceIfNoStart, err = RoundDownDevice(2.25 * rla); err != nil {
		return 0, 0, 0, err
	}
	return 1.25 * rla, device, deviceIfNoStart, nil
}

// StandardDevices lists the standard ratings of fuses and breakers up to 100 A
// (NEC 240.6, from memory).
func StandardDevices() []Amps {
	return []Amps{15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100}
}

// RoundDownDevice is the largest standard rating not above a, 15 to below 110 A.
func RoundDownDevice(a Amps) (Amps, error) {
	// 110 A is the next standard rating: above it the list does not tell.
	if err := within("device rating", a, 15, Amps(math.Nextafter(110, 0)), "amps"); err != nil {
		return 0, err
	}
	var best Amps
	for _, s := range StandardDevices() {
		if s <= a+1e-9 {
			best = s
		}
	}
	return best, nil
}

// A Termination is the temperature rating of the lugs a conductor lands on.
type Termination int

const (
	Lugs60C Termination = iota
	Lugs75C
)

// CopperAmpacity is the ampacity of a copper conductor, 14 to 1 AWG (even
// sizes, 3 and 1), not more than three in a raceway or cable, 30 C ambient
// (NEC Table 310.16, 2023, as reprinted by wire makers and calculators). Hotter
// places and bundles carry less.
func CopperAmpacity(awg int, t Termination) (Amps, error) {
	table := map[int][2]Amps{
		14: {15, 20}, 12: {20, 25}, 10: {30, 35}, 8: {40, 50}, 6: {55, 65},
		4: {70, 85}, 3: {85, 100}, 2: {95, 115}, 1: {110, 130},
	}
	a, ok := table[awg]
	if !ok {
		return 0, &RangeError{What: "copper wire size (14, 12, 10, 8, 6, 4, 3, 2 or 1)", Value: float64(awg), Low: 1, High: 14, Unit: "AWG"}
	}
	return a[t], nil
}

// A CircuitFault is something wrong between a unit's marks and its circuit.
type CircuitFault int

const (
	WireTooSmall   CircuitFault = iota // ampacity below the marked minimum
	DeviceTooLarge                     // above the marked maximum: a code fault
	DeviceTooSmall                     // below the marked minimum ampacity: will trip without a fault
)

// CheckCircuit compares a circuit with the unit's marks, which already hold the
// 125 %: nothing is added again. A value of 0 is unknown and not judged.
func CheckCircuit(mca, mocp, device, ampacity Amps) []CircuitFault {
	var faults []CircuitFault
	if mca > 0 && ampacity > 0 && ampacity < mca {
		faults = append(faults, WireTooSmall)
	}
	if mocp > 0 && device > mocp {
		faults = append(faults, DeviceTooLarge)
	}
	if mca > 0 && device > 0 && device < mca {
		faults = append(faults, DeviceTooSmall)
	}
	return faults
}
