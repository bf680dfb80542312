package joblog

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
)

// Kind names what an entry tells.
type Kind string

// The kinds of entry of this format version.
const (
	KindOpened     Kind = "opened"
	KindHeard      Kind = "heard"
	KindCallout    Kind = "callout"
	KindRetracted  Kind = "retracted"
	KindQuestion   Kind = "question"
	KindEnergy     Kind = "energy"
	KindAssessment Kind = "assessment"
	KindNext       Kind = "next"
	KindCaution    Kind = "caution"
	KindTimer      Kind = "timer"
	KindSaid       Kind = "said"
	KindRepair     Kind = "repair"
	KindProof      Kind = "proof"
	KindNote       Kind = "note"
	KindTorn       Kind = "torn"
	KindClosed     Kind = "closed"
)

// Body is what one kind of entry tells: Opened, Heard, Callout and the other
// types of this package that are named like a kind. No other package can add one.
type Body interface {
	Kind() Kind
	// check says what the format does not allow.
	check() error
}

func decoders() map[Kind]func(json.RawMessage) (Body, error) {
	return map[Kind]func(json.RawMessage) (Body, error){
		KindOpened:     decodeBody[Opened],
		KindHeard:      decodeBody[Heard],
		KindCallout:    decodeBody[Callout],
		KindRetracted:  decodeBody[Retracted],
		KindQuestion:   decodeBody[Question],
		KindEnergy:     decodeBody[Energy],
		KindAssessment: decodeBody[Assessment],
		KindNext:       decodeBody[Next],
		KindCaution:    decodeBody[Caution],
		KindTimer:      decodeBody[Timer],
		KindSaid:       decodeBody[Said],
		KindRepair:     decodeBody[Repair],
		KindProof:      decodeBody[Proof],
		KindNote:       decodeBody[Note],
		KindTorn:       decodeBody[Torn],
		KindClosed:     decodeBody[Closed],
	}
}

var decode = decoders()

// Kinds lists every kind, sorted by name.
func Kinds() []Kind {
	var ks []Kind
	for k := range decode {
		ks = append(ks, k)
	}
	slices.Sort(ks)
	return ks
}

// Decode returns the entry's body as its Go type (Heard, Callout, …; never a
// pointer), or [ErrUnknownKind], or what is wrong with it.
func Decode(e Entry) (Body, error) {
	f, ok := decode[e.Kind]
	if !ok {
		return nil, fmt.Errorf("%w: %q", ErrUnknownKind, e.Kind)
	}
	return f(e.Body)
}

func decodeBody[T Body](raw json.RawMessage) (Body, error) { return decodeAs[T](raw) }

func decodeAs[T Body](raw json.RawMessage) (T, error) {
	var body T
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&body); err != nil {
		return body, fmt.Errorf("joblog: %s: %w", body.Kind(), err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return body, fmt.Errorf("joblog: %s: more than one value", body.Kind())
	}
	if err := body.check(); err != nil {
		return body, fmt.Errorf("joblog: %s: %w", body.Kind(), err)
	}
	return body, nil
}

// checkSchema says whether the opening entry is of a version that we read.
func checkSchema(e Entry) error {
	var v struct {
		Schema int `json:"schema"`
	}
	if err := json.Unmarshal(e.Body, &v); err != nil {
		return &Damage{Line: 1, What: "its format version can't be read"}
	}
	if v.Schema > Schema {
		return fmt.Errorf("%w: its format is version %d, this program reads up to %d", ErrNewer, v.Schema, Schema)
	}
	return nil
}
