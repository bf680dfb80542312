package device

import "sync/atomic"

// ring is a bounded queue of samples between one writer, the sound system's
// thread, and one reader. Neither waits for the other. What does not fit is
// dropped and counted: the writer can't wait.
type ring struct {
	buf     []float32
	read    atomic.Uint64 // samples taken
	written atomic.Uint64 // samples put
	dropped atomic.Int64
	wake    chan struct{} // holds one token when something was written
}

func newRing(size int) *ring {
	return &ring{buf: make([]float32, size), wake: make(chan struct{}, 1)}
}

// write adds samples; those that do not fit are dropped.
func (r *ring) write(samples []float32) {
	w := r.written.Load()
	free := uint64(len(r.buf)) - (w - r.read.Load())
	n := uint64(len(samples))
	if n > free {
		r.dropped.Add(int64(n - free))
		n = free
	}
	at := w % uint64(len(r.buf))
	first := min(n, uint64(len(r.buf))-at)
	copy(r.buf[at:], samples[:first])
	copy(r.buf, samples[first:n])
	r.written.Store(w + n)
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// take fills out if there is enough, and reports whether it did.
func (r *ring) take(out []float32) bool {
	at := r.read.Load()
	if r.written.Load()-at < uint64(len(out)) {
		return false
	}
	i := at % uint64(len(r.buf))
	n := copy(out, r.buf[i:])
	copy(out[n:], r.buf)
	r.read.Store(at + uint64(len(out)))
	return true
}

// waiting is the number of samples that can be taken.
func (r *ring) waiting() int { return int(r.written.Load() - r.read.Load()) }
