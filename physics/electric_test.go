package physics

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// 1e6/(2 pi f), and capacitances worked by hand; 74.53 is a trade training
// page's example (70 uF at 6 % ends at 74.2: just outside; inside 10 %).
func TestCapacitanceUnderLoad(t *testing.T) {
	for f, want := range map[Hertz]float64{60: 2652.58, 50: 3183.10, 400: 397.89} {
		k, err := CapacitanceUnderLoad(1, 1, f)
		require.NoError(t, err)
		assert.InDelta(t, want, float64(k), 0.01, f)
	}
	tests := []struct {
		i    Amps
		v    Volts
		f    Hertz
		want float64
	}{
		{8.3, 295.4, 60, 74.53}, {5.2, 330, 60, 41.80}, {5.2, 330, 50, 50.16}, {4.0, 345, 60, 30.75}, {1.1, 370, 60, 7.89},
	}
	for _, tt := range tests {
		c, err := CapacitanceUnderLoad(tt.i, tt.v, tt.f)
		require.NoError(t, err)
		assert.InDelta(t, tt.want, float64(c), 0.05)
		i, err := CapacitorCurrent(c, tt.v, tt.f)
		require.NoError(t, err)
		assert.InDelta(t, float64(tt.i), float64(i), 1e-9)
	}
	band, err := CapacitorBand(70, DefaultCapacitorTolerance)
	require.NoError(t, err)
	assert.InDelta(t, 65.8, band.Low, 1e-9)
	assert.InDelta(t, 74.2, band.High, 1e-9)
	assert.False(t, band.Contains(74.53))
	wide, err := CapacitorBand(70, 10)
	require.NoError(t, err)
	assert.True(t, wide.Contains(74.53))
	off, err := CapacitorDeviation(30.75, 40)
	require.NoError(t, err)
	assert.InDelta(t, -23, float64(off), 0.2)
	for _, err := range []error{
		second(CapacitanceUnderLoad(-1, 300, 60)), second(CapacitanceUnderLoad(1, 0, 60)), second(CapacitanceUnderLoad(1, 300, 0)),
		second(CapacitorBand(0, 6)), second(CapacitorBand(40, 60)), second(CapacitorDeviation(40, 0)), second(CapacitorCurrent(0, 300, 60)),
	} {
		var out *RangeError
		assert.ErrorAs(t, err, &out)
	}
}

func second[T any](_ T, err error) error { return err }

// Worked by plain arithmetic: t = R C ln(V0/50) from the peak.
func TestDischarge(t *testing.T) {
	assert.InDelta(t, 523.3, float64(PeakVolts(370)), 0.1)
	assert.InDelta(t, 622.3, float64(PeakVolts(440)), 0.1)
	tests := []struct {
		c       Microfarads
		r       Ohms
		rms     Volts
		seconds float64
		joules  float64
		watts   float64
	}{
		{40, 20e3, 370, 1.88, 5.48, 13.7},
		{40, 20e3, 440, 2.02, 7.74, 19.4},
		{80, 20e3, 440, 4.03, 15.5, 19.4},
		{5, 20e3, 370, 0.235, 0.68, 13.7},
		{40, 2.2e6, 370, 206.6, 5.48, 0.12},
	}
	for _, tt := range tests {
		peak := PeakVolts(tt.rms)
		d, err := BleedTime(tt.c, tt.r, peak, SafeVolts)
		require.NoError(t, err)
		assert.InDelta(t, tt.seconds, d.Seconds(), 0.05, tt)
		assert.InDelta(t, tt.joules, StoredEnergy(tt.c, peak), 0.05)
		w, err := BleedPeakPower(tt.r, peak)
		require.NoError(t, err)
		assert.InDelta(t, tt.watts, float64(w), 0.05)
		left, err := VoltsLeft(tt.c, tt.r, peak, d)
		require.NoError(t, err)
		assert.InDelta(t, float64(SafeVolts), float64(left), 1e-3)
	}
	// Waiting a minute is not proof: 2.2 megohm leaves 264.6 V.
	left, err := VoltsLeft(40, 2.2e6, PeakVolts(370), time.Minute)
	require.NoError(t, err)
	assert.InDelta(t, 264.6, float64(left), 0.5)
	for _, tt := range []struct {
		c    Microfarads
		rms  Volts
		want float64
	}{{40, 370, 639e3}, {40, 440, 595e3}, {80, 440, 297e3}} {
		r, err := LargestBleed(tt.c, PeakVolts(tt.rms), SafeVolts, DischargeTime)
		require.NoError(t, err)
		assert.InDelta(t, tt.want, float64(r), 1000)
		d, err := BleedTime(tt.c, r, PeakVolts(tt.rms), SafeVolts)
		require.NoError(t, err)
		assert.InDelta(t, 60, d.Seconds(), 1e-6)
	}
	d, err := BleedTime(40, 20e3, 30, SafeVolts)
	require.NoError(t, err)
	assert.Zero(t, d)
	for _, err := range []error{
		second(BleedTime(40, 0, 500, 50)), second(BleedTime(0, 1e4, 500, 50)), second(BleedTime(40, 1e4, 500, 0)), second(BleedTime(40, 1e17, 500, 50)),
		second(VoltsLeft(40, 0, 500, time.Second)), second(VoltsLeft(40, 1, 500, -time.Second)), second(LargestBleed(40, 50, 50, time.Minute)),
		second(LargestBleed(40, 500, 50, 0)), second(BleedPeakPower(0, 500)),
	} {
		assert.Error(t, err)
	}
}

// SymCom 201-575-AU p.5; engineers quoting NEMA; Daikin DTC p.10 (which rounds
// its mean). The tempting (max-min)/mean gives about double.
func TestVoltageUnbalance(t *testing.T) {
	for _, tt := range []struct {
		v         [3]Volts
		published float64
		within    float64
		exact     float64
		trap      float64
	}{
		{[3]Volts{203, 210, 212}, 2.5, 0.1, 2.56, 4.3},
		{[3]Volts{462, 463, 455}, 1.1, 0.1, 1.09, 1.7},
		{[3]Volts{220, 216, 213}, 1.8, 0.2, 1.69, 3.2},
	} {
		got, err := VoltageUnbalance(tt.v[0], tt.v[1], tt.v[2])
		require.NoError(t, err)
		assert.InDelta(t, tt.published, float64(got), tt.within)
		assert.InDelta(t, tt.exact, float64(got), 0.01)
		assert.Greater(t, math.Abs(tt.trap-float64(got)), 0.5)
	}
	_, err := VoltageUnbalance(0, 210, 210)
	assert.Error(t, err)
}

func TestSupplyBands(t *testing.T) {
	unit, err := UnitVoltageBand(208, 230) // arithmetic on NEMA's 10 %
	require.NoError(t, err)
	assert.InDelta(t, 187.2, unit.Low, 1e-9)
	assert.InDelta(t, 253, unit.High, 1e-9)
	motor, err := MotorVoltageBand(230) // NEMA Condensed MG 1-2011, 9.9.1
	require.NoError(t, err)
	assert.InDelta(t, 207, motor.Low, 1e-9)
	assert.InDelta(t, 253, motor.High, 1e-9)
	// COMAR 20.50.07.02.
	assert.Equal(t, Band{228, 252}, ServiceBand(Split120240))
	assert.Equal(t, Band{197, 219}, ServiceBand(Network120208))
	assert.Equal(t, Band{197, 219}, ServiceBand(Wye208))
	assert.Equal(t, Band{216, 252}, ServiceBand(Delta240))
	for s, want := range map[Service]bool{Split120240: true, Network120208: true, Wye208: false, Delta240: false} {
		b, ok := LegToNeutralBand(s)
		assert.Equal(t, want, ok)
		if ok {
			assert.Equal(t, Band{114, 126}, b)
		}
	}
	torque, err := TorqueRatio(208, 230) // NEMA Condensed MG 1-2011, 9.9.2
	require.NoError(t, err)
	assert.InDelta(t, 0.818, torque, 0.001)
	power, err := PowerRatio(208, 240)
	require.NoError(t, err)
	assert.InDelta(t, 0.751, power, 0.001)
	sag, err := Sag(240, 204)
	require.NoError(t, err)
	assert.InDelta(t, 15, float64(sag), 1e-9)
	for _, err := range []error{
		second(UnitVoltageBand(0, 230)), second(UnitVoltageBand(230, 208)), second(MotorVoltageBand(-1)), second(TorqueRatio(-1, 230)), second(Sag(0, 200)), second(Sag(240, -1)),
	} {
		assert.Error(t, err)
	}
}

// kW over volts, and the square law at 208 V.
func TestStripHeat(t *testing.T) {
	for kw, want := range map[Watts][2]float64{5: {20.8, 17061}, 7.5: {31.2, 25591}, 10: {41.7, 34121}, 15: {62.5, 51182}, 20: {83.3, 68243}} {
		i, err := StripHeatAmps(kw*1000, 240)
		require.NoError(t, err)
		assert.InDelta(t, want[0], float64(i), 0.1)
		assert.InDelta(t, want[1], float64(Heat(kw*1000)), 1)
	}
	w, i, err := StripHeatAt(10000, 240, 208)
	require.NoError(t, err)
	assert.InDelta(t, 7510, float64(w), 5)
	assert.InDelta(t, 36.1, float64(i), 0.1)
	assert.InDelta(t, 25629, float64(Heat(w)), 5)
	_, _, err = StripHeatAt(10000, 240, 0)
	assert.Error(t, err)
	_, err = StripHeatAmps(10000, 0)
	assert.Error(t, err)
	va, err := TransformerAmps(40, 24)
	require.NoError(t, err)
	assert.InDelta(t, 1.667, float64(va), 0.001)
	_, err = TransformerAmps(40, 0)
	assert.Error(t, err)
}

func TestCircuitSizes(t *testing.T) {
	// Daikin UAA manual pp.32-33 formulas (NEC 430.24, 440.22).
	mca, err := MCA(17.9, 1.4)
	require.NoError(t, err)
	assert.InDelta(t, 23.775, float64(mca), 1e-9)
	exact, standard, err := MOCP(17.9, 1.4)
	require.NoError(t, err)
	assert.InDelta(t, 41.7, float64(exact), 0.05)
	assert.Equal(t, Amps(40), standard)
	// EC&M code column on NEC 2011 440.22(A), 440.32.
	wire, device, retry, err := MotorCompressorCircuit(24)
	require.NoError(t, err)
	assert.Equal(t, []Amps{30, 40, 50}, []Amps{wire, device, retry})
	for give, want := range map[Amps]Amps{15: 15, 19.9: 15, 42: 40, 45: 45, 59.9: 50, 109.9: 100} {
		got, err := RoundDownDevice(give)
		require.NoError(t, err)
		assert.Equal(t, want, got, give)
	}
	for _, bad := range []Amps{14.9, 110, -1} {
		_, err := RoundDownDevice(bad)
		assert.Error(t, err, bad)
	}
	_, err = MCA(1.4, 17.9) // the largest comes first
	assert.Error(t, err)
	_, _, err = MOCP(0)
	assert.Error(t, err)
	_, _, err = MOCP(100)
	assert.Error(t, err)
	for _, rla := range []Amps{0, 5, 60} {
		_, _, _, err = MotorCompressorCircuit(rla)
		assert.Error(t, err, rla)
	}
}

// NEC Table 310.16 (2023) as reprinted.
func TestCopperAmpacity(t *testing.T) {
	for awg, want := range map[int][2]Amps{14: {15, 20}, 12: {20, 25}, 10: {30, 35}, 8: {40, 50}, 6: {55, 65}, 4: {70, 85}, 3: {85, 100}, 2: {95, 115}, 1: {110, 130}} {
		for i, lugs := range []Termination{Lugs60C, Lugs75C} {
			got, err := CopperAmpacity(awg, lugs)
			require.NoError(t, err)
			assert.Equal(t, want[i], got)
		}
	}
	_, err := CopperAmpacity(11, Lugs60C)
	assert.Error(t, err)
}

// Code practice (NEC 440): the marks win, a fuse above the marked maximum is a
// fault, unknowns are not judged.
func TestCheckCircuit(t *testing.T) {
	assert.Empty(t, CheckCircuit(23.8, 40, 40, 30))
	assert.Equal(t, []CircuitFault{DeviceTooLarge}, CheckCircuit(23.8, 40, 50, 30))
	assert.Equal(t, []CircuitFault{WireTooSmall}, CheckCircuit(23.8, 40, 40, 20))
	assert.Equal(t, []CircuitFault{DeviceTooSmall}, CheckCircuit(23.8, 40, 20, 30))
	assert.Empty(t, CheckCircuit(0, 0, 60, 15))
	assert.Empty(t, CheckCircuit(23.8, 40, 0, 0))
}

// Relation and ratio: Lennox dealer column.
func TestWindings(t *testing.T) {
	ok, off, err := Windings{CR: 0.6, CS: 1.9, SR: 2.5}.Identity()
	require.NoError(t, err)
	assert.True(t, ok)
	assert.InDelta(t, 0, float64(off), 1e-9)
	ok, off, err = Windings{CR: 0.6, CS: 1.9, SR: 2.63}.Identity()
	require.NoError(t, err)
	assert.False(t, ok, "5 %% of 2.5 is 0.125")
	assert.InDelta(t, 0.13, float64(off), 1e-9)
	ratio, err := Windings{CR: 0.6, CS: 1.9}.StartToRun()
	require.NoError(t, err)
	assert.InDelta(t, 3.17, ratio, 0.01)
	_, _, err = Windings{CR: Open(), CS: 1.9, SR: 2.5}.Identity()
	assert.Error(t, err)
	_, err = Windings{CR: 0, CS: 1}.StartToRun()
	assert.Error(t, err)
}

// The highest pair is start to run, the pin left out is common (Lennox dealer
// column): for every way of numbering the pins.
func TestIdentifyTerminals(t *testing.T) {
	w := map[[2]int]Ohms{{0, 1}: 0.6, {0, 2}: 1.9, {1, 2}: 2.5} // 0 common, 1 run, 2 start
	pair := func(a, b int) Ohms { return w[[2]int{min(a, b), max(a, b)}] }
	for _, order := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
		c, s, r, err := IdentifyTerminals(pair(order[0], order[1]), pair(order[0], order[2]), pair(order[1], order[2]))
		require.NoError(t, err)
		assert.Equal(t, [3]int{0, 2, 1}, [3]int{order[c], order[s], order[r]})
	}
	_, _, _, err := IdentifyTerminals(1, 1, 3)
	assert.ErrorContains(t, err, "zero the leads")
	_, _, _, err = IdentifyTerminals(1, 1, 2)
	assert.ErrorContains(t, err, "too near")
	_, _, _, err = IdentifyTerminals(Open(), 1, 2)
	assert.Error(t, err)
}

// Overload: supply-house note and Goodman IO-395; open windings: makers' test
// pages.
func TestWindingPattern(t *testing.T) {
	o, n := Open(), Ohms(math.NaN())
	for w, want := range map[[3]Ohms]WindingPattern{
		{0.6, 1.9, 2.5}: WindingsClosed,
		{o, o, 2.5}:     OverloadOpen,
		{o, 1.9, o}:     RunOpen,
		{0.6, o, o}:     StartOpen,
		{o, o, o}:       AllOpen,
		{o, 1.9, 2.5}:   WindingsContradictory,
		{0.6, o, 2.5}:   WindingsContradictory,
		{0.6, 1.9, o}:   WindingsContradictory,
	} {
		assert.Equal(t, want, Windings{w[0], w[1], w[2]}.Pattern(), w)
	}
	assert.Equal(t, RunOpen, Windings{o, 1.9, n}.Pattern())
	assert.Equal(t, StartOpen, Windings{0.6, o, n}.Pattern())
	assert.Equal(t, WindingsClosed, Windings{0.6, 1.9, n}.Pattern())
	assert.Equal(t, WindingsUnknown, Windings{o, o, n}.Pattern(), "an open overload and two open windings look alike")
	assert.Equal(t, WindingsUnknown, Windings{n, 1.9, 2.5}.Pattern())
	assert.Equal(t, 2*time.Hour, OverloadWait)
}

// Copeland AE4-1294: 1000 ohm per volt, simple limit 0.5 megohm.
func TestInsulation(t *testing.T) {
	for r, want := range map[Ohms]InsulationVerdict{Open(): InsulationGood, 0.5e6: InsulationGood, 0.49e6: InsulationMarginal, 230e3: InsulationMarginal, 229e3: InsulationLow, 0: InsulationLow} {
		got, err := JudgeInsulation(r, 230)
		require.NoError(t, err)
		assert.Equal(t, want, got, r)
	}
	for _, bad := range []Ohms{-1, Ohms(math.NaN())} {
		_, err := JudgeInsulation(bad, 230)
		assert.Error(t, err)
	}
	_, err := JudgeInsulation(1e6, 0)
	assert.Error(t, err)
}

// Common practice, no source: amps near the locked-rotor rating mean it is not
// turning, well above rated load is a fault, the rated load itself no target.
func TestRunningCurrent(t *testing.T) {
	p, err := PercentOf(47, 58)
	require.NoError(t, err)
	assert.InDelta(t, 81, float64(p), 0.1)
	tests := []struct {
		i, rla, lra Amps
		v           Volts
		want        MotorState
	}{
		{47, 12, 58, 240, LockedRotor},
		{47, 12, 58, 0, LockedRotor},
		{30, 12, 58, 0, HighLoad},
		{30, 12, 58, 180, LockedRotor}, // at 180 V the locked current is near 45 A
		{13, 12, 58, 240, Running},
		{14, 12, 58, 240, HighLoad},
		{5, 12, 58, 240, LightLoad},
		{0.4, 12, 58, 240, NotDrawing},
	}
	for _, tt := range tests {
		got, err := JudgeRunningCurrent(tt.i, tt.rla, tt.lra, tt.v, 230)
		require.NoError(t, err)
		assert.Equal(t, tt.want, got, "%v", tt)
	}
	_, err = JudgeRunningCurrent(10, 12, 10, 0, 0) // locked rotor below rated load
	assert.Error(t, err)
	_, err = PercentOf(10, 0)
	assert.Error(t, err)
}
