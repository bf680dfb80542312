// Package diagnose decides what is wrong with a residential heat pump or air
// conditioner from what a technician reads off it, and what to do next.
//
// The knowledge is data (data/*.json): faults, tests, operating behaviours,
// gates, cautions. [Load] reads it once; a [Knowledge] never changes and is
// safe for concurrent use. A [Job] is one call: a pure fold over its events, so
// that the same events give the same assessment, and a retracted event leaves
// no trace. Time is passed in; no clock is read here.
//
// # What is kept apart
//
//   - Belief: the exact posterior over nothing wrong, every single fault and
//     every plausible pair, from the readings as soft evidence.
//   - Energy: what is live until declared and proved dead. See [Energy].
//   - Gates: what must be proved before a verdict, a repair, a touch, or a try
//     with a start kit. Gates are applied to the advice, never to the belief.
//   - Choice: the next test by least expected total cost in minutes, chosen where
//     something was last found out and kept to on the way there. What to mend first
//     is told apart; what else may be wrong shows once that is mended.
//
// # What is kept between looks
//
// A job keeps what its last look worked out: what each test showed and from
// what, the belief every few findings, the order of the explanations, what each
// test would leave. It is used only where what it was made of is the same, and
// everything is summed in the order of the log, so that the answer is the log's
// alone, to the last bit. A new reading then costs one multiplication of the
// belief, whose size grows with the square of the number of faults, and one look
// ahead over the leading explanations, which does not grow. The benchmarks print
// both: go test -run xxx -bench . ./diagnose
//
// # Playing a call
//
// A caller plays a call by answering [Next] with one [Event]:
//
//	test        measure or look: Reading or Observation of Quantity at Place
//	make_safe   one step towards dead and proved dead: either declare each of
//	            Declare, or read Quantity at Place (voltage at known_live,
//	            each leg, known_live again; each section of the capacitor; for
//	            the air handler, voltage at blower between two of known_live)
//	energise    one step back to a running unit: declare each of Declare
//	ask_nameplate  read Quantity at Place off the nameplate
//	wait        let Wait pass, then assess again with the later time
//	repair      do Repair, then report it as done
//	proof       like test, after the repair
//	done        nothing more to do
//
// In make_safe and energise, Test names the test or proof that the steps lead
// to. Cannot with Next.Test excludes that test. With a [Lack] it says what keeps
// it from being done instead: a step that can't be taken (every test that needs
// it is left out until it is taken after all), a nameplate value that can't be
// read (the test does without it if it can), or a part that is not fitted. Work
// inside the air handler needs it declared off (air_handler_off), locked out and
// proved dead there, apart from the outdoor unit. A unit of three phases is dead on
// three legs. What is proved lapses: with time, with any switch closed or lock taken
// off, with a failed meter or a live sign, and with an [Event] that is Resumed or Unsettled; see
// package energy and data/energy.json.
package diagnose
