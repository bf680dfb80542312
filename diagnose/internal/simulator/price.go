package simulator

// Prices tell what a question takes. Where the unit stands is a number of the
// caller's own; a call begins at 0.
type Prices interface {
	// Ask gives the minutes of a technician's time that a question takes from where
	// the unit stands, with the way to the energy state that it needs, and where the
	// unit stands then. The readings are named by quantity and place.
	Ask(at int, readings [][2]string) (minutes float64, then int)
	// Question is what every question costs beside its minutes.
	Question() float64
}

// free prices a question at one test and nothing else.
type free struct{}

func (free) Ask(int, [][2]string) (float64, int) { return 0, 0 }
func (free) Question() float64                   { return 1 }

// asks lists what every probe reads.
func asks() [][][2]string {
	var out [][][2]string
	for _, p := range probes() {
		out = append(out, p.asks)
	}
	return out
}
