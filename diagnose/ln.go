package diagnose

import "math"

// logs is ln of the middles of logSteps equal parts of 1 to 2, beside their inverses.
var logs = func() (t [logSteps]struct{ inverse, ln float64 }) {
	for i := range t {
		middle := 1 + (float64(i)+0.5)/logSteps
		t[i].inverse, t[i].ln = 1/middle, math.Log(middle)
	}
	return t
}()

const logSteps = 256

// ln is the natural logarithm of a positive normal number, within 1e-9: looking ahead takes
// thousands of them for each question, and the library's, good to the last bit, takes
// three times as long.
func ln(x float64) float64 {
	const fraction, one = 1<<52 - 1, 1023
	bits := math.Float64bits(x)
	at := &logs[bits>>44&(logSteps-1)]
	r := math.Float64frombits(bits&fraction|one<<52)*at.inverse - 1 // at most 1/512 off 0
	return float64(int(bits>>52)-one)*math.Ln2 + at.ln + r*(1-r*(1./2-r/3))
}
