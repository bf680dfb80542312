package joblog

import "time"

// Opened begins a log.
type Opened struct {
	// Schema is the format version; Create sets it.
	Schema int `json:"schema"`
	// Program is the name and version of what writes the log.
	Program string `json:"program"`
	// Job is the job's id, the same as its folder's name.
	Job string `json:"job"`
	// Unit and Technician are the firm's own codes for them, "" if not given.
	Unit       string `json:"unit"`
	Technician string `json:"technician"`
	// Complaint is what the customer said, in free words.
	Complaint string `json:"complaint,omitempty"`
	// Knowledge, Model and Adapter are the SHA-256 of the knowledge files, the
	// recogniser's weights and their adapter, in hexadecimal; "" where the job
	// uses none.
	Knowledge string `json:"knowledge"`
	Model     string `json:"model"`
	Adapter   string `json:"adapter"`
	// Continues is the id of the job that this one goes on with, if any.
	Continues string `json:"continues,omitempty"`
}

// Source says how words came in.
type Source string

// The two ways in.
const (
	Speech Source = "speech"
	Typed  Source = "typed"
)

// Heard is one utterance as recognised, before anything is made of it.
type Heard struct {
	Source Source `json:"source"`
	// Text is what was recognised or typed, as it came.
	Text string `json:"text"`
	// LogLikelihood is the recogniser's, natural, summed over the text; 0 if
	// typed.
	LogLikelihood float64 `json:"log_likelihood,omitempty"`
	// Certainty is the probability that the text is what was said, 0 to 1; 1 if
	// typed.
	Certainty float64 `json:"certainty"`
	// Alternatives are other texts that were considered, best first.
	Alternatives []Alternative `json:"alternatives,omitempty"`
	// Engine names the recogniser, with its settings.
	Engine string `json:"engine,omitempty"`
	// Mixed is true if the program spoke meanwhile, so that its own voice may be in it.
	Mixed bool `json:"mixed,omitempty"`
	// DurationMS is the utterance's length in milliseconds.
	DurationMS int64 `json:"duration_ms,omitempty"`
	// Audio is the name of the recording in the folder audio, and AudioSHA256
	// its SHA-256; both "" if it was not kept.
	Audio       string `json:"audio,omitempty"`
	AudioSHA256 string `json:"audio_sha256,omitempty"`
}

// Alternative is a text that the recogniser considered.
type Alternative struct {
	Text          string  `json:"text"`
	LogLikelihood float64 `json:"log_likelihood"`
}

// Decision is what was done with an utterance.
type Decision string

// The three decisions.
const (
	Recorded Decision = "recorded"
	Asked    Decision = "asked"
	Ignored  Decision = "ignored"
)

// Callout is what was made of one utterance. Ids are those of the catalogue
// whose checksum the opening entry carries.
type Callout struct {
	// Heard is the entry that it was made of.
	Heard    uint64   `json:"heard"`
	Decision Decision `json:"decision"`
	// Readings and the rest count only if the decision is recorded; else they
	// are what was considered.
	Readings     []Reading     `json:"readings,omitempty"`
	Observations []Observation `json:"observations,omitempty"`
	Declarations []Declaration `json:"declarations,omitempty"`
	Commands     []Command     `json:"commands,omitempty"`
	// Repairs are the ids of work told as done; each also gets an entry of kind
	// repair.
	Repairs []string `json:"repairs,omitempty"`
	// Answers is the question that this answers, if it answers one.
	Answers uint64 `json:"answers,omitempty"`
	// Because says in plain words why it was asked back or ignored.
	Because string `json:"because,omitempty"`
}

// Qualifier says that a reading is no plain number.
type Qualifier string

// The qualifiers; "" is a plain number.
const (
	OpenLine Qualifier = "open_line"
	Nothing  Qualifier = "nothing"
	Unsteady Qualifier = "unsteady"
)

// Reading is one value at one place.
type Reading struct {
	Quantity string `json:"quantity"`
	Place    string `json:"place"`
	// Value is in Unit, a UCUM code; 0 where Qualifier is open_line or nothing.
	Value     float64   `json:"value"`
	Unit      string    `json:"unit"`
	Qualifier Qualifier `json:"qualifier,omitempty"`
	// Certainty is the probability that this is what was said, 0 to 1.
	Certainty float64 `json:"certainty"`
}

// Observation is one choice of a closed list, at one place.
type Observation struct {
	Quantity  string  `json:"quantity"`
	Place     string  `json:"place"`
	Value     string  `json:"value"`
	Certainty float64 `json:"certainty"`
}

// Declaration is a statement about the state of the unit or the work.
type Declaration struct {
	Declaration string  `json:"declaration"`
	Certainty   float64 `json:"certainty"`
}

// Command is something asked of the program, with its argument if it takes one.
type Command struct {
	Command string   `json:"command"`
	Number  *float64 `json:"number,omitempty"`
	Text    string   `json:"text,omitempty"`
}

// Retracted strikes an earlier callout. The log keeps both.
type Retracted struct {
	// Entry is the callout that no longer counts.
	Entry uint64 `json:"entry"`
	// By is the callout that asked for it or replaces it; 0 if neither.
	By  uint64 `json:"by,omitempty"`
	Why string `json:"why"`
}

// Question is something asked back.
type Question struct {
	// Callout is the entry that it is about, whose readings and the rest are the
	// candidates; 0 if none.
	Callout uint64 `json:"callout,omitempty"`
	// Asks says what would answer it.
	Asks Asks `json:"asks"`
	// Quantity and Place are what it asks for, where that is known.
	Quantity string `json:"quantity,omitempty"`
	Place    string `json:"place,omitempty"`
	// Say is the question in words.
	Say string `json:"say"`
	// Candidates are the readings named in it.
	Candidates []Reading `json:"candidates,omitempty"`
}

// Asks is the kind of a question.
type Asks string

// The kinds of a question.
const (
	Confirm Asks = "confirm" // all that was considered: yes or no
	Which   Asks = "which"   // one of what was considered
	Where   Asks = "where"   // one of what was considered, by its place; a number alone is none
	Say     Asks = "say"     // it was not whole: to be said again
	Close   Asks = "close"   // whether to close the job all the same
)

// Energy is a change of what is known of the unit's energy.
type Energy struct {
	// State is all of it, in words or as an id.
	State string `json:"state"`
	// Outdoor and Indoor are the supply of the outdoor unit and of the air
	// handler: live, declared_dead or proved_dead; Capacitor is charged, bled
	// or proved. "" where nothing is known, which means the worst.
	Outdoor   string `json:"outdoor,omitempty"`
	Indoor    string `json:"indoor,omitempty"`
	Capacitor string `json:"capacitor,omitempty"`
	Because   string `json:"because,omitempty"`
	// Resumed: the job was taken up again, and nothing that was proved before
	// counts as proved any more.
	Resumed bool `json:"resumed,omitempty"`
	// Entries are those that it follows from.
	Entries []uint64 `json:"entries,omitempty"`
}

// Assessment is what the evidence so far says.
type Assessment struct {
	// Causes, most probable first.
	Causes []Cause `json:"causes,omitempty"`
	// Verdict is the fault that is decided on, "" while none is.
	Verdict string `json:"verdict,omitempty"`
	// Because is the verdict's reason in words.
	Because string `json:"because,omitempty"`
	// Expected are the limits that readings are held against, those that were
	// told before left out.
	Expected []Expected `json:"expected,omitempty"`
	// Entries are those that the verdict rests on.
	Entries []uint64 `json:"entries,omitempty"`
}

// Cause is one fault with its probability, 0 to 1.
type Cause struct {
	Fault       string  `json:"fault"`
	Probability float64 `json:"probability"`
	Because     string  `json:"because,omitempty"`
}

// Expected is the band that a reading should lie in, with where it comes from.
// A missing end is open.
type Expected struct {
	Quantity string   `json:"quantity"`
	Place    string   `json:"place"`
	Low      *float64 `json:"low,omitempty"`
	High     *float64 `json:"high,omitempty"`
	Unit     string   `json:"unit"`
	Source   string   `json:"source"`
	// Entry is the callout whose reading is held against it; 0 for all of that
	// quantity at that place.
	Entry uint64 `json:"entry,omitempty"`
}

// Next is the test proposed next.
type Next struct {
	Test     string `json:"test"`
	Quantity string `json:"quantity,omitempty"`
	Place    string `json:"place,omitempty"`
	// Needs is the energy state that the test asks for.
	Needs string `json:"needs,omitempty"`
	// Say is the proposal in words, Because its reason.
	Say     string `json:"say"`
	Because string `json:"because,omitempty"`
	// Does is the kind of step: test, make_safe, energise, repair, proof, wait,
	// ask_nameplate or done. Test is "" if no test stands behind it.
	Does string `json:"does"`
	// Declare are the declarations, one of which the step ends with, Repair the
	// work to do, WaitSeconds the time to let pass.
	Declare     []string `json:"declare,omitempty"`
	Repair      string   `json:"repair,omitempty"`
	WaitSeconds float64  `json:"wait_seconds,omitempty"`
}

// Caution is a safety reminder that was given.
type Caution struct {
	Caution string `json:"caution"`
	Say     string `json:"say"`
	// Broken is true if the safety order had been broken already.
	Broken bool `json:"broken,omitempty"`
	// Entries are those that gave rise to it.
	Entries []uint64 `json:"entries,omitempty"`
}

// TimerEvent is what happened to a timer.
type TimerEvent string

// What can happen to a timer.
const (
	TimerStarted   TimerEvent = "started"
	TimerDone      TimerEvent = "done"
	TimerCancelled TimerEvent = "cancelled"
)

// Timer is a wait: a bleed, a cool-down, a control's delay.
type Timer struct {
	Timer string `json:"timer"`
	// Text says what is waited for, in words.
	Text  string     `json:"text,omitempty"`
	Event TimerEvent `json:"event"`
	// Until is when it ends, in UTC.
	Until time.Time `json:"until"`
}

// Way is how something was told.
type Way string

// The two ways out.
const (
	Spoken Way = "spoken"
	Shown  Way = "shown"
)

// As is what a line is to the one who hears it.
type As string

// The kinds of a line, the most urgent first.
const (
	AsHazard   As = "hazard"    // a caution or a warning; never cut off
	AsQuestion As = "question"  // an answer is needed to go on
	AsFinding  As = "finding"   // what readings mean, a verdict, a proof
	AsStep     As = "step"      // what to do next
	AsReadBack As = "read_back" // what was recorded, said back
)

// Said is something told to the technician.
type Said struct {
	Text string `json:"text"`
	Way  Way    `json:"way"`
	// As is what the line is; "" in logs of programs that did not keep it.
	As As `json:"as,omitempty"`
	// Phrase is the id of the phrase in the program's book, "" for a question.
	Phrase string `json:"phrase,omitempty"`
	// Of is the id of what it tells, where that has one: a caution, a warning, a
	// finding, a proof, a timer.
	Of string `json:"of,omitempty"`
	// Entry is the entry that it tells: a caution, a question, a step, a timer, a
	// proof or an assessment; 0 if none.
	Entry uint64 `json:"entry,omitempty"`
}

// Repair is work done on the unit.
type Repair struct {
	Repair string `json:"repair"`
	// Part is what was bought for it, "" if nothing.
	Part string `json:"part,omitempty"`
	// Fault is what it mends.
	Fault string `json:"fault,omitempty"`
	// Callout is the entry that told of it.
	Callout uint64 `json:"callout,omitempty"`
}

// Proof tells whether readings after a repair show that it worked.
type Proof struct {
	// Repair is the entry that it is about.
	Repair uint64 `json:"repair"`
	Proved bool   `json:"proved"`
	// Test is the id of the test that shows it; "" in logs that did not keep it.
	Test    string `json:"test,omitempty"`
	Because string `json:"because"`
	// Entries are the callouts that it rests on.
	Entries []uint64 `json:"entries,omitempty"`
}

// Note is free text that the technician wanted kept.
type Note struct {
	Text string `json:"text"`
	// Callout is the entry that it came with; 0 if none.
	Callout uint64 `json:"callout,omitempty"`
}

// Torn tells that an unfinished last line was found when the job was opened
// again, and set aside. Only Open writes it.
type Torn struct {
	// File is its name in the job's folder.
	File   string `json:"file"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Closed signs a job off. Nothing comes after it.
type Closed struct {
	// Outcome is an id: what became of the call.
	Outcome string `json:"outcome"`
	// Verdict is the fault decided on, "" if none was.
	Verdict string `json:"verdict,omitempty"`
	// Proved is true if every repair was proved.
	Proved bool `json:"proved"`
	// Text is the closing summary in words.
	Text string `json:"text,omitempty"`
}
