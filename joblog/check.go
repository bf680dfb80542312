package joblog

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
)

// Kind implements Body.
func (Opened) Kind() Kind { return KindOpened }

// Kind implements Body.
func (Heard) Kind() Kind { return KindHeard }

// Kind implements Body.
func (Callout) Kind() Kind { return KindCallout }

// Kind implements Body.
func (Retracted) Kind() Kind { return KindRetracted }

// Kind implements Body.
func (Question) Kind() Kind { return KindQuestion }

// Kind implements Body.
func (Energy) Kind() Kind { return KindEnergy }

// Kind implements Body.
func (Assessment) Kind() Kind { return KindAssessment }

// Kind implements Body.
func (Next) Kind() Kind { return KindNext }

// Kind implements Body.
func (Caution) Kind() Kind { return KindCaution }

// Kind implements Body.
func (Timer) Kind() Kind { return KindTimer }

// Kind implements Body.
func (Said) Kind() Kind { return KindSaid }

// Kind implements Body.
func (Repair) Kind() Kind { return KindRepair }

// Kind implements Body.
func (Proof) Kind() Kind { return KindProof }

// Kind implements Body.
func (Note) Kind() Kind { return KindNote }

// Kind implements Body.
func (Torn) Kind() Kind { return KindTorn }

// Kind implements Body.
func (Closed) Kind() Kind { return KindClosed }

func (b Opened) check() error {
	if b.Schema < 1 {
		return fmt.Errorf("schema: %d is no format version", b.Schema)
	}
	if err := CheckJobID(b.Job); err != nil {
		return err
	}
	if b.Continues != "" {
		if err := CheckJobID(b.Continues); err != nil {
			return err
		}
	}
	return errors.Join(
		required("program", b.Program),
		sum("knowledge", b.Knowledge), sum("model", b.Model), sum("adapter", b.Adapter))
}

// A recording's name, so that it can't lead out of its folder.
var audioName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,127}$`)

func (b Heard) check() error {
	err := errors.Join(
		oneOf("source", b.Source, Speech, Typed),
		finite("log_likelihood", b.LogLikelihood),
		share("certainty", b.Certainty),
		sum("audio_sha256", b.AudioSHA256))
	if b.Audio != "" && !audioName.MatchString(b.Audio) {
		err = errors.Join(err, fmt.Errorf("audio: %q is not a plain file name", b.Audio))
	}
	if (b.Audio == "") != (b.AudioSHA256 == "") {
		err = errors.Join(err, errors.New("audio and audio_sha256 go together"))
	}
	if b.DurationMS < 0 {
		err = errors.Join(err, errors.New("duration_ms: less than nothing"))
	}
	for _, a := range b.Alternatives {
		err = errors.Join(err, finite("alternatives: log_likelihood", a.LogLikelihood))
	}
	return err
}

func (b Callout) check() error {
	err := errors.Join(
		entry("heard", b.Heard),
		oneOf("decision", b.Decision, Recorded, Asked, Ignored))
	for _, r := range b.Readings {
		err = errors.Join(err, r.check())
	}
	for _, o := range b.Observations {
		err = errors.Join(err, required("quantity", o.Quantity), required("value", o.Value),
			share("certainty", o.Certainty))
	}
	for _, d := range b.Declarations {
		err = errors.Join(err, required("declaration", d.Declaration), share("certainty", d.Certainty))
	}
	for _, c := range b.Commands {
		err = errors.Join(err, required("command", c.Command))
	}
	for _, r := range b.Repairs {
		err = errors.Join(err, required("repair", r))
	}
	return err
}

func (r Reading) check() error {
	err := errors.Join(
		required("quantity", r.Quantity),
		finite(r.Quantity, r.Value),
		checkUnit(r.Quantity, r.Unit),
		oneOf("qualifier", r.Qualifier, "", OpenLine, Nothing, Unsteady),
		share("certainty", r.Certainty))
	if (r.Qualifier == OpenLine || r.Qualifier == Nothing) && r.Value != 0 {
		err = errors.Join(err, fmt.Errorf("%s: %s has the value 0", r.Quantity, r.Qualifier))
	}
	return err
}

func (b Retracted) check() error {
	return errors.Join(entry("entry", b.Entry), required("why", b.Why))
}

func (b Question) check() error {
	err := errors.Join(required("say", b.Say), oneOf("asks", b.Asks, Confirm, Which, Where, Say, Close))
	for _, r := range b.Candidates {
		err = errors.Join(err, r.check())
	}
	return err
}

func (b Energy) check() error { return required("state", b.State) }

func (b Assessment) check() error {
	var err error
	for _, c := range b.Causes {
		err = errors.Join(err, required("fault", c.Fault), share(c.Fault, c.Probability))
	}
	for _, e := range b.Expected {
		err = errors.Join(err, required("quantity", e.Quantity), checkUnit(e.Quantity, e.Unit),
			required("source", e.Source))
		if e.Low == nil && e.High == nil {
			err = errors.Join(err, fmt.Errorf("%s: a band has at least one end", e.Quantity))
		}
		if e.Low != nil && e.High != nil && !(*e.Low <= *e.High) {
			err = errors.Join(err, fmt.Errorf("%s: low is above high", e.Quantity))
		}
	}
	return err
}

func (b Next) check() error { return errors.Join(required("does", b.Does), required("say", b.Say)) }

func (b Caution) check() error {
	return errors.Join(required("caution", b.Caution), required("say", b.Say))
}

func (b Timer) check() error {
	return errors.Join(required("timer", b.Timer),
		oneOf("event", b.Event, TimerStarted, TimerDone, TimerCancelled))
}

func (b Said) check() error {
	return errors.Join(required("text", b.Text), oneOf("way", b.Way, Spoken, Shown),
		oneOf("as", b.As, "", AsHazard, AsQuestion, AsFinding, AsStep, AsReadBack))
}

func (b Repair) check() error { return required("repair", b.Repair) }

func (b Proof) check() error { return entry("repair", b.Repair) }

func (b Note) check() error { return required("text", b.Text) }

func (b Torn) check() error {
	return errors.Join(required("file", b.File), required("sha256", b.SHA256), sum("sha256", b.SHA256))
}

func (b Closed) check() error { return required("outcome", b.Outcome) }

func required(name, v string) error {
	if v == "" {
		return fmt.Errorf("%s: missing", name)
	}
	return nil
}

func entry(name string, seq uint64) error {
	if seq == 0 {
		return fmt.Errorf("%s: names no entry", name)
	}
	return nil
}

func finite(name string, v float64) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%s: %v can't be written as a number", name, v)
	}
	return nil
}

func share(name string, v float64) error {
	if !(v >= 0 && v <= 1) {
		return fmt.Errorf("%s: %v is not between 0 and 1", name, v)
	}
	return nil
}

func oneOf[T ~string](name string, v T, allowed ...T) error {
	if !slices.Contains(allowed, v) {
		return fmt.Errorf("%s: %q is none of %q", name, v, allowed)
	}
	return nil
}

func sum(name, v string) error {
	var h Hash
	if v == "" {
		return nil
	}
	if err := h.UnmarshalText([]byte(v)); err != nil {
		return fmt.Errorf("%s: not a SHA-256: %w", name, err)
	}
	return nil
}
