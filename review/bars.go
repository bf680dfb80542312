package review

import (
	"fmt"
	"slices"
	"strings"
)

// bar is one bar of a fleet picture: horizontal, in parts.
type bar struct {
	Label string
	Y     float64
	Parts []part
	Value string
	End   float64
}

type part struct {
	N     int
	X, W  float64
	Title string
}

const (
	barLeft  = 90.0
	barWidth = 700.0
	barStep  = 26.0
)

// causeBars draws the verdicts of each month; the most frequent have a style
// of their own, the others share one.
func causeBars(months []MonthCause) (bars []bar, legend []line) {
	total := map[string]int{}
	per := map[string]int{}
	for _, m := range months {
		total[m.Verdict] += m.Jobs
		per[m.Month] += m.Jobs
	}
	var names []string
	for n := range total {
		names = append(names, n)
	}
	slices.SortFunc(names, func(a, b string) int {
		if total[a] != total[b] {
			return total[b] - total[a]
		}
		return strings.Compare(a, b)
	})
	style := map[string]int{}
	for i, n := range names {
		style[n] = min(i, maxLines)
		if i <= maxLines {
			name := orNone(plain(n))
			if i == maxLines && len(names) > maxLines+1 {
				name = "others"
			}
			legend = append(legend, line{N: i, Name: name})
		}
	}
	most := 1
	for _, n := range per {
		most = max(most, n)
	}
	for _, m := range months {
		if len(bars) == 0 || bars[len(bars)-1].Label != m.Month {
			bars = append(bars, bar{Label: m.Month, Y: barStep * float64(len(bars)), End: barLeft, Value: fmt.Sprint(per[m.Month])})
		}
		b := &bars[len(bars)-1]
		w := round(barWidth * float64(m.Jobs) / float64(most))
		b.Parts = append(b.Parts, part{style[m.Verdict], b.End, w, fmt.Sprintf("%s: %d", orNone(plain(m.Verdict)), m.Jobs)})
		b.End = round(b.End + w)
	}
	return bars, legend
}

// technicianBars draws one number of each technician's code.
func technicianBars(ts []Technician, n int, number func(Technician) float64, format string) []bar {
	most := 0.0
	for _, t := range ts {
		most = max(most, number(t))
	}
	var bars []bar
	for _, t := range ts {
		w := 0.0
		if most > 0 {
			w = round(barWidth * number(t) / most)
		}
		value := fmt.Sprintf(format, number(t))
		bars = append(bars, bar{Label: orNone(t.Code), Y: barStep * float64(len(bars)), End: barLeft + w, Value: value,
			Parts: []part{{n, barLeft, w, value}}})
	}
	return bars
}
