package diagnose_test

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
)

// call plays a script: one event a line, in the ids of the catalogue, and what
// is expected after it on lines that begin with >. A line +5m lets time pass.
type call struct {
	t    testing.TB
	k    *diagnose.Knowledge
	cat  *catalogue.Catalogue
	job  *diagnose.Job
	now  time.Time
	seq  uint64
	warn []diagnose.Warning
	a    *diagnose.Assessment
}

func newCall(t testing.TB) *call {
	t.Helper()
	c, err := catalogue.Load()
	require.NoError(t, err)
	k, err := diagnose.Load(c)
	require.NoError(t, err)
	return &call{t: t, k: k, cat: c, job: k.NewJob(), now: time.Date(2025, 7, 1, 14, 0, 0, 0, time.UTC)}
}

func (c *call) add(e diagnose.Event) {
	c.seq++
	c.now = c.now.Add(20 * time.Second)
	e.Seq, e.At = c.seq, c.now
	c.warn = c.job.Add(e)
	c.a = nil
}

func (c *call) assess() diagnose.Assessment {
	if c.a == nil {
		a := c.job.Assess(c.now)
		c.a = &a
	}
	return *c.a
}

// say takes one line of a script.
func (c *call) say(line string) {
	c.t.Helper()
	line, _, _ = strings.Cut(line, "#")
	f := strings.Fields(line)
	if len(f) == 0 {
		return
	}
	switch {
	case f[0] == ">":
		c.expect(strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(line), ">")))
	case f[0][0] == '+':
		d, err := time.ParseDuration(f[0][1:])
		require.NoError(c.t, err)
		c.now, c.a = c.now.Add(d), nil
	case f[0] == "declare":
		for _, d := range f[1:] {
			c.add(diagnose.Event{Declaration: catalogue.DeclarationID(d)})
		}
	case f[0] == "repair":
		c.add(diagnose.Event{Repair: catalogue.RepairID(f[1])})
	case f[0] == "cannot":
		e := diagnose.Event{Cannot: diagnose.TestID(f[1])}
		switch { // cannot TEST, cannot TEST absent, cannot TEST DECLARATION, cannot TEST QUANTITY PLACE
		case len(f) == 3 && f[2] == "absent":
			e.Lack = &diagnose.Lack{Absent: true}
		case len(f) == 3:
			e.Lack = &diagnose.Lack{Declare: catalogue.DeclarationID(f[2])}
		case len(f) == 4:
			e.Lack = &diagnose.Lack{Quantity: catalogue.QuantityID(f[2]), Place: catalogue.PlaceID(f[3])}
		}
		c.add(e)
	case f[0] == "retract":
		n, err := strconv.ParseUint(f[1], 10, 64)
		require.NoError(c.t, err)
		require.NoError(c.t, c.job.Retract(n))
		c.a = nil
	case f[0] == "dead": // the whole way to dead and proved dead
		for _, s := range []string{"declare disconnect_pulled locked_out panel_open", "voltage known_live 241", "voltage leg_to_leg 0", "voltage leg_1_to_ground 0", "voltage leg_2_to_ground 0", "voltage known_live 241"} {
			c.say(s)
		}
	case f[0] == "bled":
		c.say("declare capacitor_bled")
		c.say("capacitor_voltage herm 0")
		c.say("capacitor_voltage fan_section 0")
	case f[0] == "power": // back on, and calling
		c.say("declare leads_on compressor_plug_on lock_removed disconnect_in breaker_on calling")
	default:
		c.read(line, f)
	}
}

func (c *call) read(line string, f []string) {
	c.t.Helper()
	q, ok := c.cat.Quantity(catalogue.QuantityID(f[0]))
	require.True(c.t, ok, "no quantity in %q", line)
	require.Len(c.t, f, 3, line)
	place := catalogue.PlaceID(f[1])
	require.True(c.t, q.HasPlace(place), line)
	if !q.Kind.Numeric() {
		c.add(diagnose.Event{Observation: &catalogue.Observation{Quantity: q.ID, Place: place, Value: catalogue.ValueID(f[2])}})
		return
	}
	r := catalogue.Reading{Quantity: q.ID, Place: place, Unit: q.Unit}
	switch f[2] {
	case "OL":
		r.Qualifier = catalogue.OpenLine
	case "nothing":
		r.Qualifier = catalogue.Nothing
	default:
		v, err := strconv.ParseFloat(f[2], 64)
		require.NoError(c.t, err, line)
		r.Value = v
	}
	c.add(diagnose.Event{Reading: &r})
}

func (c *call) expect(want string) {
	c.t.Helper()
	a := c.assess()
	kind, rest, _ := strings.Cut(want, " ")
	switch kind {
	case "next": // kind, then the test, the repair or the quantity
		got := strings.TrimSpace(fmt.Sprintf("%s %s%s", a.Next.Kind, a.Next.Test, a.Next.Repair))
		if a.Next.Kind == diagnose.DoNameplate {
			got = a.Next.Kind + " " + string(a.Next.Quantity)
		}
		assert.True(c.t, strings.HasPrefix(got, rest), "next is %q (%s), want %q", got, a.Next.Say, rest)
	case "never": // the call is gone on with, as far as it goes without an answer
		c.never(rest)
	case "open": // there is more to do before it is closed
		assert.NotEqual(c.t, diagnose.DoDone, a.Next.Kind, a.Next.Say)
	case "first": // of several tests that would do
		assert.Contains(c.t, strings.Fields(rest), string(a.Next.Test), a.Next.Say)
	case "verdict":
		if rest == "none" {
			assert.Nil(c.t, a.Verdict)
			return
		}
		if assert.NotNil(c.t, a.Verdict, "%s: %v", want, top(a)) {
			var got []string
			for _, f := range a.Verdict.Faults {
				got = append(got, string(f))
			}
			assert.ElementsMatch(c.t, strings.Fields(rest), got)
		}
	case "finding":
		var all []string
		for _, f := range a.Findings {
			all = append(all, f.Text)
		}
		assert.Contains(c.t, strings.Join(all, "\n"), rest)
	case "cause":
		assert.Equal(c.t, rest, string(a.Causes[0].Faults[0]), top(a))
	case "warning":
		found := false
		for _, w := range a.Warnings {
			found = found || w.ID == rest
		}
		assert.True(c.t, found, "no warning %s in %v", rest, a.Warnings)
	case "energy":
		assert.Equal(c.t, rest, string(a.Energy.Outdoor))
	case "timer":
		found := false
		for _, w := range a.Timers {
			found = found || w.ID == rest
		}
		assert.True(c.t, found, "no timer %s in %v", rest, a.Timers)
	case "proof":
		assert.Equal(c.t, rest == "complete", a.Proof.Complete, a.Proof)
	case "normal":
		assert.True(c.t, a.Normal)
	case "says":
		assert.Contains(c.t, a.Next.Say+" "+a.Next.Because, rest)
	case "caution":
		found := false
		for _, x := range a.Next.Cautions {
			found = found || x.ID == rest
		}
		assert.True(c.t, found, "no caution %s in %v", rest, a.Next.Cautions)
	default:
		c.t.Fatalf("unknown expectation %q", want)
	}
}

// never answers nothing but that it can't be done, and holds what is asked for
// against what must not be.
func (c *call) never(kind string) {
	c.t.Helper()
	for range 100 {
		n := c.assess().Next
		got := strings.TrimSpace(fmt.Sprintf("%s %s%s", n.Kind, n.Test, n.Repair))
		require.False(c.t, strings.HasPrefix(got, kind), n.Say)
		switch {
		case n.Kind == diagnose.DoDone:
			return
		case n.Kind == diagnose.DoWait:
			c.now, c.a = c.now.Add(n.Wait), nil
		case len(n.Declare) > 0:
			for _, d := range n.Declare {
				c.add(diagnose.Event{Declaration: d})
			}
		default:
			c.add(diagnose.Event{Cannot: n.Test, Lack: &diagnose.Lack{Quantity: n.Quantity, Place: n.Place}})
			c.add(diagnose.Event{Cannot: n.Test})
		}
	}
}

func top(a diagnose.Assessment) string {
	var out []string
	for _, x := range a.Causes {
		out = append(out, fmt.Sprintf("%v %.3f", x.Faults, x.Probability))
	}
	return strings.Join(out, ", ")
}

func TestCalls(t *testing.T) {
	files, err := filepath.Glob("testdata/*.call")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, name := range files {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".call"), func(t *testing.T) {
			f, err := os.Open(name)
			require.NoError(t, err)
			defer f.Close()
			c := newCall(t)
			lines := bufio.NewScanner(f)
			for n := 1; lines.Scan(); n++ {
				failed := t.Failed()
				c.say(lines.Text())
				if testing.Verbose() {
					a := c.assess()
					t.Logf("%d: %s\n\t-> %s %s %s: %s (%s)\n\t%s", n, lines.Text(), a.Next.Kind, a.Next.Test, a.Next.Place, a.Next.Say, a.Next.Because, top(a))
				}
				if t.Failed() && !failed {
					t.Logf("line %d: %s", n, lines.Text())
				}
			}
			require.NoError(t, lines.Err())
		})
	}
}
