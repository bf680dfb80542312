package diagnose

import "math"

// price is the expected cost of deciding now: the doubt that is left, and the
// call-back and the parts wrongly bought by the best decision. x holds the
// belief in each hypothesis and parts what its repair would cost in vain.
func price(x, parts []float64) float64 {
	var mass, xlogx float64
	for _, p := range x {
		if p > 0 {
			mass += p
			xlogx += p * math.Log(p)
		}
	}
	if mass == 0 {
		return 0
	}
	least := math.Inf(1)
	for j, p := range x {
		least = min(least, (callBack+parts[j])*(mass-p))
	}
	return perBit*(mass*math.Log(mass)-xlogx)/math.Ln2 + least
}

// expected is the price that is left, on average, after a test.
func (v *view) expected(t int, hs []hypothesis, parts []float64) float64 {
	n := len(v.k.tests[t].Classes)
	var buf [32]float64
	if need := n * len(hs); cap(v.joint) < need {
		v.joint = make([]float64, need, 2*need)
	}
	x := v.joint[:n*len(hs)]
	for j, h := range hs {
		row := v.row(h, t, buf[:])
		for c := 0; c < n; c++ {
			x[c*len(hs)+j] = h.p * row[c]
		}
	}
	var sum float64
	for c := 0; c < n; c++ {
		sum += price(x[c*len(hs):(c+1)*len(hs)], parts)
	}
	return sum
}

func (v *view) priceNow(hs []hypothesis, parts []float64) float64 {
	x := make([]float64, len(hs))
	for j, h := range hs {
		x[j] = h.p
	}
	return price(x, parts)
}

// further is the rate, over a test and the best one that follows it, at which
// the expected cost falls.
func (v *view) further(c candidate, next []candidate, now float64, hs []hypothesis, parts []float64) float64 {
	t := &v.k.tests[c.test]
	var buf [32]float64
	var left float64
	cost := c.cost
	after := make([]hypothesis, 0, len(hs))
	part := make([]float64, 0, len(hs))
	for k := range t.Classes {
		after, part = after[:0], part[:0]
		var mass float64
		for j, h := range hs {
			x := h.p * v.row(h, c.test, buf[:])[k]
			mass += x
			if x > 1e-4 {
				h.p = x
				after = append(after, h)
				part = append(part, parts[j])
			}
		}
		if len(after) == 0 {
			continue
		}
		here := v.priceNow(after, part)
		then, spent := here, 0.0
		if mass > 0.02 && len(after) > 1 {
			best := 0.0
			for _, n := range next {
				if n.test == c.test {
					continue
				}
				price := n.cost
				if v.k.tests[n.test].State == t.State {
					price = v.k.tests[n.test].Minutes + asking
				}
				end := v.expected(n.test, after, part)
				if r := (here - end) / price; r > best {
					best, then, spent = r, end, mass*price
				}
			}
		}
		left += then
		cost += spent
	}
	return max((now-c.left)/c.cost, (now-left)/cost)
}
