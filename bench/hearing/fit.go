package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"callout/audio"
	"callout/session"
)

// example is what one clip of the tuning voices holds for its likeliest meaning.
type example struct {
	evidence session.Evidence
	found    bool // the right meaning is among those found
	right    bool // and it is the best
}

func same(a, b []string) bool {
	return slices.Equal(slices.Sorted(slices.Values(a)), slices.Sorted(slices.Values(b)))
}

func exampleOf(c clip, e session.Evidence) example {
	x := example{evidence: e, right: same(unique(keysOf(e.Best)), c.Means)}
	x.found = x.right
	for _, r := range e.Rivals {
		x.found = x.found || same(unique(keysOf(r.Items)), c.Means)
	}
	return x
}

// unique leaves each key once: what is said twice is said once.
func unique(list []string) []string {
	list = slices.Sorted(slices.Values(list))
	return slices.Compact(list)
}

// fit finds the weights of certainty by greatest likelihood on the examples: first sharp
// and teen on a grid, then the logistic regression by Newton's method, with a small pull
// of all but the bias to zero.
func fit(w session.Weights, names []string, list []example, source string) session.Weights {
	w.Source = source
	best := math.Inf(-1)
	sharp, teen := w.Sharp, w.Teen
	for s := 0.2; s < 2; s += 0.05 {
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
	n := len(names) + 1
	b := make([]float64, n)
	row := func(x example) []float64 {
		r := make([]float64, n)
		r[0] = 1
		for i, name := range names {
			r[i+1] = x.evidence.Features[name]
		}
		return r
	}
	const pull = 0.5
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
			z := 0.0
			for i := range r {
				z += b[i] * r[i]
			}
			p := 1 / (1 + math.Exp(-z))
			y := 0.0
			if x.found {
				y = 1
			}
			for i := range r {
				g[i] += (y - p) * r[i]
				for j := range r {
					h[i][j] += p * (1 - p) * r[i] * r[j]
				}
			}
		}
		for i, d := range solve(h, g) {
			b[i] += d
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

// fitCertainty fits the weights to the tuning voices and writes them where they are read:
// those for one recogniser and, if there is a second, those for both. A model that has
// weights of its own (session.CertaintyFile) keeps them.
func fitCertainty(o options, engine string, ear *session.Ear, list []clip, heard, second []audio.Transcript) error {
	if o.set != "tuning" {
		return fmt.Errorf("bench: weights are fitted to the tuning voices only")
	}
	var one, pair []example
	for i, c := range list {
		if c.Kind == "note" {
			continue
		}
		if e, ok := ear.Evidence(heard[i]); ok {
			one = append(one, exampleOf(c, e))
		}
		if second == nil {
			continue
		}
		if e, ok := ear.EvidenceBoth(heard[i], second[i]); ok {
			pair = append(pair, exampleOf(c, e))
		}
	}
	c := ear.Calibration()
	source := func(n int) string {
		return fmt.Sprintf("make fit-certainty: %d texts, %d examples", o.n, n)
	}
	c.One = fit(c.One, session.Features(), one, source(len(one)))
	if second != nil {
		c.Pair = fit(c.Pair, session.PairFeatures(), pair, source(len(pair)))
	}
	raw, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join("session", session.CertaintyFile(engine)), append(raw, '\n'), 0o644)
}
