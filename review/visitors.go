package review

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/http"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"
)

// Bounds of what visitors can hold on to, so that one who reads slowly, or not
// at all, does not keep another from being served. A report is some 100 kB; half
// a minute is 30 kbit/s.
const (
	maxConnections = 128
	headerTime     = 10 * time.Second
	readTime       = 30 * time.Second
	writeTime      = 30 * time.Second
	idleTime       = 30 * time.Second
	leastIdle      = 100 * time.Millisecond // a request may be on its way
)

// serve serves h on l until the server is closed.
func serve(server *http.Server, l net.Listener, most int) error {
	v := &visitors{Listener: l, room: make(chan struct{}, most), idle: map[net.Conn]time.Time{}, closed: make(chan struct{})}
	server.ConnState = v.state
	return server.Serve(v)
}

func newServer(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: headerTime, ReadTimeout: readTime, WriteTimeout: writeTime, IdleTimeout: idleTime,
		MaxHeaderBytes: 64 << 10}
}

// visitors is a listener with room for some connections. Where there is none,
// the one that has been idle longest makes room; the next waits for that.
type visitors struct {
	net.Listener
	room   chan struct{}
	once   sync.Once
	closed chan struct{}

	mu   sync.Mutex
	idle map[net.Conn]time.Time // since when
}

// Accept implements net.Listener.
func (v *visitors) Accept() (net.Conn, error) {
	c, err := v.Listener.Accept()
	if err != nil {
		return nil, err
	}
	for {
		select {
		case v.room <- struct{}{}:
			return c, nil
		default:
		}
		v.makeRoom()
		select {
		case v.room <- struct{}{}:
			return c, nil
		case <-v.closed:
			return nil, errors.Join(net.ErrClosed, c.Close())
		case <-time.After(20 * time.Millisecond): // one may be idle by now
		}
	}
}

// Close implements net.Listener.
func (v *visitors) Close() error {
	v.once.Do(func() { close(v.closed) })
	return v.Listener.Close()
}

func (v *visitors) makeRoom() {
	v.mu.Lock()
	defer v.mu.Unlock()
	var longest net.Conn
	for c, since := range v.idle {
		if time.Now().Before(since) {
			continue
		}
		if longest == nil || since.Before(v.idle[longest]) {
			longest = c
		}
	}
	if longest != nil {
		delete(v.idle, longest)
		_ = longest.Close() // the server sees it closed
	}
}

// state is told by the server what becomes of a connection.
func (v *visitors) state(c net.Conn, s http.ConnState) {
	v.mu.Lock()
	defer v.mu.Unlock()
	delete(v.idle, c)
	switch s {
	case http.StateNew: // who connects and says nothing is idle, too
		v.idle[c] = time.Now().Add(leastIdle)
	case http.StateIdle:
		v.idle[c] = time.Now()
	case http.StateClosed, http.StateHijacked:
		<-v.room
	}
}

// sharing answers visitors who ask for the same page at the same time with the
// same work: a page is the same for all.
type sharing struct{ group singleflight.Group }

func (s *sharing) page(h http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		got, _, _ := s.group.Do(r.URL.RequestURI(), func() (any, error) {
			k := &keptAnswer{header: http.Header{}, status: http.StatusOK}
			// Others wait for it, too: it goes on though the first one leaves.
			ctx, stop := context.WithTimeout(context.WithoutCancel(r.Context()), writeTime)
			defer stop()
			h(k, r.WithContext(ctx))
			return k, nil
		})
		k := got.(*keptAnswer)
		for name, values := range k.header {
			w.Header()[name] = values
		}
		w.WriteHeader(k.status)
		_, _ = w.Write(k.body.Bytes()) // the visitor may have left
	}
}

// keptAnswer is a http.ResponseWriter that keeps what is written.
type keptAnswer struct {
	header http.Header
	status int
	body   bytes.Buffer
}

// Header implements http.ResponseWriter.
func (k *keptAnswer) Header() http.Header { return k.header }

// WriteHeader implements http.ResponseWriter.
func (k *keptAnswer) WriteHeader(status int) { k.status = status }

// Write implements http.ResponseWriter.
func (k *keptAnswer) Write(p []byte) (int, error) { return k.body.Write(p) }
