package review

import (
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"callout/joblog"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// A table of how the index grows, up to this many jobs of 100 entries:
//
//	go test ./review -run Scale -v -timeout 60m -scale 10000
var scale = flag.Int("scale", 0, "measure up to this many jobs of 100 entries")

// bulk writes jobs of 100 entries each.
func bulk(t testing.TB, root string, from, to int) {
	t.Helper()
	rnd := rand.New(rand.NewPCG(uint64(from), 7))
	faults := []string{"run_capacitor_failed", "contactor_pitted", "compressor_locked", "low_charge", "fan_motor_failed", "dirty_coil", "control_board"}
	for n := from; n < to; n++ {
		at := march.Add(time.Duration(n) * 37 * time.Minute)
		s := begin(t, filepath.Join(root, at.Format("2006-01")), fmt.Sprintf("job-%06d", n), fmt.Sprintf("U-%d", rnd.IntN(to)), fmt.Sprintf("T-%02d", rnd.IntN(40)), at)
		s.energy("proved_dead", "proved")
		fault := faults[min(rnd.IntN(8), rnd.IntN(7))]
		for range 18 { // five entries each
			c := s.read(fmt.Sprintf("compressor amps %d", rnd.IntN(60)), amps(float64(rnd.IntN(600))/10))
			s.add(joblog.Assessment{Causes: causes(0.4, 0.3, 0.2, 0.1)},
				joblog.Next{Test: "t", Does: "test", Say: "Measure the next thing at the place that was named.", Because: "it is the cheapest"},
				joblog.Said{Text: "Measure the next thing at the place that was named.", Way: joblog.Spoken})
			if rnd.IntN(40) == 0 {
				s.add(joblog.Retracted{Entry: c, Why: "corrected"})
			}
		}
		s.add(joblog.Assessment{Causes: causes(0.9, 0.1), Verdict: fault, Because: "of what was read"})
		r := s.add(joblog.Repair{Repair: "replace_run_capacitor", Part: []string{"run capacitor", "compressor", ""}[min(rnd.IntN(3), rnd.IntN(3))], Fault: fault})
		if rnd.IntN(20) > 0 {
			s.add(joblog.Proof{Repair: r, Proved: true, Because: "it runs"})
		}
		if rnd.IntN(30) == 0 {
			s.add(joblog.Caution{Caution: "contradicts_energy", Say: "It was said dead.", Broken: true})
		}
		if rnd.IntN(50) == 0 {
			s.after(2 * time.Hour)
		}
		for s.w.Head().Seq < 99 {
			s.add(joblog.Note{Text: "the customer's dog is friendly"})
		}
		s.add(joblog.Closed{Outcome: "repaired", Verdict: fault, Proved: true})
		s.close()
	}
}

// peak measures the most memory in use while something runs, in MiB.
func peak(do func()) float64 {
	runtime.GC()
	var most atomic.Uint64
	done, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most.Store(max(most.Load(), m.HeapInuse))
			select {
			case <-done:
				return
			case <-time.After(100 * time.Millisecond):
			}
		}
	}()
	do()
	close(done)
	<-stopped
	return float64(most.Load()) / (1 << 20)
}

func TestScale(t *testing.T) {
	if *scale == 0 {
		t.Skip("give -scale 10000 to measure")
	}
	root := t.TempDir()
	addresses := map[string]string{"sqlite": filepath.Join(t.TempDir(), "x.sqlite"), "postgres": postgres(t)}
	stores := map[string]*Store{}
	for name, a := range addresses {
		stores[name] = opened(t, a)
	}
	took := func(do func()) time.Duration {
		begin := time.Now()
		do()
		return time.Since(begin)
	}
	made := 0
	for _, jobs := range []int{*scale / 10, *scale / 3, *scale} {
		first := made == 0
		d := took(func() { bulk(t, root, made, jobs) })
		t.Logf("%d jobs: made in %v", jobs, d.Round(time.Millisecond))
		for _, name := range []string{"sqlite", "postgres"} {
			s := stores[name]
			row := func(what string, d time.Duration, more ...any) {
				t.Logf("%-8s %6d jobs  %-22s %12v  %s", name, jobs, what, d.Round(10*time.Microsecond), fmt.Sprint(more...))
			}
			if !first { // a first index of so many, not only what was added
				if name == "sqlite" {
					s = opened(t, filepath.Join(t.TempDir(), "again.sqlite"))
				} else {
					s = opened(t, postgres(t))
				}
				stores[name] = s
			}
			var done Synced
			var d time.Duration
			mib := peak(func() { d = took(func() { done = synced(t, s, "here", root) }) })
			row("first index", d, fmt.Sprintf("%d entries, heap at most %.0f MiB", done.Entries, mib))
			row("nothing new", took(func() { synced(t, s, "here", root) }))
			for _, q := range Questions() {
				n := 0
				d := took(func() {
					require.NoError(t, s.Ask(t.Context(), q, Filter{}, DefaultLimits(), func(Answer) error { n++; return nil }))
				})
				row("question "+string(q), d, n, " answers")
			}
			row("search", took(func() {
				_, err := s.Jobs(t.Context(), Filter{Search: "amps 59", Limit: 100}, DefaultLimits())
				require.NoError(t, err)
			}))
			row("search for nothing", took(func() {
				_, err := s.Jobs(t.Context(), Filter{Search: "no such words", Limit: 100}, DefaultLimits())
				require.NoError(t, err)
			}))
			h, err := Handler(Site{Store: s, Words: words(t), Limits: DefaultLimits(), Source: "here"})
			require.NoError(t, err)
			for what, path := range map[string]string{"page list": "/", "page question": "/?question=unproved", "page fleet": "/fleet", "page call": fmt.Sprintf("/call/job-%06d", jobs/2)} {
				d := took(func() {
					w := httptest.NewRecorder()
					r := httptest.NewRequest("GET", "http://localhost"+path, nil)
					h.ServeHTTP(w, r)
					require.Equal(t, 200, w.Code)
					_, _ = io.Copy(io.Discard, w.Body)
				})
				row(what, d)
			}
			if name == "sqlite" {
				var size int64
				require.NoError(t, s.db.QueryRow(`SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()`).Scan(&size))
				row("size of the index", 0, size>>20, " MiB")
			}
		}
		made = jobs
	}
	// A day's work: a hundred jobs more.
	bulk(t, root, made, made+100)
	for _, name := range []string{"sqlite", "postgres"} {
		var done Synced
		d := took(func() { done = synced(t, stores[name], "here", root) })
		t.Logf("%-8s %6d jobs  %-22s %12v  %d jobs more", name, made, "a hundred more", d.Round(time.Millisecond), done.Jobs)
	}
	t.Run("first paint", func(t *testing.T) {
		v := browser(t)
		h, err := Handler(Site{Store: stores["sqlite"], Words: words(t), Limits: DefaultLimits(), Source: "here"})
		require.NoError(t, err)
		server := httptest.NewServer(h)
		defer server.Close()
		for _, path := range []string{"/", "/fleet", "/call/job-000042"} {
			v.look(server.URL + path)
			v.do(chromedp.Sleep(300 * time.Millisecond))
			ms := eval[float64](v, `performance.getEntriesByName("first-contentful-paint")[0].startTime`)
			t.Logf("sqlite   %6d jobs  first paint of %-20s %.0f ms", made, path, ms)
		}
	})
	b, err := os.ReadFile("/proc/self/status")
	if err == nil {
		for line := range strings.Lines(string(b)) {
			if strings.HasPrefix(line, "VmHWM") {
				t.Log("the whole test process, generator included: ", strings.TrimSpace(line))
			}
		}
	}
}
