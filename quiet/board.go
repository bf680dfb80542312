package quiet

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"callout/catalogue"
	"callout/joblog"
	"callout/session"
)

// Board is what the screen shows, folded from the records of a job. Its zero
// value is not usable; make it with NewBoard. Not safe for concurrent use.
type Board struct {
	know    *session.Knowledge
	against []against

	Job      string
	Energy   joblog.Energy
	Values   []Value // in the order first read
	Causes   []joblog.Cause
	Verdict  string
	Because  string
	Next     joblog.Next
	Cautions []string // of the step; they stay until the next one's
	Question string
	Timers   []joblog.Timer
	Lines    []Line // heard and said, oldest first
	Closed   string // the outcome

	open    map[uint64]string // questions by entry
	order   []uint64
	about   map[uint64]uint64 // entry of a reading's callout, for striking it
	heard   map[uint64]int    // index into Lines, of entries not yet decided
	stepped bool              // the cautions are those of a step that was given
	dropped int               // lines forgotten from the front
}

// Value is one reading, with the nameplate's where there is one.
type Value struct {
	Name, Reading, Against string
	Rated                  bool

	entry    uint64
	quantity catalogue.QuantityID
	place    catalogue.PlaceID
	number   catalogue.Reading
}

// Line is one thing heard or said.
type Line struct {
	At        time.Time
	Who       string // "heard", "typed", "says", "shows"
	Text      string
	Certainty float64 // of something heard, 0 to 1
	Fate      string  // what became of something heard: "", "asked", "left alone: …", "struck"
}

// maxLines bounds what the board remembers of the conversation.
const maxLines = 400

//go:embed data/against.json
var againstData []byte

// against says which nameplate values a reading is held against.
type against struct {
	Quantity catalogue.QuantityID   `json:"quantity"`
	Places   []catalogue.PlaceID    `json:"places"`
	Rated    []catalogue.QuantityID `json:"rated"`
	At       catalogue.PlaceID      `json:"at,omitempty"` // the nameplate value's place; "" is the reading's own
}

// place is where the nameplate value for a reading at p stands.
func (a against) place(p catalogue.PlaceID) catalogue.PlaceID {
	if a.At != "" {
		return a.At
	}
	return p
}

func loadAgainst(c *catalogue.Catalogue) ([]against, error) {
	var list []against
	d := json.NewDecoder(bytes.NewReader(againstData))
	d.DisallowUnknownFields()
	if err := d.Decode(&list); err != nil {
		return nil, fmt.Errorf("quiet: against.json: %w", err)
	}
	for _, a := range list {
		q, ok := c.Quantity(a.Quantity)
		for _, p := range a.Places {
			ok = ok && q.HasPlace(p)
		}
		for _, r := range a.Rated {
			rated, known := c.Quantity(r)
			for _, p := range a.Places {
				ok = ok && known && rated.HasPlace(a.place(p))
			}
		}
		if !ok {
			return nil, fmt.Errorf("quiet: against.json: %s at %v against %v at %s: not in the catalogue", a.Quantity, a.Places, a.Rated, a.At)
		}
	}
	return list, nil
}

// NewBoard makes an empty board: everything is live until the log says not.
func NewBoard(k *session.Knowledge) (*Board, error) {
	list, err := loadAgainst(k.Catalogue)
	if err != nil {
		return nil, err
	}
	return &Board{know: k, against: list, open: map[uint64]string{}, about: map[uint64]uint64{}, heard: map[uint64]int{}}, nil
}

// Take adds one record.
func (b *Board) Take(r session.Record) {
	switch x := r.Body.(type) {
	case joblog.Opened:
		b.Job = x.Job
	case joblog.Heard:
		who := "heard"
		if x.Source == joblog.Typed {
			who = "typed"
		}
		text := x.Text
		if text == "" {
			text = "(no words)"
		}
		b.line(Line{At: r.At, Who: who, Text: text, Certainty: x.Certainty})
		b.heard[r.Seq] = b.dropped + len(b.Lines) - 1
	case joblog.Callout:
		b.callout(r.Seq, x)
	case joblog.Retracted:
		b.Values = slices.DeleteFunc(b.Values, func(v Value) bool { return v.entry == x.Entry })
		b.fate(b.about[x.Entry], "struck")
	case joblog.Question:
		b.open[r.Seq] = x.Say
		b.order = append(b.order, r.Seq)
		b.ask()
	case joblog.Energy:
		b.Energy = x
	case joblog.Assessment:
		b.Causes, b.Verdict, b.Because = x.Causes, x.Verdict, x.Because
	case joblog.Next:
		b.Next, b.stepped = x, true
	case joblog.Caution:
		if b.stepped {
			b.Cautions, b.stepped = nil, false
		}
		if !slices.Contains(b.Cautions, x.Say) {
			b.Cautions = append(b.Cautions, x.Say)
		}
	case joblog.Timer:
		b.Timers = slices.DeleteFunc(b.Timers, func(t joblog.Timer) bool { return t.Timer == x.Timer })
		if x.Event == joblog.TimerStarted {
			b.Timers = append(b.Timers, x)
			slices.SortFunc(b.Timers, func(a, c joblog.Timer) int { return a.Until.Compare(c.Until) })
		}
	case joblog.Said:
		who := "says"
		if x.Way == joblog.Shown {
			who = "shows"
		}
		b.line(Line{At: r.At, Who: who, Text: x.Text})
	case joblog.Closed:
		b.Closed = x.Text
	}
}

func (b *Board) line(l Line) {
	b.Lines = append(b.Lines, l)
	if n := len(b.Lines) - maxLines; n > 0 {
		b.Lines = slices.Delete(b.Lines, 0, n)
		b.dropped += n
	}
}

func (b *Board) callout(seq uint64, x joblog.Callout) {
	b.about[seq] = x.Heard
	if x.Answers != 0 {
		delete(b.open, x.Answers)
		b.ask()
	}
	switch x.Decision {
	case joblog.Asked:
		b.fate(x.Heard, "asked back")
		return
	case joblog.Ignored:
		b.fate(x.Heard, "left alone: "+x.Because)
		return
	}
	for _, reading := range x.Readings {
		n := catalogue.Reading{Quantity: catalogue.QuantityID(reading.Quantity), Place: catalogue.PlaceID(reading.Place), Value: reading.Value,
			Unit: catalogue.UnitID(reading.Unit), Qualifier: catalogue.Qualifier(reading.Qualifier)}
		q, _ := b.know.Catalogue.Quantity(n.Quantity)
		b.value(Value{Name: b.know.Book.Named(n.Quantity, n.Place), Reading: b.know.Book.Value(n), Rated: q.Kind == catalogue.Rated,
			entry: seq, quantity: n.Quantity, place: n.Place, number: n})
	}
	for _, o := range x.Observations {
		q, _ := b.know.Catalogue.Quantity(catalogue.QuantityID(o.Quantity))
		v, _ := q.Value(catalogue.ValueID(o.Value))
		b.value(Value{Name: b.know.Book.Named(q.ID, catalogue.PlaceID(o.Place)), Reading: v.Name, Rated: q.Kind == catalogue.Marked,
			entry: seq, quantity: q.ID, place: catalogue.PlaceID(o.Place)})
	}
}

// value puts the newest reading of a quantity in the place of the one before.
func (b *Board) value(v Value) {
	b.Values = slices.DeleteFunc(b.Values, func(old Value) bool { return old.quantity == v.quantity && old.place == v.place })
	b.Values = append(b.Values, v)
	for i := range b.Values {
		v := &b.Values[i]
		v.Against = ""
		for _, a := range b.against {
			if a.Quantity != v.quantity || !slices.Contains(a.Places, v.place) {
				continue
			}
			for _, r := range b.Values {
				if r.place == a.place(v.place) && slices.Contains(a.Rated, r.quantity) {
					if v.Against != "" {
						v.Against += ", "
					}
					v.Against += b.know.Book.Value(r.number) + " " + b.know.Book.Named(r.quantity, r.place)
					if v.number.Unit == r.number.Unit && r.number.Value > 0 && v.number.Qualifier == "" {
						v.Against += fmt.Sprintf(" (%.0f%%)", 100*v.number.Value/r.number.Value)
					}
				}
			}
		}
	}
}

func (b *Board) fate(heard uint64, fate string) {
	if i, ok := b.heard[heard]; ok && i >= b.dropped {
		b.Lines[i-b.dropped].Fate = fate
	}
}

// ask shows the oldest question that is open.
func (b *Board) ask() {
	b.Question = ""
	for _, seq := range b.order {
		if say, ok := b.open[seq]; ok {
			b.Question = say
			return
		}
	}
	b.order = nil
}

// Safe reports whether everything that can hurt was declared and proved dead.
func (b *Board) Safe() bool {
	return b.Energy.Outdoor == "proved_dead" && b.Energy.Indoor == "proved_dead" && b.Energy.Capacitor == "proved"
}

// Danger names what is live or must be taken for live, and what is proved dead.
// What nothing is known of is live.
func (b *Board) Danger() (live, dead []string) {
	put := func(name, state, safe string, worst map[string]string) {
		switch text, ok := worst[state]; {
		case state == safe:
			dead = append(dead, name+" proved")
		case ok:
			live = append(live, name+" "+text)
		default:
			live = append(live, name+" "+worst[""])
		}
	}
	power := map[string]string{"": "live", "declared_dead": "declared dead, NOT PROVED"}
	put("outdoor unit", b.Energy.Outdoor, "proved_dead", power)
	put("air handler", b.Energy.Indoor, "proved_dead", power)
	put("capacitor", b.Energy.Capacitor, "proved", map[string]string{"": "charged", "bled": "bled, NOT MEASURED"})
	return live, dead
}
