package simulator

import (
	"fmt"
	"slices"
	"strings"
)

// An Engine is what is played: it is told what the technician says and asked
// what to do next. Times are minutes since arrival.
type Engine interface {
	Observe(at float64, quantity, place, value string)
	Read(at float64, quantity, place string, value float64, qualifier string)
	Declare(at float64, declaration string)
	Repair(at float64, repair string)
	Cannot(at float64, test string)
	Next(at float64) Step
}

// Step is one prompt. Kind is one of test, proof, make_safe, energise,
// ask_nameplate, wait, repair and done.
type Step struct {
	Kind            string
	Test            string
	Quantity, Place string
	Declare         []string
	Repair          string
	Wait            float64 // minutes
	Cautions        int     // how many are said before it
	Minutes         float64
	Verdict         []string // faults of an earned verdict, nil before
	Note            string   // for the log
}

// Result is one call played.
type Result struct {
	Seed         uint64
	Truth        []string
	Verdicts     [][]string // earned verdicts, each once, in order
	Repairs      []string
	Tests        int // questions to the unit before the last new verdict, all where there is none: see questions
	Readings     int // single readings and looks among them
	Minutes      float64
	Unsafe       []string // kind: what
	Condemned    bool     // a compressor that was good
	Wasted       []string // repairs that mended nothing
	Exact        bool     // the verdicts name the truth and nothing else
	Right        bool     // the repairs put all of it right and nothing else was done
	Cured        bool     // the same, but what is left would make nobody call
	Finished     bool     // the engine said it was done
	Steps        int
	Log          []string
	FirstVerdict int     // tests before the first verdict, -1 if none
	ToVerdict    float64 // minutes before it, waits and the way to each energy state among them
}

// questions counts what was asked of the unit as the policies' probes are counted:
// a test once, however many readings it takes, a part that turns out not to be
// fitted among them, and once more each time that it is taken anew. Not counted,
// and free for the policies too: the complaint and the season that a call begins
// with, the nameplate, the steps to a safe or a live unit, waits, and the proof of
// a repair.
type questions struct {
	n     int
	taken map[string][]string // by test: its readings since it was last begun
}

func (q *questions) ask(test, reading string) {
	taken := q.taken[test]
	if len(taken) == 0 || slices.Contains(taken, reading) {
		q.n, taken = q.n+1, nil
	}
	q.taken[test] = append(taken, reading)
}

// maxSteps ends a call that goes nowhere.
const maxSteps = 250

// Play plays one call to its end.
func Play(w *World, e Engine, seed uint64, keepLog bool) Result {
	res := Result{Seed: seed, Truth: w.Faults, FirstVerdict: -1}
	log := func(s string) {
		if keepLog {
			res.Log = append(res.Log, s)
		}
	}
	observe := func(quantity, place, value string) {
		log("  says " + quantity + " " + place + " " + value)
		e.Observe(w.Now, quantity, place, value)
	}
	answer := func(quantity, place string, a Answer) {
		if a.Choice != "" {
			observe(quantity, place, a.Choice)
			return
		}
		log("  says " + quantity + " " + place + " " + format(a.Value) + a.Qualifier)
		e.Read(w.Now, quantity, place, a.Value, a.Qualifier)
	}
	ask := func(quantity, place string) (Answer, bool) {
		a := w.Ask(quantity, place)
		w.prove(quantity, place, a)
		return a, a.Can
	}
	notice := func() {
		for _, n := range w.TakeNoticed() {
			observe(n.Quantity, n.Place, n.Value)
			if n.Quantity == "breaker_reset" {
				e.Declare(w.Now, "breaker_off")
				log("  says breaker_off")
			}
		}
	}

	observe("complaint", "unit", w.complaint())
	observe("mode", "unit", w.Ask("mode", "unit").Choice)
	if !w.calling {
		e.Declare(w.Now, "call_off")
		log("  says call_off")
	}
	if w.once("reads the plate", w.habits.plate) {
		for _, q := range plate {
			if a := w.Ask(q[0], q[1]); a.Can {
				answer(q[0], q[1], a)
			}
		}
	}
	stuck := 0
	asked := questions{taken: map[string][]string{}}
	for ; res.Steps < maxSteps; res.Steps++ {
		s := e.Next(w.Now)
		if s.Verdict != nil && !slices.ContainsFunc(res.Verdicts, func(v []string) bool { return slices.Equal(v, s.Verdict) }) {
			res.Verdicts = append(res.Verdicts, s.Verdict)
			res.Tests = asked.n
			if res.FirstVerdict < 0 {
				res.FirstVerdict, res.ToVerdict = asked.n, w.Now
			}
			log("VERDICT " + join(s.Verdict))
		}
		log(s.Kind + " " + s.Test + " " + s.Quantity + " " + s.Place + " " + join(s.Declare) + s.Repair)
		switch s.Kind {
		case "done":
			log("  " + s.Note)
			res.Finished = true
			w.Pass(s.Minutes)
			score(w, &res)
			return res
		case "wait":
			w.Pass(max(s.Wait, 0.5))
		case "repair":
			if kind := w.touching(repairHands(s.Repair)); kind != "" {
				res.Unsafe = append(res.Unsafe, kind+": "+s.Repair)
			}
			if s.Repair == "replace_compressor" && !slices.ContainsFunc(w.settings, func(x setting) bool { return Mends(s.Repair, x.id) }) {
				res.Condemned = true
			}
			mended := w.Mend(s.Repair)
			if len(mended) == 0 {
				res.Wasted = append(res.Wasted, s.Repair)
			}
			res.Repairs = append(res.Repairs, s.Repair)
			w.Pass(s.Minutes)
			e.Repair(w.Now, s.Repair)
		case "make_safe", "energise", "test", "proof", "ask_nameplate":
			for _, d := range s.Declare {
				if kind := w.touching(wiring(d)); kind != "" {
					res.Unsafe = append(res.Unsafe, kind+": "+d)
				}
				w.Declare(d)
				for _, n := range w.found() { // seen before it is switched, and said so
					observe(n.Quantity, n.Place, n.Value)
				}
				e.Declare(w.Now, d)
			}
			if len(s.Declare) > 0 || s.Quantity == "" {
				w.Pass(s.Minutes)
				break
			}
			if kind := w.touching(hands(s.Quantity, s.Place)); kind != "" {
				res.Unsafe = append(res.Unsafe, kind+": "+s.Quantity+" "+s.Place)
			}
			if liveQuantity(s.Quantity, s.Place) && s.Cautions == 0 && s.Kind != "ask_nameplate" {
				res.Unsafe = append(res.Unsafe, LiveUncautioned+": "+s.Quantity+" "+s.Place)
			}
			w.Pass(s.Minutes)
			if s.Kind == "test" {
				res.Readings++
				if asked.ask(s.Test, s.Quantity+" "+s.Place); len(res.Verdicts) == 0 {
					res.Tests = asked.n
				}
			}
			a, ok := ask(s.Quantity, s.Place)
			if !ok {
				log("  can't")
				e.Cannot(w.Now, s.Test)
				break
			}
			answer(s.Quantity, s.Place, a)
		default:
			stuck++
			if stuck > 3 {
				score(w, &res)
				return res
			}
		}
		notice()
	}
	score(w, &res)
	return res
}

// plate is what a technician reads off the unit on the way in.
var plate = [][2]string{
	{"unit_type", "unit"}, {"voltage_rating", "unit"}, {"phase", "unit"}, {"frequency", "unit"}, {"refrigerant", "unit"}, {"metering_device", "unit"},
	{"rated_load_amps", "compressor"}, {"locked_rotor_amps", "compressor"}, {"full_load_amps", "fan"}, {"full_load_amps", "blower"},
	{"rated_capacitance", "herm"}, {"rated_capacitance", "fan_section"}, {"rated_capacitance", "blower_capacitor"}, {"rated_capacitance", "start_capacitor"},
	{"capacitor_voltage_rating", "installed"}, {"capacitor_tolerance", "installed"}, {"min_circuit_ampacity", "unit"}, {"max_overcurrent", "unit"},
	{"target_subcooling", "unit"}, {"rated_airflow", "unit"}, {"rated_capacity", "unit"}, {"aux_heat_rating", "aux_heat"}, {"altitude", "unit"},
}

// score compares what was decided and done with the truth.
func score(w *World, res *Result) {
	res.Minutes = w.Now
	if len(res.Verdicts) == 0 {
		res.ToVerdict = w.Now
	}
	named := res.named()
	res.Exact = len(named) == len(res.Truth)
	for _, f := range res.Truth {
		res.Exact = res.Exact && named[f]
	}
	if Normal(res.Truth[0]) {
		// An overload that has closed leaves nothing wrong: to call it that is right.
		closed := res.Truth[0] == "overload_cooled" && len(named) == 1 && named["no_fault"]
		res.Right = (res.Exact || closed) && len(res.Repairs) == 0
		res.Cured = res.Right
		return
	}
	left := w.left()
	res.Right = left == 0 && len(res.Wasted) == 0 && len(res.Verdicts) > 0
	res.Cured = len(res.Wasted) == 0 && len(res.Repairs) > 0 && (left == 0 || w.unnoticed())
}

// named are the faults of all verdicts; it notes a good compressor that was condemned.
func (res *Result) named() map[string]bool {
	named := map[string]bool{}
	bad := slices.ContainsFunc(res.Truth, compressorFault)
	for _, v := range res.Verdicts {
		for _, f := range v {
			named[f] = true
			res.Condemned = res.Condemned || compressorFault(f) && !bad
		}
	}
	if Normal(res.Truth[0]) && res.Truth[0] != "no_fault" {
		delete(named, "no_fault") // the reason, and that nothing else is wrong
	}
	return named
}

// left counts the faults that are still in the unit.
func (w *World) left() (n int) {
	for _, s := range w.settings {
		if !Normal(s.id) {
			n++
		}
	}
	if w.fuseBlown {
		n++
	}
	return n
}

// compressorFault says whether a fault is the compressor's own.
func compressorFault(id string) bool { return Mends("replace_compressor", id) }

func format(x float64) string { return fmt.Sprintf("%g", x) }

func join(s []string) string { return strings.Join(s, "+") }
