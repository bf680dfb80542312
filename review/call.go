package review

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/joblog"
)

// call is one job as a page or a report shows it.
type call struct {
	Row
	Opening  joblog.Opened
	Sign     *joblog.Closed
	Findings []Finding
	Events   []event
	// Nameplate and Measured are the readings that count, in order.
	Nameplate, Measured []shownReading
	Observed            []shownReading
	Repairs             []shownRepair
	Cautions            []shownCaution
	Verdicts            []event
	Chart               chart
	// Broken says where the log stops being believable, "" if nowhere.
	Broken string
}

// event is one entry in words. All its strings may hold hostile text.
type event struct {
	Seq   uint64
	At    time.Time
	After string // since the opening, "+3:20"
	Kind  joblog.Kind
	Text  string
	More  []string
	Alarm bool
	Audio bool // its recording can be asked for
}

type shownReading struct {
	Seq         uint64
	After, What string
	Value       string
	Band        string // "6 to 12.6 A", "" if none was told
	Source      string // of the band
	Outside     bool
	Struck      bool
	reading     joblog.Reading
}

// shownCaution is a caution with when it was given first.
type shownCaution struct {
	After, Text string
	Times       int
	Alarm       bool
}

type shownRepair struct {
	Seq          uint64
	What, Part   string
	Proved       bool // by all that was read for it so far
	Proofs       []string
	ProofReading []string
}

// teller turns entries into words.
type teller struct {
	words    *catalogue.Catalogue
	out      *call
	struck   map[uint64]bool
	bands    map[string]joblog.Expected
	readings map[uint64][]string // by callout, in words
	repairs  map[uint64]int      // index into out.Repairs
	verdict  string
}

// readCall tells a whole job. A log that is damaged is told as far as it can
// be believed.
func readCall(ctx context.Context, s *Store, words *catalogue.Catalogue, job string) (*call, error) {
	row, err := s.Job(ctx, job)
	if err != nil {
		return nil, err
	}
	findings, err := s.Findings(ctx, job)
	if err != nil {
		return nil, err
	}
	r, err := s.Log(ctx, job)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	c := &call{Row: row, Findings: findings}
	compare, err := s.compare(row)
	if err != nil {
		return nil, err
	}
	entries := uint64(0)
	t := teller{words: words, out: c, struck: map[uint64]bool{}, bands: map[string]joblog.Expected{},
		readings: map[uint64][]string{}, repairs: map[uint64]int{}}
	chart := newCharter(words)
	for e, err := range joblog.Read(r) {
		var d *joblog.Damage
		if errors.As(err, &d) || errors.Is(err, joblog.ErrNewer) {
			c.Broken = err.Error()
			break
		}
		if err != nil {
			return nil, fmt.Errorf("review: %s: %w", job, err)
		}
		body, err := joblog.Decode(e)
		if err != nil {
			c.Broken = err.Error()
			break
		}
		compare.add(e)
		entries = e.Seq
		t.tell(e, body)
		chart.add(e, body)
	}
	if c.Broken == "" {
		c.Broken = compare.missing(entries)
	}
	t.finish()
	c.Chart = chart.chart()
	return c, nil
}

func since(from, at time.Time) string {
	d := at.Sub(from).Round(time.Second)
	sign := "+"
	if d < 0 {
		sign, d = "−", -d
	}
	if d >= time.Hour {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, d/time.Hour, d/time.Minute%60, d/time.Second%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, d/time.Minute, d/time.Second%60)
}

func (t *teller) tell(e joblog.Entry, body joblog.Body) {
	c := t.out
	if o, ok := body.(joblog.Opened); ok {
		c.Opening, c.Opened = o, e.At
	}
	v := event{Seq: e.Seq, At: e.At, After: since(c.Opened, e.At), Kind: e.Kind}
	switch b := body.(type) {
	case joblog.Opened:
		v.Text = "Job opened. " + b.Complaint
		v.More = []string{b.Program}
	case joblog.Heard:
		v.Text = "“" + b.Text + "”"
		if b.Source == joblog.Typed {
			v.Text += " (typed)"
		}
		for _, a := range b.Alternatives {
			v.More = append(v.More, "or: "+a.Text)
		}
		v.Audio = b.Audio != ""
	case joblog.Callout:
		t.callout(&v, b)
	case joblog.Retracted:
		t.struck[b.Entry] = true
		v.Text = fmt.Sprintf("Entry %d struck: %s", b.Entry, b.Why)
	case joblog.Question:
		v.Text = "Asked: " + b.Say
	case joblog.Energy:
		v.Text = b.State
	case joblog.Assessment:
		t.assessment(&v, b)
	case joblog.Next:
		v.Text = b.Say
		if b.Needs != "" {
			v.More = append(v.More, "needs: "+b.Needs)
		}
		if b.Because != "" {
			v.More = append(v.More, b.Because)
		}
	case joblog.Caution:
		v.Text, v.Alarm = b.Say, b.Broken
		t.caution(v)
	case joblog.Timer:
		v.Text = fmt.Sprintf("%s %s, until %s", strings.TrimSpace(plain(b.Timer)+" "+b.Text), b.Event, since(c.Opened, b.Until))
	case joblog.Said:
		v.Text = b.Text
		v.More = []string{string(b.Way)}
	case joblog.Repair:
		t.repairs[e.Seq] = len(c.Repairs)
		c.Repairs = append(c.Repairs, shownRepair{Seq: e.Seq, What: t.repairName(b.Repair), Part: b.Part})
		v.Text = "Done: " + t.repairName(b.Repair)
	case joblog.Proof:
		t.proof(&v, b)
	case joblog.Note:
		v.Text = b.Text
	case joblog.Torn:
		v.Text = fmt.Sprintf("An unfinished entry of %d bytes was found when the job was opened again, and set aside in %s", b.Bytes, b.File)
		v.Alarm = true
	case joblog.Closed:
		c.Sign = &b
		v.Text = "Signed off: " + plain(b.Outcome) + ". " + b.Text
	}
	c.Events = append(c.Events, v)
}

func (t *teller) callout(v *event, b joblog.Callout) {
	var parts []string
	for _, r := range b.Readings {
		parts = append(parts, t.reading(r))
		if b.Decision == joblog.Recorded {
			t.keep(v, r)
		}
	}
	for _, o := range b.Observations {
		parts = append(parts, t.observation(o))
		if b.Decision == joblog.Recorded {
			t.out.Observed = append(t.out.Observed, shownReading{Seq: v.Seq, After: v.After, What: t.observation(o)})
		}
	}
	for _, d := range b.Declarations {
		name := plain(d.Declaration)
		if x, ok := t.words.Declaration(catalogue.DeclarationID(d.Declaration)); ok {
			name = x.Name
		}
		parts = append(parts, name)
	}
	for _, x := range b.Commands {
		parts = append(parts, "“"+plain(x.Command)+"”")
	}
	for _, x := range b.Repairs {
		parts = append(parts, t.repairName(x))
	}
	t.readings[v.Seq] = parts
	v.Text = strings.TrimSuffix(fmt.Sprintf("%s: %s", b.Decision, strings.Join(parts, "; ")), ": ")
	if b.Because != "" {
		v.More = append(v.More, b.Because)
	}
	for _, r := range b.Readings {
		v.More = append(v.More, fmt.Sprintf("certainty %.0f%%", 100*r.Certainty))
	}
}

func (t *teller) caution(v event) {
	for i := range t.out.Cautions {
		if k := &t.out.Cautions[i]; k.Text == v.Text && k.Alarm == v.Alarm {
			k.Times++
			return
		}
	}
	t.out.Cautions = append(t.out.Cautions, shownCaution{v.After, v.Text, 1, v.Alarm})
}

// keep puts a recorded reading into the tables.
func (t *teller) keep(v *event, r joblog.Reading) {
	s := shownReading{Seq: v.Seq, After: v.After, What: t.what(r.Quantity, r.Place), Value: t.value(r), reading: r}
	if q, ok := t.words.Quantity(catalogue.QuantityID(r.Quantity)); ok && q.Kind == catalogue.Rated {
		s.Source = "read off the nameplate or a label"
		t.out.Nameplate = append(t.out.Nameplate, s)
		return
	}
	if x, ok := t.bands[s.What]; ok {
		t.hold(&s, x)
	}
	t.out.Measured = append(t.out.Measured, s)
}

// finish does what can only be done once all is known: a band may be told
// after the reading that it is held against, and a reading struck later.
func (t *teller) finish() {
	if n := len(t.out.Repairs); n > 0 && t.out.Sign != nil && !t.out.Sign.Proved {
		t.out.Repairs[n-1].Proved = false // not all that it has to prove was read
	}
	for _, list := range [][]shownReading{t.out.Nameplate, t.out.Measured, t.out.Observed} {
		for i := range list {
			list[i].Struck = t.struck[list[i].Seq]
		}
	}
}

func (t *teller) assessment(v *event, b joblog.Assessment) {
	for _, x := range b.Expected {
		t.expect(x)
	}
	for i, x := range b.Causes {
		if i < 3 {
			v.More = append(v.More, strings.TrimSuffix(fmt.Sprintf("%.0f%% %s: %s", 100*x.Probability, plain(x.Fault), x.Because), ": "))
		}
	}
	switch {
	case b.Verdict == "" && t.verdict != "":
		v.Text = "The verdict no longer stands"
	case b.Verdict == "":
		v.Text = "No verdict yet"
	default:
		v.Text = "Verdict: " + plain(b.Verdict)
		if b.Because != "" {
			v.Text += ", because " + b.Because
		}
		if b.Verdict != t.verdict {
			t.out.Verdicts = append(t.out.Verdicts, *v)
		}
	}
	t.verdict = b.Verdict
}

// expect holds readings against a band: the one that it is for, or else those to
// come and of those so far the ones that had none.
func (t *teller) expect(x joblog.Expected) {
	what := t.what(x.Quantity, x.Place)
	for i := range t.out.Measured {
		m := &t.out.Measured[i]
		if m.What == what && (m.Seq == x.Entry || x.Entry == 0 && m.Band == "") {
			t.hold(m, x)
		}
	}
	if x.Entry == 0 {
		t.bands[what] = x
	}
}

func (t *teller) hold(m *shownReading, x joblog.Expected) {
	if x.Unit != m.reading.Unit {
		return
	}
	m.Band, m.Source, m.Outside = t.band(x), x.Source, outside(m.reading, x)
}

// outside is whether a reading lies outside its band. An open line and nothing
// are no value that a band could hold.
func outside(r joblog.Reading, x joblog.Expected) bool {
	return r.Qualifier == joblog.OpenLine || r.Qualifier == joblog.Nothing ||
		x.Low != nil && r.Value < *x.Low || x.High != nil && r.Value > *x.High
}

func (t *teller) band(x joblog.Expected) string {
	unit := t.unit(x.Unit)
	switch {
	case x.Low == nil:
		return fmt.Sprintf("at most %.6g %s", *x.High, unit)
	case x.High == nil:
		return fmt.Sprintf("at least %.6g %s", *x.Low, unit)
	}
	return fmt.Sprintf("%.6g to %.6g %s", *x.Low, *x.High, unit)
}

func (t *teller) proof(v *event, b joblog.Proof) {
	how := "not proved"
	if b.Proved {
		how = "proved"
	}
	v.Text, v.Alarm = fmt.Sprintf("Repair of entry %d %s: %s", b.Repair, how, b.Because), !b.Proved
	i, ok := t.repairs[b.Repair]
	if !ok {
		return
	}
	r := &t.out.Repairs[i]
	r.Proved = b.Proved && (r.Proved || len(r.Proofs) == 0)
	r.Proofs = append(r.Proofs, b.Because)
	for _, seq := range b.Entries {
		r.ProofReading = append(r.ProofReading, t.readings[seq]...)
	}
}

func (t *teller) repairName(id string) string {
	if r, ok := t.words.Repair(catalogue.RepairID(id)); ok {
		return r.Name
	}
	return plain(id)
}

func (t *teller) what(quantity, place string) string { return whatOf(t.words, quantity, place) }

func whatOf(words *catalogue.Catalogue, quantity, place string) string {
	what := plain(quantity)
	if q, ok := words.Quantity(catalogue.QuantityID(quantity)); ok {
		what = q.Name
	}
	if p, ok := words.Place(catalogue.PlaceID(place)); ok {
		return what + ", " + p.Name
	}
	if place != "" {
		return what + ", " + plain(place)
	}
	return what
}

func (t *teller) unit(code string) string {
	if u, ok := t.words.Unit(catalogue.UnitID(code)); ok {
		return u.Short
	}
	return code
}

func (t *teller) value(r joblog.Reading) string {
	switch r.Qualifier {
	case joblog.OpenLine:
		return "open line"
	case joblog.Nothing:
		return "nothing"
	case joblog.Unsteady:
		return fmt.Sprintf("%.6g %s, unsteady", r.Value, t.unit(r.Unit))
	}
	return fmt.Sprintf("%.6g %s", r.Value, t.unit(r.Unit))
}

func (t *teller) reading(r joblog.Reading) string {
	return t.what(r.Quantity, r.Place) + " " + t.value(r)
}

func (t *teller) observation(o joblog.Observation) string {
	value := plain(o.Value)
	if q, ok := t.words.Quantity(catalogue.QuantityID(o.Quantity)); ok {
		if x, ok := q.Value(catalogue.ValueID(o.Value)); ok {
			value = x.Name
		}
	}
	return t.what(o.Quantity, o.Place) + ": " + value
}

// Kinds are the kinds of entry that a call has, for the page's legend.
func (c *call) Kinds() []joblog.Kind {
	var ks []joblog.Kind
	for _, e := range c.Events {
		if !slices.Contains(ks, e.Kind) {
			ks = append(ks, e.Kind)
		}
	}
	return ks
}
