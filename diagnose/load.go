package diagnose

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"callout/catalogue"
	"callout/diagnose/energy"
)

//go:embed data/*.json
var embedded embed.FS

// ErrInvalid marks every error that Load finds in the knowledge.
var ErrInvalid = errors.New("diagnose: invalid knowledge")

// Load reads the embedded knowledge and checks it against itself and against c.
func Load(c *catalogue.Catalogue) (*Knowledge, error) {
	sub, err := fs.Sub(embedded, "data")
	if err != nil {
		return nil, fmt.Errorf("diagnose: %w", err)
	}
	return LoadFrom(c, sub)
}

// LoadFrom does the same with files named as in data/.
func LoadFrom(c *catalogue.Catalogue, files fs.FS) (*Knowledge, error) {
	k := &Knowledge{cat: c}
	var cautions []cautionText
	var hurts energy.Data
	into := map[string]any{
		"faults.json": &k.faults, "tests.json": &k.tests, "profiles.json": &k.profiles, "refs.json": &k.refs,
		"repairs.json": &k.repairs, "gates.json": &k.gates, "conditions.json": &k.conds, "energy.json": &hurts,
		"cautions.json": &cautions, "conflicts.json": &k.conflicts, "leaving.json": &k.leaving,
	}
	names := make([]string, 0, len(into))
	for name := range into {
		names = append(names, name)
	}
	sort.Strings(names)
	hash := sha256.New()
	for _, name := range names {
		raw, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, fmt.Errorf("diagnose: %w", err)
		}
		hash.Write(raw)
		d := json.NewDecoder(bytes.NewReader(raw))
		d.DisallowUnknownFields()
		if err := d.Decode(into[name]); err != nil {
			return nil, fmt.Errorf("%w: %s: %w", ErrInvalid, name, err)
		}
	}
	k.version = hex.EncodeToString(hash.Sum(nil))
	l := &loader{k: k}
	var wrong []string
	k.energy, wrong = energy.New(hurts)
	for _, text := range wrong {
		l.bad("%s", text)
	}
	l.index(cautions)
	if len(l.errs) == 0 {
		l.tests()
		l.energy()
		l.repairs()
		l.faults()
	}
	if err := errors.Join(l.errs...); err != nil {
		return nil, err
	}
	m, err := newModel(k)
	if err != nil {
		return nil, err
	}
	k.model = m
	return k, nil
}

type loader struct {
	k    *Knowledge
	errs []error
	wide bool // for predictions of wideBit
}

func (l *loader) bad(format string, args ...any) {
	l.errs = append(l.errs, fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...)))
}

func indexed[T any, K comparable](l *loader, what string, list []T, id func(T) K) map[K]int {
	m := make(map[K]int, len(list))
	for i, x := range list {
		if _, twice := m[id(x)]; twice {
			l.bad("%s %v is there twice", what, id(x))
		}
		m[id(x)] = i
	}
	return m
}

func (l *loader) index(cautions []cautionText) {
	k := l.k
	k.testAt = indexed(l, "test", k.tests, func(x Test) TestID { return x.ID })
	k.refAt = indexed(l, "reference", k.refs, func(x ref) string { return x.ID })
	k.repairAt = indexed(l, "repair", k.repairs, func(x repairRule) catalogue.RepairID { return x.ID })
	k.gateAt = indexed(l, "gate", k.gates, func(x gate) string { return x.ID })
	k.condAt = indexed(l, "condition", k.conds, func(x condition) string { return x.ID })
	k.stepAt = indexed(l, "step", k.energy.Steps, func(x energy.Step) string { return x.ID })
	k.stateAt = indexed(l, "state", k.energy.States, func(x energy.Level) string { return x.ID })
	k.profileAt = indexed(l, "profile", k.profiles, func(x profile) string { return x.ID })
	indexed(l, "fault", k.faults, func(x Fault) FaultID { return x.ID })
	k.caution = make(map[string]Caution, len(cautions))
	for _, c := range cautions {
		if c.Text == "" || c.Source == "" {
			l.bad("caution %s needs a text and a source", c.ID)
		}
		k.caution[c.ID] = Caution{ID: c.ID, Text: c.Text, Short: c.Short}
		if len(c.With) > 0 {
			k.along = append(k.along, c)
		}
	}
	for _, r := range k.refs {
		if r.Quantity != "" {
			if q, ok := k.cat.Quantity(r.Quantity); !ok || !q.HasPlace(r.Place) {
				l.bad("reference %s: no %q at %q", r.ID, r.Quantity, r.Place)
			}
		}
		if r.From != "" {
			if _, ok := k.refAt[r.From]; !ok || r.Times <= 0 {
				l.bad("reference %s: taken from %q times %g", r.ID, r.From, r.Times)
			}
		}
		if r.Source == "" || (r.From != "" || r.Default != 0) && r.Said == "" {
			l.bad("reference %s needs a source, and its default a saying", r.ID)
		}
	}
}

func (l *loader) checkCautions(where string, ids []string) {
	for _, id := range ids {
		if _, ok := l.k.caution[id]; !ok {
			l.bad("%s: no caution %q", where, id)
		}
	}
}

func (l *loader) checkInput(where string, in Input) {
	if q, ok := l.k.cat.Quantity(in.Quantity); !ok || !q.HasPlace(in.Place) {
		l.bad("%s: no %q at %q in the catalogue", where, in.Quantity, in.Place)
	}
}

// clause reads "test: outcome, outcome".
func (l *loader) clause(where, s string) clause {
	name, list, ok := strings.Cut(s, ":")
	at, known := l.k.testAt[TestID(strings.TrimSpace(name))]
	if !ok || !known {
		l.bad("%s: %q names no test", where, s)
		return clause{}
	}
	c := clause{test: at}
	for _, id := range strings.Split(list, ",") {
		i := l.k.tests[at].class(ClassID(strings.TrimSpace(id)))
		if i < 0 {
			l.bad("%s: test %s has no outcome %q", where, name, strings.TrimSpace(id))
			continue
		}
		c.mask |= l.k.tests[at].family(i)
	}
	return c
}

func (l *loader) clauses(where string, list []string) []clause {
	out := make([]clause, len(list))
	for i, s := range list {
		out[i] = l.clause(where, s)
	}
	return out
}

// distribution reads "open 88 weak 12", or one outcome alone, into a
// probability for each outcome. Every outcome keeps a floor: nothing seen in
// the field is impossible. Common practice, no source.
//
// Where nothing is written down for the parts of an outcome, far is the share of
// the outcome's probability that they get.
func (l *loader) distribution(where string, t Test, s string, far float64) []float64 {
	floor := 0.006 // a look is misjudged now and then, and a running unit has its own mind
	if !t.Operating {
		floor = 0.003 // a part at rest, looked at or measured
	}
	out := make([]float64, len(t.Classes))
	words := strings.Fields(s)
	if len(words) > 0 && words[0] == "about" {
		return l.around(where, t, words, floor)
	}
	if len(words) == 1 {
		words = append(words, "96")
	}
	var sum float64
	for i := 0; i+1 < len(words); i += 2 {
		at := t.class(ClassID(words[i]))
		v, err := strconv.ParseFloat(words[i+1], 64)
		if at < 0 || err != nil || v <= 0 {
			l.bad("%s: %q is no outcome of %s", where, words[i]+" "+words[i+1], t.ID)
			return out
		}
		if out[at] != 0 {
			l.bad("%s: outcome %s is there twice", where, words[i])
		}
		out[at] = v
		sum += v
	}
	if len(words)%2 != 0 || len(words) > 2 && math.Abs(sum-100) > 1e-9 {
		l.bad("%s: %q must be outcomes and percents that make 100", where, s)
	}
	written := slices.Clone(out)
	total := 0.0
	for i := range out {
		if out[i] /= 100; out[i] == 0 && t.Classes[i].In == "" {
			out[i] = floor // what is written down stands, however small
		}
		total += out[i]
	}
	for i, c := range t.Classes {
		if in := t.class(c.In); c.In != "" && written[i] == 0 {
			whole := out[in]
			if written[in] == 0 {
				whole = floor
			}
			out[i] = whole * far / float64(t.parts(in))
			out[in] -= out[i]
		}
	}
	for i := range out {
		out[i] /= total
	}
	return out
}

// around reads "about -2.4 +- 0.8": a number on the test's own scale, and how far
// it scatters from one unit to the next, one standard deviation.
func (l *loader) around(where string, t Test, words []string, floor float64) []float64 {
	out := make([]float64, len(t.Classes))
	var mean, scatter float64
	var err1, err2 error
	if len(words) == 4 && words[2] == "+-" {
		mean, err1 = strconv.ParseFloat(words[1], 64)
		scatter, err2 = strconv.ParseFloat(words[3], 64)
	}
	if err := errors.Join(err1, err2); err != nil || scatter <= 0 || t.Tolerance == nil {
		l.bad("%s: %q is no number and its scatter on %s", where, strings.Join(words, " "), t.ID)
		return out
	}
	if l.wide && t.Value == "subcooling" { // the same shift on a scale twice as wide, and a usual target may be off
		const off = 0.35
		if mean > -2 {
			mean /= 2
		} else {
			mean *= 0.75 // a condenser that runs short of liquid has none, whatever its target
		}
		scatter = math.Hypot(scatter/2, off)
	}
	below, total := 0.0, 0.0
	for i, c := range t.Classes {
		upTo := 1.0
		if c.Of != "" {
			l.bad("%s: the scale of %s hangs on the nameplate", where, t.ID)
		} else if c.To != nil {
			upTo = cumulative((*c.To - mean) / scatter)
		}
		out[i] = max(upTo-below, floor)
		if c.In != "" {
			out[i] = max(upTo-below, floor*farUsual)
		}
		total += out[i]
		below = upTo
	}
	for i := range out {
		out[i] /= total
	}
	return out
}

// How much of an outcome's probability lies in the far parts of it. Common
// practice, no source.
const (
	farUsual  = 0.05 // by chance, on a healthy unit
	farSlight = 0.12
	farFault  = 0.45
)

// parts counts the outcomes that are part of another.
func (t Test) parts(of int) int {
	n := 0
	for _, c := range t.Classes {
		if c.In == t.Classes[of].ID {
			n++
		}
	}
	return n
}

// family is the set of an outcome and of its parts.
func (t Test) family(of int) uint32 {
	set := uint32(1) << of
	for i, c := range t.Classes {
		if c.In != "" && c.In == t.Classes[of].ID {
			set |= 1 << i
		}
	}
	return set
}

// within sums what a set of outcomes holds.
func (t Test) within(weights []float64, set uint32) float64 {
	var sum float64
	for c, w := range weights {
		if set&(1<<c) != 0 {
			sum += w
		}
	}
	return sum
}

// whole is the outcome that one is a part of, or itself.
func (t Test) whole(c int) int {
	if in := t.Classes[c].In; in != "" {
		return t.class(in)
	}
	return c
}

func (t Test) class(id ClassID) int {
	for i, c := range t.Classes {
		if c.ID == id {
			return i
		}
	}
	return -1
}
