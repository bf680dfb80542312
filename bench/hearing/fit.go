package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"callout/intents"
	"callout/intents/hearing"
)

// example is what one clip of the tuning voices holds for its likeliest meaning.
type example struct {
	clip     clip
	evidence hearing.Evidence
	found    bool // the right meaning is among those found
	right    bool // and it is the best
}

func same(a, b []string) bool {
	return slices.Equal(slices.Sorted(slices.Values(a)), slices.Sorted(slices.Values(b)))
}

func exampleOf(c clip, e hearing.Evidence) example {
	x := example{clip: c, evidence: e, right: c.means(e.Best)}
	x.found = x.right
	for _, r := range e.Rivals {
		x.found = x.found || c.means(r.Items)
	}
	return x
}

// means reports whether items are what the clip means.
func (c clip) means(list []intents.Item) bool {
	keys := unique(keysOf(list))
	return same(keys, c.Means) || slices.ContainsFunc(c.Or, func(or []string) bool { return same(keys, or) })
}

// unique leaves each key once: what is said twice is said once.
func unique(list []string) []string {
	list = slices.Sorted(slices.Values(list))
	return slices.Compact(list)
}

// fit finds the weights of certainty by greatest likelihood on the examples: first sharp
// and teen on a grid, then the logistic regression by Newton's method, with a small pull
// of all but the bias to zero. With only talk, all that does not tell of talk is left as it is.
func fit(w hearing.Weights, names []string, list []example, source string, talk bool) hearing.Weights {
	if talk {
		w.Source, _, _ = strings.Cut(w.Source, ";")
		w.Source += source
		return regress(w, names, list, true)
	}
	w.Source = source
	best := math.Inf(-1)
	sharp, teen := w.Sharp, w.Teen
	for s := 0.2; s < 2; s += 0.1 {
		for t := 0.0; t <= 5; t += 0.5 {
			try := w
			try.Sharp, try.Teen = s, t
			sum := 0.0
			for _, x := range list {
				if !x.found {
					continue
				}
				p := max(1e-3, min(1-1e-3, try.Share(x.evidence)))
				if !x.right {
					p = 1 - p
				}
				sum += math.Log(p)
			}
			if sum > best {
				best, sharp, teen = sum, s, t
			}
		}
	}
	w.Sharp, w.Teen = round(sharp), teen
	return regress(w, names, list, false)
}

// regress fits bias and weights of features, or those alone that tell of talk.
func regress(w hearing.Weights, names []string, list []example, talk bool) hearing.Weights {
	const pull = 1.0
	n := len(names) + 1
	b, held := make([]float64, n), make([]bool, n)
	if talk {
		b[0], held[0] = w.Bias, true
		for i, name := range names {
			if held[i+1] = !slices.Contains(hearing.TalkFeatures(), name); held[i+1] {
				b[i+1] = w.Per[name]
			}
		}
	}
	row := func(x example) []float64 {
		r := make([]float64, n)
		r[0] = 1
		for i, name := range names {
			r[i+1] = x.evidence.Features[name]
		}
		return r
	}
	for range 50 {
		g, h := make([]float64, n), make([][]float64, n)
		for i := range h {
			h[i] = make([]float64, n)
			if i > 0 {
				h[i][i], g[i] = pull, -pull*b[i]
			}
		}
		for _, x := range list {
			r := row(x)
			z := -x.evidence.Against
			for i := range r {
				z += b[i] * r[i]
			}
			p := 1 / (1 + math.Exp(-z))
			y := 0.0
			if x.right {
				y = 1
			}
			for i := range r {
				g[i] += (y - p) * r[i]
				for j := range r {
					h[i][j] += p * (1 - p) * r[i] * r[j]
				}
			}
		}
		for i := range held {
			if held[i] {
				g[i] = 0
				for j := range h {
					h[i][j], h[j][i] = 0, 0
				}
				h[i][i] = 1
			}
		}
		for i, d := range solve(h, g) {
			b[i] += max(-1, min(1, d)) // far from the best, Newton's step overshoots
		}
	}
	w.Bias, w.Per = round(b[0]), map[string]float64{}
	for i, name := range names {
		w.Per[name] = round(b[i+1])
	}
	return w
}

func round(v float64) float64 { return math.Round(v*1e3) / 1e3 }

// solve gives x of h·x = g, h being positive definite, by elimination.
func solve(h [][]float64, g []float64) []float64 {
	n := len(g)
	for i := range n {
		for j := i + 1; j < n; j++ {
			f := h[j][i] / h[i][i]
			for k := i; k < n; k++ {
				h[j][k] -= f * h[i][k]
			}
			g[j] -= f * g[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			g[i] -= h[i][j] * g[j]
		}
		g[i] /= h[i][i]
	}
	return g
}

// apart gives each clip's certainty, its voice being judged by weights fitted to the others,
// and how surprising what was right and wrong then is, in nats a clip.
func apart(start hearing.Weights, names []string, list []example, talk bool) (certain map[string]float64, nats float64) {
	certain = map[string]float64{}
	for _, v := range unique(voicesOf(list)) {
		var others []example
		for _, x := range list {
			if x.clip.Voice != v {
				others = append(others, x)
			}
		}
		fitted := fit(start, names, others, "", talk)
		for _, x := range list {
			if x.clip.Voice != v {
				continue
			}
			p := fitted.Certainty(x.evidence)
			certain[x.clip.ID] = p
			if !x.right {
				p = 1 - p
			}
			nats -= math.Log(max(1e-3, p)) / float64(len(list))
		}
	}
	return certain, nats
}

// judged writes what would be recorded of the clips that carry values at limits of
// certainty, right / wrong in silence in %: what the limits are chosen by. Clips without an
// example are not recorded.
func judged(w io.Writer, name string, certain map[string]float64, clips []clip, list []example) {
	by := map[string]example{}
	for _, x := range list {
		by[x.clip.ID] = x
	}
	fmt.Fprintf(w, "\n| %s, limit | voices | clean | 10 dB | 5 dB | 0 dB | other than readings | chatter recorded |\n|---|---|---|---|---|---|---|---|\n", name)
	for _, limit := range []float64{0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 0.96, 0.97, 0.98, 0.99} {
		for _, natural := range []bool{true, false} {
			n, good, bad := map[string]int{}, map[string]int{}, map[string]int{}
			for _, c := range clips {
				if natural && c.Family != "kokoro" {
					continue
				}
				key := c.Level
				if c.Kind != "reading" {
					key = c.Kind
				}
				n[key]++
				if x, ok := by[c.ID]; ok && certain[c.ID] >= limit {
					good[key] += bit(x.right)
					bad[key] += bit(!x.right)
				}
			}
			fmt.Fprintf(w, "| %.2f | %s |", limit, map[bool]string{true: "natural", false: "all"}[natural])
			for _, key := range append(slices.Clone(levels), "other") {
				fmt.Fprintf(w, " %.0f / %.1f |", share(good[key], n[key]), share(bad[key], n[key]))
			}
			fmt.Fprintf(w, " %d of %d |\n", bad["chatter"], n["chatter"])
		}
	}
}

func voicesOf(list []example) (names []string) {
	for _, x := range list {
		names = append(names, x.clip.Voice)
	}
	return names
}

// fitCertainty fits the weights to the tuning voices and writes them where they are read:
// those for one recogniser and, if there is a second, those for both. Each model has a file
// of its own, but for the untouched one: its weights are the common ones.
func fitCertainty(o options, h *heard, list []clip) error {
	if o.set != "tuning-both" && o.set != "tuning-all" && (o.set != "talk" || !o.talk) {
		return fmt.Errorf("bench: weights are fitted to the sets tuning-both and tuning-all, those that tell of talk to the set talk too")
	}
	collect := func(evidence func(i int) (hearing.Evidence, bool)) (out []example) {
		for i, c := range list {
			if c.Kind == "note" {
				continue
			}
			if e, ok := evidence(i); ok {
				out = append(out, exampleOf(c, e))
			}
		}
		return out
	}
	c := h.ear.Calibration()
	one := collect(func(i int) (hearing.Evidence, bool) {
		alone := h.clips[i].Trace.First
		alone.Scored = nil
		return h.ear.Evidence(hearing.Trace{First: alone})
	})
	certain, nats := apart(c.One, hearing.Features(), one, o.talk)
	judged(os.Stdout, fmt.Sprintf("%s alone (%.3f nats a clip)", h.name, nats), certain, list, one)
	var pair []example
	if h.paired {
		values := []float64{1, 0.7, 0.5, 0.35, 0.2}
		if o.talk {
			values = []float64{c.Pair.Second}
		}
		c.Pair.Second, pair = h.weight("the second", hearing.PairFeatures(), values, func(v float64) ([]example, hearing.Weights) {
			try := c
			try.Pair.Second = v
			h.ear.Calibrate(try)
			return collect(func(i int) (hearing.Evidence, bool) { return h.ear.Evidence(h.clips[i].Trace) }), try.Pair
		}, list, o.talk)
	}
	source := func(n int) string {
		if o.talk {
			return fmt.Sprintf("; of talk: bench/hearing -set %s -n %d -fit -only-talk, %d examples", o.set, o.n, n)
		}
		return fmt.Sprintf("make fit-certainty: %s, %d texts, %d examples", h.name, 2*(o.n+o.n/2), n)
	}
	c.One = fit(c.One, hearing.Features(), one, source(len(one)), o.talk)
	if h.paired {
		c.Pair = fit(c.Pair, hearing.PairFeatures(), pair, source(len(pair)), o.talk)
	}
	raw, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	name := hearing.OwnCertaintyFile(h.engine)
	if strings.TrimSuffix(h.name, "-bf16") == untouched {
		name = hearing.CommonCertaintyFile
	}
	return os.WriteFile(filepath.Join("intents/hearing", name), append(raw, '\n'), 0o644)
}

// weight finds what a nat of another recogniser is to one of the first, of some values, and
// gives the examples as they are with it.
func (h *heard) weight(who string, names []string, values []float64, with func(v float64) ([]example, hearing.Weights), list []clip, talk bool) (best float64, kept []example) {
	least := math.Inf(1)
	var certain map[string]float64
	for _, v := range values {
		examples, w := with(v)
		likely, nats := apart(w, names, examples, talk)
		fmt.Printf("\n%s and %s, its nats times %g: %.3f nats a clip, the best right in %d of %d\n", h.name, who, v, nats, rightOf(examples), len(examples))
		if nats < least {
			least, certain, kept, best = nats, likely, examples, v
		}
	}
	judged(os.Stdout, fmt.Sprintf("%s and %s times %g", h.name, who, best), certain, list, kept)
	return best, kept
}

func rightOf(list []example) (n int) {
	for _, x := range list {
		n += bit(x.right)
	}
	return n
}

// untouched is the model whose weights of certainty are the common ones.
const untouched = "base"
