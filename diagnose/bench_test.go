package diagnose

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"callout/catalogue"
)

// busy is a call in full swing: seen, measured, made safe, with two dozen
// readings and nothing decided.
func busy(k *Knowledge) *Job {
	j := k.NewJob()
	seq := uint64(0)
	at := func(e Event) {
		seq++
		e.Seq, e.At = seq, start.Add(time.Duration(seq)*30*time.Second)
		j.Add(e)
	}
	look := func(q catalogue.QuantityID, p catalogue.PlaceID, v catalogue.ValueID) {
		at(Event{Observation: &catalogue.Observation{Quantity: q, Place: p, Value: v}})
	}
	read := func(q catalogue.QuantityID, p catalogue.PlaceID, v float64) {
		x, _ := k.cat.Quantity(q)
		at(Event{Reading: &catalogue.Reading{Quantity: q, Place: p, Value: v, Unit: x.Unit}})
	}
	look("complaint", "unit", "weak_cooling")
	look("refrigerant", "unit", "R-410A")
	look("metering_device", "unit", "txv")
	read("rated_load_amps", "compressor", 14)
	read("locked_rotor_amps", "compressor", 70)
	read("target_subcooling", "unit", 9)
	look("fan_motion", "fan", "running")
	look("fan_motion", "blower", "running")
	look("compressor_sound", "compressor", "running")
	look("filter_state", "filter", "clean")
	look("coil_state", "outdoor_coil", "clean")
	read("temperature", "outdoor_air", 91)
	read("temperature", "return_air", 78)
	read("wet_bulb", "return_air", 65)
	read("temperature", "supply_air", 61)
	read("suction_pressure", "suction_line", 112)
	read("temperature", "suction_line", 58)
	read("current", "compressor_common", 10.5)
	read("voltage", "contactor_line", 238)
	return j
}

// BenchmarkAssess prints what one assessment takes after a reading, with every
// fault and pair.
func BenchmarkAssess(b *testing.B) {
	k := knowledge(b)
	j := busy(k)
	now := start.Add(20 * time.Minute)
	took := make([]time.Duration, 0, b.N)
	for b.Loop() {
		begin := time.Now()
		j.Assess(now)
		took = append(took, time.Since(begin))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "median-µs")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
	b.ReportMetric(float64(len(k.model.ways)+len(k.model.pairs)), "hypotheses")
}

// BenchmarkGrowth prints how an assessment grows with the number of faults.
func BenchmarkGrowth(b *testing.B) {
	for _, share := range []float64{0.25, 0.5, 0.75, 1} {
		k := knowledge(b)
		keep := int(math.Round(share * float64(len(k.faults))))
		less := *k
		less.faults = append([]Fault(nil), k.faults[:keep]...)
		m, err := newModel(&less)
		if err != nil {
			b.Fatal(err)
		}
		less.model = m
		b.Run(fmt.Sprintf("faults=%d/hypotheses=%d", keep, len(m.ways)+len(m.pairs)), func(b *testing.B) {
			j := busy(&less)
			for b.Loop() {
				j.Assess(start.Add(20 * time.Minute))
			}
		})
	}
}
