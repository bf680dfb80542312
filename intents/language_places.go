package intents

import (
	"strconv"

	"callout/grammar"
)

// loose are subjects that name quantity i less directly than its own names and places do,
// found by asking the parser: "volts at the contactor coil", "herm microfarads", "amps on
// the compressor".
func (l *language) loose(i int) (subjects []grammar.Expr) {
	q := l.p.cat.Quantities[i]
	u, _ := l.p.cat.Unit(q.Unit)
	value := " " + strconv.Itoa(int((q.Min+min(q.Max, 400))/2))
	means := func(text string) bool {
		r := l.p.Parse(text+value, Context{})
		return len(r.Doubts) == 0 && len(r.Ignored) == 0 && len(r.Items) == 1 && r.Items[0].Reading != nil && r.Items[0].Reading.Quantity == q.ID
	}
	own := map[int]bool{}
	l.p.tab.places[i].each(func(k int) { own[k] = true })
	var unitAt, unitAfter, nameAt []string
	for k := range l.p.cat.Places {
		for n, s := range l.p.placeNames(k) {
			if own[k] && means(u.Name+" at the "+s) {
				unitAt = append(unitAt, s)
			}
			if own[k] && means(s+" "+u.Name) {
				unitAfter = append(unitAfter, s)
			}
			if !own[k] && n == 0 && len(q.Spoken) > 0 && means(q.Spoken[0]+" on the "+s) {
				nameAt = append(nameAt, s)
			}
		}
	}
	on := l.on()
	unit := l.phrases([]string{u.Name})
	names := l.phrases([]string{q.Name}, q.Spoken)
	if e := l.phrases(unitAt); e != nil {
		subjects = append(subjects, seq(unit, on, e))
	}
	if e := l.phrases(unitAfter); e != nil {
		subjects = append(subjects, seq(e, unit))
	}
	if e := l.phrases(nameAt); e != nil {
		subjects = append(subjects, seq(names, on, e))
	}
	return subjects
}
