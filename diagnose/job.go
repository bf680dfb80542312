package diagnose

import (
	"errors"
	"time"

	"callout/catalogue"
)

// Knowledge is everything the engine knows, loaded and checked. It never
// changes and is safe for concurrent use.
type Knowledge struct {
	version string
	faults  []Fault
	tests   []Test
}

// Fault is one thing that can be wrong, or one way in which nothing is.
type Fault struct {
	ID     FaultID `json:"id"`
	Name   string  `json:"name"`
	Normal bool    `json:"normal,omitempty"` // nothing is wrong with the unit
}

// Test is one question to the unit.
type Test struct {
	ID       TestID               `json:"id"`
	Name     string               `json:"name"`
	Quantity catalogue.QuantityID `json:"quantity"`
	Place    catalogue.PlaceID    `json:"place"`
}

// Load reads the embedded knowledge and checks it against itself and against c.
func Load(c *catalogue.Catalogue) (*Knowledge, error) {
	return nil, errors.New("diagnose: knowledge is not written yet")
}

// Faults lists every fault, in the order of the data.
func (k *Knowledge) Faults() []Fault { return k.faults }

// Tests lists every test, in the order of the data.
func (k *Knowledge) Tests() []Test { return k.tests }

// Version is the SHA-256 of the knowledge, for the job log.
func (k *Knowledge) Version() string { return k.version }

// Job is one call. It is not safe for concurrent use.
type Job struct{ k *Knowledge }

// NewJob starts a call with nothing known and everything live.
func (k *Knowledge) NewJob() *Job { return &Job{k: k} }

// Add takes one event and reports what does not fit.
func (j *Job) Add(e Event) []Warning { return nil }

// Retract takes back the event seq, as if it had never been.
func (j *Job) Retract(seq uint64) error { return nil }

// Assess says where the call stands at now.
func (j *Job) Assess(now time.Time) Assessment { return Assessment{} }

// Why gives the chain of reasons down to formula and source, one line each.
func (j *Job) Why(now time.Time) []string { return nil }

// Expect gives the interval in which the engine expects a reading of q at p,
// in the quantity's unit; ok is false where it expects nothing in particular.
func (j *Job) Expect(q catalogue.QuantityID, p catalogue.PlaceID) (lo, hi float64, ok bool) {
	return 0, 0, false
}

// Energy gives the state of everything that can hurt.
func (j *Job) Energy() Energy { return Energy{} }
