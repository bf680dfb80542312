package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Against the standard library's.
func TestLogarithm(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 100_000 {
		x := math.Exp(-40 + 45*r.Float64())
		if got := ln(x); !assert.InDelta(t, math.Log(x), got, 1e-9, "ln(%g)", x) {
			return
		}
	}
	for _, x := range []float64{1, 0.5, 2, math.Nextafter(1, 0), math.Nextafter(2, 0), 1e-300} {
		assert.InDelta(t, math.Log(x), ln(x), 1e-9, "ln(%g)", x)
	}
}

func BenchmarkLn(b *testing.B) {
	for name, f := range map[string]func(float64) float64{"ours": ln, "library": math.Log} {
		b.Run(name, func(b *testing.B) {
			x, sum := 0.3, 0.0
			for b.Loop() {
				sum += f(x)
				x = x*1.0001 + 1e-6
				if x > 1 {
					x = 1e-3
				}
			}
			assert.False(b, math.IsNaN(sum))
		})
	}
}
