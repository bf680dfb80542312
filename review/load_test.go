package review

import (
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Fifty visitors at once on an index of so many jobs of 100 entries:
//
//	go test ./review -run Load -v -timeout 60m -load 10000
var load = flag.Int("load", 0, "measure fifty visitors on so many jobs")

func TestLoad(t *testing.T) {
	if *load == 0 {
		t.Skip("give -load 10000 to measure")
	}
	const visitors, lasts = 50, 30 * time.Second
	root := t.TempDir()
	begun := time.Now()
	bulk(t, root, 0, *load)
	t.Logf("%d jobs made in %v", *load, time.Since(begun).Round(time.Millisecond))
	store := opened(t, filepath.Join(t.TempDir(), "x.sqlite"))
	begun = time.Now()
	done := synced(t, store, "here", root)
	t.Logf("indexed %d entries in %v", done.Entries, time.Since(begun).Round(time.Millisecond))
	h, err := Handler(Site{Store: store, Words: words(t), Limits: DefaultLimits(), Source: "here"})
	require.NoError(t, err)
	server := newServer(h)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() { ended <- serve(server, l, maxConnections) }()
	pages := []struct {
		name string
		path func(r *rand.Rand) string
	}{
		{"list", func(*rand.Rand) string { return "/" }},
		{"search", func(r *rand.Rand) string { return fmt.Sprintf("/?q=amps+%d", r.IntN(60)) }},
		{"one technician", func(r *rand.Rand) string { return fmt.Sprintf("/?technician=T-%02d", r.IntN(40)) }},
		{"question", func(r *rand.Rand) string {
			return "/?question=" + string(Questions()[r.IntN(len(Questions()))])
		}},
		{"call", func(r *rand.Rand) string { return fmt.Sprintf("/call/job-%06d", r.IntN(*load)) }},
		{"report", func(r *rand.Rand) string { return fmt.Sprintf("/call/job-%06d/report", r.IntN(*load)) }},
		{"fleet", func(*rand.Rand) string { return "/fleet" }},
	}
	var mu sync.Mutex
	took := map[string][]time.Duration{}
	failed := 0
	var wg sync.WaitGroup
	until := time.Now().Add(lasts)
	for n := range visitors {
		wg.Go(func() {
			r := rand.New(rand.NewPCG(uint64(n), 5))
			c := http.Client{Transport: &http.Transport{}, Timeout: time.Minute}
			for time.Now().Before(until) {
				page := pages[r.IntN(len(pages))]
				begun := time.Now()
				answer, err := c.Get("http://" + l.Addr().String() + page.path(r))
				ok := err == nil && answer.StatusCode == http.StatusOK
				if err == nil {
					_, err = io.Copy(io.Discard, answer.Body)
					ok = ok && err == nil && answer.Body.Close() == nil
				}
				mu.Lock()
				took[page.name] = append(took[page.name], time.Since(begun))
				if !ok {
					failed++
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	all := 0
	for _, page := range pages {
		d := took[page.name]
		slices.Sort(d)
		all += len(d)
		at := func(share float64) time.Duration { return d[int(share*float64(len(d)-1))].Round(time.Millisecond / 10) }
		t.Logf("%-15s %6d  median %10v  95 of 100 under %10v  longest %10v", page.name, len(d), at(0.5), at(0.95), at(1))
	}
	t.Logf("%d visitors on %d jobs: %d pages, %.0f a second, %d failed", visitors, *load, all, float64(all)/lasts.Seconds(), failed)
	require.Zero(t, failed)
	require.NoError(t, server.Close())
	require.ErrorIs(t, <-ended, http.ErrServerClosed)
}
