package review

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"callout/joblog"
)

// Question names one thing that a supervisor asks.
type Question string

// The questions.
const (
	// Safety: the safety order was broken.
	Safety Question = "safety"
	// Unproved: a part was replaced without the proof that it helped.
	Unproved Question = "unproved"
	// Overturned: a verdict was given up, or a repair did not bear it out.
	Overturned Question = "overturned"
	// Corrected: values were corrected or asked back often.
	Corrected Question = "corrected"
	// Long: the call took long.
	Long Question = "long"
	// Returns: the same unit was called to again.
	Returns Question = "returns"
	// Condemned: a compressor was condemned, and on what evidence.
	Condemned Question = "condemned"
	// Damaged: the record itself can't be wholly believed.
	Damaged Question = "damaged"
)

// Questions lists all of them, in the order in which they are shown.
func Questions() []Question {
	return []Question{Safety, Unproved, Overturned, Corrected, Long, Returns, Condemned, Damaged}
}

// Finding is one place in a log that answers a question.
type Finding struct {
	Question Question
	Seq      uint64
	What     string
}

// Facts are what the index keeps of one job.
type Facts struct {
	Job, Unit, Technician, Complaint string
	Program, Knowledge               string
	Opened, Last                     time.Time
	Closed                           bool
	Entries                          uint64
	Head                             string
	// Heard counts utterances; Recorded, Asked and Ignored what was decided on
	// them; Retracted the callouts struck or corrected later.
	Heard, Recorded, Asked, Ignored, Retracted int
	// Verdict is the last one given, Outcome and Proved those of the closing.
	Verdict, Outcome string
	Proved           bool
	Findings         []Finding
	// Words is all that was heard and noted, in lower case, for searching.
	Words string
}

// Took is the time from the first entry to the last.
func (f Facts) Took() time.Duration { return max(0, f.Last.Sub(f.Opened)) }

// maxWords bounds the searched words of one job, in bytes.
const maxWords = 256 << 10

// fold makes Facts of a log's entries, one after another. It keeps nothing
// that grows with the log but the words, up to maxWords, and what was repaired.
type fold struct {
	Facts
	words    strings.Builder
	energy   joblog.Energy
	verdict  string // standing
	because  string
	repaired bool // since the verdict that stands
	repairs  map[uint64]joblog.Repair
	order    []uint64
	proved   map[uint64]bool // by repair: what its last proof said
	readings []string        // of the evidence, as words
	proposed bool            // a compressor's replacement
}

// A compressor is condemned when this part is fitted, or this repair proposed.
const (
	compressorPart   = "compressor"
	compressorRepair = "replace_compressor"
)

// An unproved repair's caution is given where what was measured did not earn
// the part.
const unearned = "unproved_repair"

func newFold() *fold {
	return &fold{repairs: map[uint64]joblog.Repair{}, proved: map[uint64]bool{}}
}

func (f *fold) find(q Question, seq uint64, format string, args ...any) {
	f.Findings = append(f.Findings, Finding{q, seq, fmt.Sprintf(format, args...)})
}

// add takes the next entry. Its body must decode.
func (f *fold) add(e joblog.Entry) error {
	body, err := joblog.Decode(e)
	if err != nil {
		return err
	}
	f.Entries, f.Head, f.Last = e.Seq, e.Hash.String(), e.At
	switch b := body.(type) {
	case joblog.Opened:
		f.Job, f.Unit, f.Technician, f.Complaint = b.Job, b.Unit, b.Technician, b.Complaint
		f.Program, f.Knowledge, f.Opened = b.Program, b.Knowledge, e.At
		f.say(b.Complaint)
	case joblog.Heard:
		f.Heard++
		f.say(b.Text)
	case joblog.Note:
		f.say(b.Text)
	case joblog.Callout:
		f.callout(b)
	case joblog.Retracted:
		f.Retracted++
	case joblog.Energy:
		f.energy = b
	case joblog.Caution:
		if b.Broken {
			f.find(Safety, e.Seq, "%s", b.Say)
		}
		if b.Caution == unearned {
			f.find(Unproved, e.Seq, "%s", b.Say)
		}
	case joblog.Assessment:
		f.assessment(e.Seq, b)
	case joblog.Next:
		if b.Does == "repair" && b.Repair == compressorRepair && !f.proposed {
			f.proposed = true
			f.find(Condemned, e.Seq, "proposed: %s", f.evidence())
		}
	case joblog.Repair:
		f.repair(e.Seq, b)
	case joblog.Proof:
		f.proof(e.Seq, b)
	case joblog.Closed:
		f.Closed, f.Outcome, f.Proved = true, b.Outcome, b.Proved
		if b.Verdict != "" {
			f.Verdict = b.Verdict
		}
	}
	return nil
}

func (f *fold) say(text string) {
	if text = strings.ToLower(strings.ReplaceAll(text, "\x00", " ")); f.words.Len()+len(text) < maxWords {
		f.words.WriteString(text)
		f.words.WriteByte('\n')
	}
}

func (f *fold) callout(b joblog.Callout) {
	switch b.Decision {
	case joblog.Asked:
		f.Asked++
	case joblog.Ignored:
		f.Ignored++
	case joblog.Recorded:
		f.Recorded++
		for _, r := range b.Readings {
			if len(f.readings) < 40 {
				f.readings = append(f.readings, plainReading(r))
			}
		}
	}
}

func (f *fold) assessment(seq uint64, b joblog.Assessment) {
	if b.Verdict != f.verdict && f.verdict != "" && !f.repaired {
		f.find(Overturned, seq, "from %s to %s", plain(f.verdict), orNone(plain(b.Verdict)))
	}
	if b.Verdict != f.verdict {
		f.repaired = false
	}
	f.verdict = b.Verdict
	if b.Verdict != "" {
		f.Verdict, f.because = b.Verdict, b.Because
	}
}

func (f *fold) repair(seq uint64, b joblog.Repair) {
	f.repaired = true
	f.repairs[seq] = b
	f.order = append(f.order, seq)
	if b.Part == "" {
		return
	}
	// A part is not changed in a unit of which nothing is proved dead.
	if (f.energy.Outdoor != "" || f.energy.Indoor != "") &&
		f.energy.Outdoor != "proved_dead" && f.energy.Indoor != "proved_dead" {
		f.find(Safety, seq, "%s told while nothing was proved dead (%s)", plain(b.Repair), f.energy.State)
	}
	if b.Part == compressorPart {
		f.find(Condemned, seq, "replaced: %s", f.evidence())
	}
}

func (f *fold) proof(seq uint64, b joblog.Proof) {
	r, ok := f.repairs[b.Repair]
	if !ok {
		return
	}
	f.proved[b.Repair] = b.Proved
	if !b.Proved && r.Fault != "" {
		f.find(Overturned, seq, "%s did not mend it: %s", plain(r.Repair), b.Because)
	}
}

func (f *fold) evidence() string {
	if f.because == "" && len(f.readings) == 0 {
		return "nothing in the record"
	}
	return orNone(f.because) + " [" + strings.Join(f.readings, "; ") + "]"
}

// facts ends the fold.
func (f *fold) facts() Facts {
	out := f.Facts
	out.Findings = slices.Clone(f.Findings)
	out.Words = f.words.String()
	for i, seq := range f.order {
		r := f.repairs[seq]
		// The sign-off says whether everything that the last repair has to prove
		// was read.
		proved := f.proved[seq] && (!f.Closed || f.Proved || i < len(f.order)-1)
		if !proved && r.Part != "" {
			what := "no proof of " + plain(r.Repair)
			if !f.Closed {
				what += ", the job is not signed off"
			}
			out.Findings = append(out.Findings, Finding{Unproved, seq, what})
		}
	}
	return out
}

// plain makes words of an id: "run_capacitor_open" is "run capacitor open".
func plain(id string) string {
	return strings.ReplaceAll(strings.ReplaceAll(id, "+", " and "), "_", " ")
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func plainReading(r joblog.Reading) string {
	what := strings.TrimSpace(plain(r.Quantity) + " " + plain(r.Place))
	if r.Qualifier == joblog.OpenLine || r.Qualifier == joblog.Nothing {
		return what + " " + plain(string(r.Qualifier))
	}
	return fmt.Sprintf("%s %v %s", what, r.Value, r.Unit)
}
