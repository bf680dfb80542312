package review

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"callout/catalogue"
	"callout/joblog"
)

// chart is the pictures of one call, in the coordinates of their SVG. All of
// them share the time axis, chartWidth wide between its margins.
type chart struct {
	Width, Left, Right float64
	Ticks              []tick
	Lines              []line // verdict probability over time
	Bands              []band // energy state
	Strips             []strip
	Marks              []mark // cautions, questions, repairs, proofs
}

type tick struct {
	X     float64
	Label string
}

type line struct {
	N      int // which style
	Name   string
	Points string
	LabelY float64
	Last   string
}

type band struct {
	Row         int
	X, W        float64
	Class, Text string
}

type mark struct {
	X           float64
	Class, Text string
}

// strip is one quantity at one place over time, with its expected band.
type strip struct {
	What, Unit string
	HasBand    bool
	BandY      float64
	BandH      float64
	BandText   string
	Dots       []dot
	Low, High  string // of the scale
}

type dot struct {
	X, Y    float64
	Text    string
	Outside bool
}

// The measures of the pictures, in SVG units.
const (
	chartWidth  = 900.0
	chartLeft   = 60.0
	chartRight  = 20.0
	lineHeight  = 180.0
	stripHeight = 70.0
	maxStrips   = 12
	maxLines    = 5
)

// charter collects what a chart needs.
type charter struct {
	words  *catalogue.Catalogue
	start  time.Time
	last   time.Time
	assess []assessed
	energy []energyAt
	series map[string]*series
	order  []string
	bands  map[string]joblog.Expected  // the last told of each series
	own    map[ofEntry]joblog.Expected // those that are for one reading
	marks  []markAt
}

type ofEntry struct {
	entry uint64
	key   string
}

type assessed struct {
	at     time.Time
	causes []joblog.Cause
}

type energyAt struct {
	at time.Time
	e  joblog.Energy
}

type markAt struct {
	at          time.Time
	class, text string
}

type series struct {
	unit string
	what string
	at   []time.Time
	rs   []joblog.Reading
	seqs []uint64 // of their callouts
}

func newCharter(words *catalogue.Catalogue) *charter {
	return &charter{words: words, series: map[string]*series{}, bands: map[string]joblog.Expected{}, own: map[ofEntry]joblog.Expected{}}
}

func (c *charter) add(e joblog.Entry, body joblog.Body) {
	if e.Seq == 1 {
		c.start = e.At
	}
	if e.At.After(c.last) {
		c.last = e.At
	}
	switch b := body.(type) {
	case joblog.Assessment:
		c.assess = append(c.assess, assessed{e.At, b.Causes})
		for _, x := range b.Expected {
			c.bands[key(x.Quantity, x.Place)] = x
			if x.Entry != 0 {
				c.own[ofEntry{x.Entry, key(x.Quantity, x.Place)}] = x
			}
		}
	case joblog.Energy:
		c.energy = append(c.energy, energyAt{e.At, b})
	case joblog.Callout:
		if b.Decision != joblog.Recorded {
			return
		}
		for _, r := range b.Readings {
			k := key(r.Quantity, r.Place)
			s := c.series[k]
			if s == nil {
				s = &series{unit: r.Unit, what: whatOf(c.words, r.Quantity, r.Place)}
				c.series[k] = s
				c.order = append(c.order, k)
			}
			s.at, s.rs, s.seqs = append(s.at, e.At), append(s.rs, r), append(s.seqs, e.Seq)
		}
	case joblog.Caution:
		c.mark(e, "caution", b.Say)
	case joblog.Question:
		c.mark(e, "question", b.Say)
	case joblog.Repair:
		c.mark(e, "repair", plain(b.Repair))
	case joblog.Proof:
		c.mark(e, "proof", b.Because)
	}
}

func (c *charter) mark(e joblog.Entry, class, text string) {
	c.marks = append(c.marks, markAt{e.At, class, fmt.Sprintf("%s %s: %s", since(c.start, e.At), class, text)})
}

func key(quantity, place string) string { return quantity + "\x00" + place }

// x is where a time lies. A clock set back may put it left of the start.
func (c *charter) x(at time.Time) float64 {
	whole := c.last.Sub(c.start).Seconds()
	if whole <= 0 {
		return chartLeft
	}
	share := at.Sub(c.start).Seconds() / whole
	return round(chartLeft + min(max(share, 0), 1)*(chartWidth-chartLeft-chartRight))
}

func round(v float64) float64 { return math.Round(v*10) / 10 }

func (c *charter) chart() chart {
	out := chart{Width: chartWidth, Left: chartLeft, Right: chartWidth - chartRight}
	out.Ticks = c.ticks()
	out.Lines = c.lines()
	for _, m := range c.marks {
		out.Marks = append(out.Marks, mark{c.x(m.at), m.class, m.text})
	}
	out.Bands = append(c.stretches(0, "live", func(e joblog.Energy) string { return e.Outdoor }),
		c.stretches(1, "charged", func(e joblog.Energy) string { return e.Capacitor })...)
	for _, k := range c.order {
		if len(out.Strips) < maxStrips {
			if q, ok := c.words.Quantity(catalogue.QuantityID(strings.Split(k, "\x00")[0])); ok && q.Kind == catalogue.Rated {
				continue // nameplate values stand in their table
			}
			out.Strips = append(out.Strips, c.strip(k))
		}
	}
	return out
}

// stretches draws one part of the energy state: a band as long as it stays the
// same. What is not known is the worst.
func (c *charter) stretches(row int, worst string, part func(joblog.Energy) string) []band {
	var bands []band
	for i, e := range c.energy {
		end := c.last
		if i+1 < len(c.energy) {
			end = c.energy[i+1].at
		}
		state := part(e.e)
		if state == "" {
			state = worst
		}
		x, text := c.x(e.at), plain(state)
		if n := len(bands); n > 0 && bands[n-1].Text == text && c.x(end) >= bands[n-1].X {
			bands[n-1].W = max(round(c.x(end)-bands[n-1].X), 0.5)
			continue
		}
		bands = append(bands, band{row, x, max(round(c.x(end)-x), 0.5), safety(state), text})
	}
	return bands
}

// safety is the class that a state of energy is drawn in.
func safety(state string) string {
	switch state {
	case "proved_dead", "proved":
		return "safe"
	case "declared_dead", "bled":
		return "claimed"
	}
	return "live"
}

func (c *charter) ticks() []tick {
	whole := c.last.Sub(c.start)
	var step time.Duration
	for _, step = range []time.Duration{10 * time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 30 * time.Minute,
		time.Hour, 2 * time.Hour, 6 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour, 365 * 24 * time.Hour} {
		if whole/step <= 12 {
			break
		}
	}
	var ts []tick
	for d := time.Duration(0); d <= whole && len(ts) < 100; d += step {
		label := fmt.Sprintf("%d min", int(d.Minutes()))
		if step < time.Minute {
			label = fmt.Sprintf("%d s", int(d.Seconds()))
		}
		if step >= time.Hour {
			label = fmt.Sprintf("%d h", int(d.Hours()))
		}
		ts = append(ts, tick{c.x(c.start.Add(d)), label})
	}
	return ts
}

// lines draws the causes that ever were the most probable, as steps: a
// probability holds until the next assessment.
func (c *charter) lines() []line {
	best := map[string]float64{}
	for _, a := range c.assess {
		for _, x := range a.causes {
			best[x.Fault] = max(best[x.Fault], x.Probability)
		}
	}
	var names []string
	for n := range best {
		names = append(names, n)
	}
	slices.SortFunc(names, func(a, b string) int {
		if best[a] != best[b] {
			if best[a] > best[b] {
				return -1
			}
			return 1
		}
		return strings.Compare(a, b)
	})
	if len(names) > maxLines {
		names = names[:maxLines]
	}
	var ls []line
	for n, name := range names {
		var b strings.Builder
		y := lineHeight
		for i, a := range c.assess {
			p := 0.0
			for _, x := range a.causes {
				if x.Fault == name {
					p = x.Probability
				}
			}
			if i > 0 {
				fmt.Fprintf(&b, "%v,%v ", c.x(a.at), y)
			}
			y = round(lineHeight * (1 - p))
			fmt.Fprintf(&b, "%v,%v ", c.x(a.at), y)
			if i == len(c.assess)-1 {
				fmt.Fprintf(&b, "%v,%v", c.x(c.last), y)
			}
		}
		ls = append(ls, line{N: n, Name: plain(name), Points: b.String(), LabelY: y, Last: fmt.Sprintf("%.0f%%", 100*(1-y/lineHeight))})
	}
	return ls
}

func (c *charter) strip(k string) strip {
	s := c.series[k]
	unit := s.unit
	if u, ok := c.words.Unit(catalogue.UnitID(unit)); ok {
		unit = u.Short
	}
	out := strip{What: s.what, Unit: unit}
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range s.rs {
		low, high = min(low, r.Value), max(high, r.Value)
	}
	x, told := c.bands[k]
	told = told && x.Unit == s.unit
	if told && x.Low != nil {
		low, high = min(low, *x.Low), max(high, *x.Low)
	}
	if told && x.High != nil {
		low, high = min(low, *x.High), max(high, *x.High)
	}
	margin := max((high-low)*0.15, math.Abs(high)*0.05, 0.5)
	low, high = low-margin, high+margin
	y := func(v float64) float64 { return round(stripHeight * (high - v) / (high - low)) }
	out.Low, out.High = fmt.Sprintf("%.4g", low), fmt.Sprintf("%.4g", high)
	if told {
		top, bottom := 0.0, stripHeight
		if x.High != nil {
			top = y(*x.High)
		}
		if x.Low != nil {
			bottom = y(*x.Low)
		}
		out.HasBand, out.BandY, out.BandH = true, top, max(bottom-top, 1)
		out.BandText = (&teller{words: c.words}).band(x) + ", " + x.Source
	}
	for i, r := range s.rs {
		// A band that is for one reading says nothing of the others: they may
		// have been taken with the unit in another state.
		own, held := c.own[ofEntry{s.seqs[i], k}]
		if !held && told && x.Entry == 0 {
			own, held = x, true
		}
		out.Dots = append(out.Dots, dot{c.x(s.at[i]), y(r.Value), since(c.start, s.at[i]) + " " + (&teller{words: c.words}).value(r),
			held && own.Unit == r.Unit && outside(r, own)})
	}
	return out
}
