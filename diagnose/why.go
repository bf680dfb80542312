package diagnose

import (
	"fmt"
	"math"
	"slices"
)

// why gives the chain of reasons, one line each.
func (v *view) why(a Assessment) []string {
	var out []string
	leading := v.leading(1, 1)
	if len(leading) == 0 {
		return nil
	}
	faults := leading[0].faults
	if a.Verdict != nil { // also one that was acted on: belief has moved on since
		faults = nil
		for _, id := range a.Verdict.Faults {
			faults = append(faults, slices.IndexFunc(v.k.faults, func(f Fault) bool { return f.ID == id }))
		}
		out = append(out, fmt.Sprintf("Verdict: %s, because %s.", a.Verdict.Name, a.Verdict.Because))
	}
	var chain []string
	for _, r := range strongest(v.weigh(func(s faultSet) bool { return len(s) == len(faults) && s.hasAll(faults) })) {
		if len(chain) > 5 {
			break
		}
		chain = append(chain, fmt.Sprintf("%s. That is %s times likelier with it than otherwise. Source: %s.", upper(r.o.text), short(math.Min(r.ratio, 1e4)), v.k.tests[r.test].Source))
	}
	if len(chain) == 0 { // its rivals show the same
		for _, r := range v.unlikeHealthy(faults, 4) {
			chain = append(chain, fmt.Sprintf("%s. That is %s times likelier with it than with nothing wrong. Source: %s.", upper(r.o.text), short(math.Min(r.ratio, 1e4)), v.k.tests[r.test].Source))
		}
	}
	if a.Verdict == nil {
		line := fmt.Sprintf("Likeliest so far: %s, at %d%%", v.nameOf(faults), int(math.Round(100*leading[0].p)))
		if why := v.reasons(faults, 1); len(why) > 0 {
			line += ", because " + why[0]
		}
		out = append(out, line+".")
	}
	out = append(out, chain...)
	for _, f := range faults {
		if !v.k.faults[f].Normal {
			out = append(out, fmt.Sprintf("How often %s is met: %s.", v.k.faults[f].Name, v.k.faults[f].Source))
		}
		if id := v.k.faults[f].First; id != "" {
			g := v.k.gates[v.k.gateAt[id]]
			out = append(out, fmt.Sprintf("Rule: %s. Source: %s.", g.Name, g.Source))
		}
	}
	if a.Next.Because != "" {
		out = append(out, fmt.Sprintf("Next: %s", a.Next.Say)+" Because "+a.Next.Because+".")
	}
	return out
}
