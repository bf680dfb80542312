package diagnose

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"callout/catalogue"
)

// busy is a call in full swing: seen, measured, with two dozen readings and
// nothing decided.
func busy(k *Knowledge) []Event {
	var events []Event
	at := func(e Event) {
		e.Seq = uint64(len(events) + 1)
		e.At = start.Add(time.Duration(e.Seq) * 30 * time.Second)
		events = append(events, e)
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
	return events
}

// BenchmarkAssess prints what one assessment takes after a reading, with every
// fault and pair, over the readings of a call.
func BenchmarkAssess(b *testing.B) { assess(b, knowledge(b)) }

func assess(b *testing.B, k *Knowledge) {
	events := busy(k)
	var took []time.Duration
	var j *Job
	b.ReportAllocs()
	for b.Loop() {
		at := len(took) % len(events)
		if at == 0 {
			j = k.NewJob()
		}
		j.Add(events[at])
		begin := time.Now()
		j.Assess(events[at].At)
		took = append(took, time.Since(begin))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "median-µs")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
	b.ReportMetric(float64(len(k.model.ways)+len(k.model.pairs)), "hypotheses")
}

// BenchmarkGrowth prints how an assessment grows with the number of faults:
// with a part of those there are, and with more of the same again.
func BenchmarkGrowth(b *testing.B) {
	for _, share := range []float64{0.25, 0.5, 1, 2} {
		k := *knowledge(b)
		all := k.faults
		keep := int(math.Round(min(share, 1) * float64(len(all))))
		k.faults = append([]Fault(nil), all[:keep]...)
		for i := 0; i < len(all) && share > 1; i++ {
			if f := all[i]; !f.Normal {
				f.ID += "_again"
				k.faults = append(k.faults, f)
				k.confirm, k.proofs = append(k.confirm, k.confirm[i]), append(k.proofs, k.proofs[i])
			}
		}
		m, err := newModel(&k)
		if err != nil {
			b.Fatal(err)
		}
		k.model = m
		b.Run(fmt.Sprintf("faults=%d", len(k.faults)), func(b *testing.B) { assess(b, &k) })
	}
}
