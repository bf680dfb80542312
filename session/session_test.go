package session

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/joblog"
)

var start = time.Date(2026, 3, 8, 14, 0, 0, 0, time.UTC)

func knowledge(t testing.TB) *Knowledge {
	t.Helper()
	k, err := LoadKnowledge()
	require.NoError(t, err)
	return k
}

// memory is a Log that can be told to fail.
type memory struct {
	records []Record
	fail    error
}

func (m *memory) Append(body joblog.Body, at time.Time) (uint64, error) {
	if m.fail != nil {
		return 0, m.fail
	}
	m.records = append(m.records, Record{Seq: uint64(len(m.records) + 1), At: at, Body: body})
	return uint64(len(m.records)), nil
}

// shown collects what the outputs are given.
type shown struct{ records []Record }

func (s *shown) Show(_ context.Context, r Record) error {
	s.records = append(s.records, r)
	return nil
}

type bench struct {
	t   testing.TB
	k   *Knowledge
	log *memory
	out *shown
	r   *Runner
	now time.Time
}

func newBench(t testing.TB) *bench {
	b := &bench{t: t, k: knowledge(t), log: &memory{}, out: &shown{}, now: start}
	call := NewCall(b.k, Policy{Ask: 0.35, AskSafety: 0.5, Ignore: 0.05})
	opened := joblog.Opened{Schema: 1, Program: "test", Job: "test"}
	_, err := b.log.Append(opened, start)
	require.NoError(t, err)
	require.NoError(t, call.Apply(1, start, opened))
	b.r = NewRunner(call, b.log, b.out)
	require.NoError(t, b.r.Begin(t.Context(), start))
	return b
}

// say lets some seconds pass and types a line; it returns what followed.
func (b *bench) say(text string) []Record { return b.sayAt(text, 1) }

func (b *bench) sayAt(text string, certainty float64) []Record {
	b.t.Helper()
	b.now = b.now.Add(5 * time.Second)
	before := len(b.out.records)
	require.NoError(b.t, b.r.Hear(b.t.Context(), Utterance{At: b.now, Source: joblog.Typed, Text: text, Certainty: certainty}))
	return b.out.records[before:]
}

func bodies[T joblog.Body](records []Record) []T {
	var list []T
	for _, r := range records {
		if b, ok := r.Body.(T); ok {
			list = append(list, b)
		}
	}
	return list
}

func decisions(records []Record) []joblog.Decision {
	var list []joblog.Decision
	for _, c := range bodies[joblog.Callout](records) {
		list = append(list, c.Decision)
	}
	return list
}

func spoken(records []Record) string {
	text := ""
	for _, s := range bodies[joblog.Said](records) {
		text += s.Text + "\n"
	}
	return text
}

func TestAReadingIsRecordedAndReadBack(t *testing.T) {
	b := newBench(t)
	got := b.say("compressor amps forty seven")
	assert.IsType(t, joblog.Heard{}, got[0].Body, "what was heard comes first")
	c := bodies[joblog.Callout](got)
	require.Len(t, c, 1)
	require.Len(t, c[0].Readings, 1)
	assert.Equal(t, joblog.Reading{Quantity: "current", Place: "compressor_common", Value: 47, Unit: "A", Certainty: 1}, c[0].Readings[0])
	assert.Contains(t, spoken(got), "47 A")
}

func TestChatterIsLeftAlone(t *testing.T) {
	b := newBench(t)
	got := b.say("my kid turned fifteen last week")
	assert.Equal(t, []joblog.Decision{joblog.Ignored}, decisions(got))
	assert.Empty(t, spoken(got), "quietly")
	assert.Contains(t, spoken(b.say("what did you ignore")), "my kid turned fifteen last week")
}

func TestAnImplausibleNumberIsAskedBack(t *testing.T) {
	for answer, want := range map[string][]joblog.Decision{
		"yes": {joblog.Recorded}, "no": {joblog.Recorded}, "rated load amps fourteen": {joblog.Recorded},
	} {
		b := newBench(t)
		got := b.say("rated load amps one hundred")
		require.Equal(t, []joblog.Decision{joblog.Asked}, decisions(got))
		require.NotEmpty(t, b.r.Call().Open())
		assert.Contains(t, spoken(got), "100 A")
		got = b.say(answer)
		require.Equal(t, want, decisions(got), answer)
		assert.Empty(t, b.r.Call().Open(), answer)
		values := bodies[joblog.Callout](got)[0].Readings
		switch answer {
		case "yes":
			require.Len(t, values, 1)
			assert.Equal(t, 100.0, values[0].Value)
		case "no":
			assert.Empty(t, values)
		default:
			require.Len(t, values, 1)
			assert.Equal(t, 14.0, values[0].Value)
		}
	}
}

func TestWhatIsUnsureIsAskedOrIgnored(t *testing.T) {
	b := newBench(t)
	assert.Equal(t, []joblog.Decision{joblog.Ignored}, decisions(b.sayAt("compressor amps forty seven", 0.01)))
	assert.Equal(t, []joblog.Decision{joblog.Asked}, decisions(b.sayAt("compressor amps forty seven", 0.2)))
	assert.Equal(t, []joblog.Decision{joblog.Recorded}, decisions(b.say("yes")))
	assert.Equal(t, []joblog.Decision{joblog.Recorded}, decisions(b.sayAt("compressor amps forty six", 0.4)))
	assert.Equal(t, []joblog.Decision{joblog.Asked}, decisions(b.sayAt("disconnect is pulled", 0.4)), "a declaration needs more")
}

// "On" and "off" sound alike: a declaration whose opposite is near is asked, with
// both named, and never recorded on its own.
func TestADeclarationNearItsOppositeIsAsked(t *testing.T) {
	b := newBench(t)
	hear := func(text string, behind float64) []Record {
		b.now = b.now.Add(5 * time.Second)
		before := len(b.out.records)
		require.NoError(t, b.r.Hear(t.Context(), Utterance{At: b.now, Source: joblog.Speech, Text: text, Certainty: 0.99, LogLikelihood: -5,
			Alternatives: []joblog.Alternative{{Text: "Lock is off.", LogLikelihood: -5 - behind}, {Text: "Luck is on.", LogLikelihood: -6}}}))
		return b.out.records[before:]
	}
	got := hear("Lock is on.", 2)
	require.Equal(t, []joblog.Decision{joblog.Asked}, decisions(got))
	assert.Contains(t, spoken(got), "locked and tagged or the lock is off")
	assert.Equal(t, []joblog.Decision{joblog.Recorded}, decisions(b.say("locked out")))
	assert.Equal(t, []joblog.Decision{joblog.Asked}, decisions(hear("Lock is on.", 9)), "it is on already: why say so")
	b = newBench(t)
	assert.Equal(t, []joblog.Decision{joblog.Recorded}, decisions(hear("Lock is on.", 9)))
}

func TestStrikingAndMending(t *testing.T) {
	b := newBench(t)
	b.say("rated load amps forty one")
	got := b.say("no, fourteen")
	r := bodies[joblog.Retracted](got)
	require.Len(t, r, 1)
	c := bodies[joblog.Callout](got)
	require.Len(t, c[0].Readings, 1)
	assert.Equal(t, "rated_load_amps", c[0].Readings[0].Quantity)
	assert.Equal(t, 14.0, c[0].Readings[0].Value)
	assert.Contains(t, spoken(got), "Corrected: rated-load amps: 14 A.")
	assert.NotEmpty(t, bodies[joblog.Assessment](got), "what it changes is worked out at once")
	got = b.say("scratch that")
	require.Len(t, bodies[joblog.Retracted](got), 1)
	assert.Contains(t, spoken(b.say("scratch that")), "nothing to strike")
}

func TestListeningCanBeStopped(t *testing.T) {
	b := newBench(t)
	b.say("stop listening")
	assert.Equal(t, []joblog.Decision{joblog.Ignored}, decisions(b.say("compressor amps forty seven")))
	b.say("listen")
	assert.Equal(t, []joblog.Decision{joblog.Recorded}, decisions(b.say("compressor amps forty seven")))
}

func TestRemindersComeOnTime(t *testing.T) {
	b := newBench(t)
	b.say("call me in ten minutes")
	due, ok := b.r.Call().NextDue()
	require.True(t, ok)
	assert.Equal(t, b.now.Add(10*time.Minute), due)
	before := len(b.out.records)
	require.NoError(t, b.r.Tick(t.Context(), due.Add(-time.Second)))
	assert.Len(t, b.out.records, before, "not yet")
	require.NoError(t, b.r.Tick(t.Context(), due))
	assert.Contains(t, spoken(b.out.records[before:]), "Time is up")
	_, ok = b.r.Call().NextDue()
	assert.False(t, ok)
}

func TestAClosedJobTakesNoMore(t *testing.T) {
	b := newBench(t)
	got := b.say("job done")
	assert.Empty(t, bodies[joblog.Closed](got), "no verdict: asked first")
	got = b.say("job done")
	require.Len(t, bodies[joblog.Closed](got), 1)
	assert.Equal(t, "no_verdict", bodies[joblog.Closed](got)[0].Outcome)
	assert.True(t, b.r.Call().Closed())
	err := b.r.Hear(t.Context(), Utterance{At: b.now, Source: joblog.Typed, Text: "note late", Certainty: 1})
	require.ErrorIs(t, err, ErrClosed)
}

func TestNothingIsSaidThatIsNotLogged(t *testing.T) {
	b := newBench(t)
	b.say("compressor amps forty seven")
	assert.Equal(t, b.log.records, append([]Record{b.log.records[0]}, b.out.records...))
	b.log.fail = errors.New("disk full")
	before := len(b.out.records)
	for range 2 {
		err := b.r.Hear(t.Context(), Utterance{At: b.now, Source: joblog.Typed, Text: "compressor amps forty eight", Certainty: 1})
		require.ErrorIs(t, err, ErrLogFailed)
		assert.ErrorContains(t, err, "disk full")
		b.log.fail = nil // once broken it stays so: entries may be missing
	}
	assert.Len(t, b.out.records, before)
}

// A call restored from its log is the same call: it assesses alike, asks alike
// and answers the rest of the conversation alike.
func TestTheLogIsTheState(t *testing.T) {
	lines := []string{
		"complaint no cooling", "nameplate RLA seventeen point six", "LRA eighty four", "outdoor fan is running", "compressor hums",
		"compressor amps seventy two", "my kid turned fifteen", "compressor amps nothing", "rated load amps four hundred", "no",
		"disconnect is pulled", "why", "can't do that one", "what's next", "scratch that", "where are we", "call me in ten minutes",
		"note the panel screw is missing", "no, eighty", "how long", "repeat", "job done", "what's next",
	}
	b := newBench(t)
	for i, line := range lines {
		b.say(line)
		again := NewCall(b.k, b.r.call.policy)
		for _, r := range b.log.records {
			require.NoError(t, again.Apply(r.Seq, r.At, r.Body))
		}
		require.Equal(t, b.r.call.Assess(b.now), again.Assess(b.now), line)
		require.Equal(t, b.r.call.Open(), again.Open(), line)
		if i+1 == len(lines) {
			break
		}
		u := Utterance{At: b.now.Add(5 * time.Second), Source: joblog.Typed, Text: lines[i+1], Certainty: 1}
		second := NewCall(b.k, b.r.call.policy)
		for _, r := range b.log.records {
			require.NoError(t, second.Apply(r.Seq, r.At, r.Body))
		}
		one, err := again.Hear(u)
		require.NoError(t, err)
		two, err := second.Hear(u)
		require.NoError(t, err)
		require.Equal(t, one, two, lines[i+1])
	}
}

func TestSoundIsKeptBeforeItIsLogged(t *testing.T) {
	b := newBench(t)
	var fail error
	b.r.KeepSound(func(seq uint64, sound []float32) (string, string, error) {
		require.Equal(t, uint64(len(b.log.records)+1), seq, "not logged yet")
		require.Len(t, sound, 3)
		return "000009.flac", "abc", fail
	})
	hear := func() []Record {
		before := len(b.out.records)
		b.now = b.now.Add(5 * time.Second)
		require.NoError(t, b.r.Hear(t.Context(), Utterance{At: b.now, Source: joblog.Speech, Text: "compressor amps forty seven", Certainty: 1, Sound: make([]float32, 3)}))
		return b.out.records[before:]
	}
	h := bodies[joblog.Heard](hear())
	assert.Equal(t, "000009.flac", h[0].Audio)
	assert.Equal(t, "abc", h[0].AudioSHA256)
	fail = errors.New("disk full.")
	assert.Contains(t, spoken(hear()), "disk full", "told, once")
	assert.NotContains(t, spoken(hear()), "disk full")
}

func TestEntriesMustComeInOrder(t *testing.T) {
	c := NewCall(knowledge(t), Policy{})
	require.Error(t, c.Apply(2, start, joblog.Note{Text: "early"}))
}

func TestEventsAreFlatObjects(t *testing.T) {
	b := newBench(t)
	b.say("compressor amps forty seven")
	names := map[string]bool{}
	for _, r := range b.out.records {
		for _, e := range b.k.Events(r) {
			raw, err := json.Marshal(e)
			require.NoError(t, err)
			var fields map[string]any
			require.NoError(t, json.Unmarshal(raw, &fields), string(raw))
			require.Contains(t, fields, "at")
			names[fields["event"].(string)] = true
			if fields["event"] == "reading" {
				assert.Equal(t, "current", fields["quantity"])
				assert.Equal(t, 47.0, fields["value"])
			}
		}
	}
	for _, want := range []string{"heard", "reading", "assessment", "next", "said", "caution", "energy"} {
		assert.True(t, names[want], want)
	}
}

// Whatever is typed, nothing is lost and nothing breaks.
func FuzzHear(f *testing.F) {
	for _, s := range []string{"compressor amps 47", "no", "yes", "scratch that", "job done", "why", "<script>", "\x00", "no no no forty", "disconnect is not pulled"} {
		f.Add(s, s)
	}
	k := knowledge(f)
	f.Fuzz(func(t *testing.T, one, two string) {
		c := NewCall(k, Policy{Ask: 0.3, AskSafety: 0.5})
		require.NoError(t, c.Apply(1, start, joblog.Opened{Job: "x"}))
		for i, text := range []string{one, two} {
			records, err := c.Hear(Utterance{At: start.Add(time.Duration(i) * time.Second), Text: text, Source: joblog.Typed, Certainty: 1})
			if errors.Is(err, ErrClosed) {
				return
			}
			require.NoError(t, err)
			require.NotEmpty(t, records)
			require.Equal(t, text, records[0].Body.(joblog.Heard).Text)
			require.NotEmpty(t, bodies[joblog.Callout](records), "something becomes of every utterance")
		}
	})
}

// TestContradictoryReadingsAreNamed: what can't both be is told in words, with
// the likely mistake, not only measured again.
func TestContradictoryReadingsAreNamed(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.say("nameplate LRA seventy three")
	b.say("compressor is running")
	got := b.say("compressor amps zero")
	assert.Contains(t, spoken(got), "is the clamp round one wire only")
	cautions := bodies[joblog.Caution](got)
	require.NotEmpty(t, cautions)
	assert.Equal(t, "contradicts_reading", cautions[0].Caution)
	got = b.say("fan is running")
	assert.NotContains(t, spoken(got), "is the clamp round one wire only", "a contradiction is named once")
	call := NewCall(b.k, DefaultPolicy)
	for i, r := range b.log.records {
		require.NoError(t, call.Apply(uint64(i+1), r.At, r.Body))
	}
	again, err := call.Hear(Utterance{At: b.now.Add(time.Second), Source: joblog.Typed, Text: "blower is running", Certainty: 1})
	require.NoError(t, err)
	assert.NotContains(t, spoken(again), "is the clamp round one wire only", "nor again after a restart")
}

// TestANumberThatCorrectsNothingIsAskedBack: "no, forty five" after something
// that was no number is neither guessed at nor passed over.
func TestANumberThatCorrectsNothingIsAskedBack(t *testing.T) {
	b := newBench(t)
	b.say("compressor amps forty seven")
	b.say("compressor hums")
	got := b.say("no, forty five")
	assert.Contains(t, spoken(got), "Say it whole")
	b.say("fan amps one point one")
	assert.Contains(t, spoken(b.say("no, one point two")), "1.2 A")
}

// TestWhatWasSeenIsNotSaidTwice: the read-back says it; the finding is only
// spoken where it says more than that.
func TestWhatWasSeenIsNotSaidTwice(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	got := b.say("fan is running")
	assert.Contains(t, spokenAloud(got), "running")
	assert.NotContains(t, spokenAloud(got), "The outdoor fan runs")
	assert.Contains(t, spokenAloud(b.say("compressor hums")), "current flows and it doesn't turn")
}

func spokenAloud(records []Record) string {
	text := ""
	for _, s := range bodies[joblog.Said](records) {
		if s.Way == joblog.Spoken {
			text += s.Text + "\n"
		}
	}
	return text
}

// TestWhatCantBeDoneIsNotAskedAgain: each kind of "can't" has its own answer,
// and none of them leads in a circle.
func TestWhatCantBeDoneIsNotAskedAgain(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.say("fan is running")
	b.say("compressor hums")
	assert.Contains(t, b.r.call.next.Declare, "disconnect_pulled")
	got := b.say("can't do that one")
	assert.Contains(t, spoken(got), "nothing that needs it")
	for range 90 {
		if b.r.call.next.Does == "done" {
			break
		}
		assert.NotContains(t, b.r.call.next.Declare, "disconnect_pulled")
		b.say("can't do that one")
	}
	assert.Equal(t, "done", b.r.call.next.Does, "it ends honestly")
	assert.Contains(t, b.r.call.next.Say, "I can't settle this")

	b = newBench(t)
	b.say("no cooling")
	b.say("fan is running")
	b.say("compressor amps twenty")
	require.Equal(t, "ask_nameplate", b.r.call.next.Does, b.r.call.next.Say)
	require.Equal(t, "locked_rotor_amps", b.r.call.next.Quantity)
	got = b.say("can't do that one")
	assert.Contains(t, spoken(got), "without it")
	assert.Contains(t, spoken(got), "no locked-rotor amps to hold it against")
	assert.NotEqual(t, "locked_rotor_amps", b.r.call.next.Quantity)
}

// TestAWaitIsToldOnce: on a running clock, too, whose monotonic reading drifts
// from the wall's by nanoseconds.
func TestAWaitIsToldOnce(t *testing.T) {
	b := newBench(t)
	started := 0
	for _, text := range []string{"no cooling", "compressor hums then clicks off", "fan is running", "blower is running", "outside is ninety one", "suction is one forty"} {
		before := len(b.out.records)
		require.NoError(t, b.r.Hear(t.Context(), Utterance{At: time.Now(), Source: joblog.Typed, Text: text, Certainty: 1}))
		for _, timer := range bodies[joblog.Timer](b.out.records[before:]) {
			if timer.Event == joblog.TimerStarted {
				started++
			}
		}
		time.Sleep(3 * time.Millisecond)
	}
	assert.Equal(t, 1, started)
}

// TestARefusedCloseLeavesTheJobOpen: and it says what is still to be done.
func TestARefusedCloseLeavesTheJobOpen(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.say("replaced the capacitor")
	b.say("job done")
	got := spoken(b.say("no"))
	assert.Contains(t, got, "the job stays open")
	assert.Contains(t, got, "Next: ")
	assert.NotContains(t, got, "Not kept")
	assert.Contains(t, spoken(b.say("where are we")), "Replaced the run capacitor: 0 of ")
}

// TestScratchThatStrikesWhatIsInQuestion: not the last thing that stands.
func TestScratchThatStrikesWhatIsInQuestion(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.say("fan amps one point one")
	b.say("liquid eight hundred twenty seven")
	require.NotEmpty(t, b.r.call.Open())
	got := b.say("scratch that")
	assert.Empty(t, bodies[joblog.Retracted](got))
	assert.Empty(t, b.r.call.Open())
	got = b.say("scratch that")
	require.Len(t, bodies[joblog.Retracted](got), 1, "with no question open the last reading goes")
	assert.Contains(t, spoken(got), "1.1 A")
}

// TestAQuestionDoesNotOutliveItsAnswer: once the step it was about has its reading, an
// older question is not put again, takes no number and no yes.
func TestAQuestionDoesNotOutliveItsAnswer(t *testing.T) {
	b := newBench(t)
	for _, said := range []string{"no cooling", "compressor hums", "rated forty herm", "disconnect is pulled and locked out", "panel is open",
		"known source one hundred twenty one volts", "leg to leg zero volts", "leg one to ground zero volts", "leg two to ground zero volts", "known source one hundred twenty one volts", "capacitor is bled"} {
		b.say(said)
	}
	require.Equal(t, "herm", b.r.Call().next.Place, "the volts across it are asked")
	b.say("capacitor rated volts zero")
	require.NotEmpty(t, b.r.Call().Open(), "no capacitor is rated for nothing")
	b.say("herm volts across the capacitor zero")
	assert.Empty(t, b.r.Call().Open())
	b.say("there is none") // no fan section
	b.say("leads are off")
	c := bodies[joblog.Callout](b.say("thirty eight point two"))
	require.Len(t, c, 1)
	require.Len(t, c[0].Readings, 1)
	assert.Equal(t, "capacitance", c[0].Readings[0].Quantity)
}

// TestTheLastQuestionIsTheOneThatIsPut: and a number after a new step is for the step.
func TestTheLastQuestionIsTheOneThatIsPut(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.say("rated load amps four hundred")
	got := b.say("liquid eight hundred twenty seven")
	assert.Contains(t, spoken(got), "827 psi")
	assert.NotContains(t, spoken(got), "400 A")
	b.say("yes")
	assert.Empty(t, b.r.Call().Open(), "a question ends with the next topic")
	b.say("compressor hums")
	q, _ := b.r.Call().Expects()
	assert.NotEqual(t, "rated_load_amps", string(q))
}

// TestAQuestionEnds: with the next topic, and after some seconds; a yes that comes late
// keeps nothing.
func TestAQuestionEnds(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.say("rated load amps four hundred")
	require.NotEmpty(t, b.r.Call().Open())
	b.now = b.now.Add(10 * time.Minute)
	got := b.say("yes")
	assert.Empty(t, bodies[joblog.Callout](got)[0].Readings, "ten minutes later")
	b.say("no voltage")
	b.say("compressor amps twelve")
	got = b.say("scratch that")
	require.Len(t, bodies[joblog.Retracted](got), 1, "it is the last thing recorded")
	assert.Contains(t, spoken(got), "12 A")
}

// TestANumberIsNoYes: a yes-or-no question that is answered by another number.
func TestANumberIsNoYes(t *testing.T) {
	b := newBench(t)
	b.say("no cooling")
	b.sayAt("compressor amps seventy two", .3)
	require.Contains(t, b.r.Call().Open(), "72 A")
	got := b.say("two forty")
	for _, c := range bodies[joblog.Callout](got) {
		assert.NotEqual(t, joblog.Recorded, c.Decision)
	}
	assert.Contains(t, b.r.Call().Open(), "240 A")
	b.say("no")
	assert.Empty(t, b.r.Call().Open())
}
