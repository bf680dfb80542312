package review

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// visitor drives one tab of a headless Chromium.
type visitor struct {
	t   *testing.T
	ctx context.Context
	mu  sync.Mutex
	// asked is every address that a page asked for, and every script error.
	asked []string
}

// browser starts a headless Chromium, or skips the test where there is none.
func browser(t *testing.T) *visitor {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium to test the pages with (Debian's package chromium has it)")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.WindowSize(1280, 900))
	if os.Getuid() == 0 {
		opts = append(opts, chromedp.NoSandbox)
	}
	ctx, stop := context.WithTimeout(context.Background(), 90*time.Second)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewExecAllocator(ctx, opts...)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	v := &visitor{t: t, ctx: ctx}
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		v.mu.Lock()
		defer v.mu.Unlock()
		switch e := ev.(type) {
		case *network.EventRequestWillBeSent:
			v.asked = append(v.asked, e.Request.URL)
		case *runtime.EventExceptionThrown:
			v.asked = append(v.asked, "exception: "+e.ExceptionDetails.Text)
		}
	}))
	return v
}

func (v *visitor) takeAsked() []string {
	v.mu.Lock()
	defer v.mu.Unlock()
	out := v.asked
	v.asked = nil
	return out
}

func (v *visitor) do(steps ...chromedp.Action[chromedp.Void]) {
	v.t.Helper()
	require.NoError(v.t, chromedp.Do(v.ctx, steps...))
}

func run[T any](v *visitor, a chromedp.Action[T]) T {
	v.t.Helper()
	got, err := chromedp.Run(v.ctx, a)
	require.NoError(v.t, err)
	return got
}

func eval[T any](v *visitor, script string) T {
	v.t.Helper()
	return run(v, chromedp.Evaluate[T](script))
}

func (v *visitor) look(address string) (title string) {
	v.t.Helper()
	v.do(chromedp.Navigate(address), chromedp.WaitReady("main"))
	return run(v, chromedp.Title())
}

func (v *visitor) prefer(scheme string) {
	v.t.Helper()
	_, err := chromedp.Run(v.ctx, func(ctx context.Context, t *chromedp.Target) (cdp.Empty, error) {
		return cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	})
	require.NoError(v.t, err)
}

// shot keeps a picture of the whole page where go test -artifacts says.
func (v *visitor) shot(name string) {
	v.t.Helper()
	png := run(v, chromedp.FullScreenshot(100))
	require.NoError(v.t, os.WriteFile(filepath.Join(v.t.ArtifactDir(), name+".png"), png, 0o644))
}

func TestInABrowser(t *testing.T) {
	v := browser(t)
	server, _ := sampleSite(t, nil)

	// A page without our care is owned, or what follows would prove nothing.
	bad := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, "<title>safe</title><main>"+hostile)
	}))
	defer bad.Close()
	v.do(chromedp.Navigate(bad.URL), chromedp.Sleep(300*time.Millisecond))
	require.Equal(t, "owned", run(v, chromedp.Title()))
	v.takeAsked()

	for name, path := range map[string]string{
		"list": "/", "call": "/call/good", "fleet": "/fleet", "report": "/call/good/report",
		"hostile-call": "/call/hostile", "hostile-report": "/call/hostile/report", "question": "/?question=safety", "damaged": "/call/altered",
	} {
		title := v.look(server.URL + path)
		assert.NotEqual(t, "owned", title, name)
		assert.Zero(t, eval[int](v, `document.querySelectorAll("script, img, iframe, [onerror]").length`), name)
		if strings.HasPrefix(name, "hostile") {
			assert.Contains(t, run(v, chromedp.TextContent("main")), "<script>document.title='owned'", "what was said is shown as it was said")
		}
		asked := v.takeAsked()
		assert.NotEmpty(t, asked)
		for _, u := range asked {
			// A data address is in the page already, or in the browser's own date field.
			assert.True(t, strings.HasPrefix(u, server.URL+"/") || strings.HasPrefix(u, "data:image/"), "%s asked for %s", name, u)
		}
		v.shot(name)
	}

	// Dark and light follow what the visitor prefers.
	v.look(server.URL + "/call/good")
	const background = `getComputedStyle(document.body).backgroundColor`
	v.prefer("light")
	light := eval[string](v, background)
	v.prefer("dark")
	assert.NotEqual(t, light, eval[string](v, background))
	v.shot("call-dark")
	v.prefer("light")

	// By keyboard alone, from the list to a call.
	v.look(server.URL + "/")
	v.do(chromedp.KeyEvent(kb.Tab))
	assert.Equal(t, "To the content", eval[string](v, `document.activeElement.textContent`))
	v.do(chromedp.KeyEvent(kb.Enter))
	assert.Equal(t, "main", eval[string](v, `document.activeElement.id`))
	href := ""
	for range 30 {
		v.do(chromedp.KeyEvent(kb.Tab))
		if href = eval[string](v, `document.activeElement.getAttribute("href") || ""`); strings.HasPrefix(href, "/call/") {
			break
		}
	}
	require.Equal(t, "/call/deep-11", href)
	assert.Equal(t, "solid", eval[string](v, `getComputedStyle(document.activeElement).outlineStyle`), "where one is can be seen")
	v.do(chromedp.KeyEvent(kb.Enter), chromedp.WaitReady("table.timeline"))
	assert.Equal(t, "/call/deep-11", eval[string](v, `location.pathname`))

	// Searching by keyboard.
	v.look(server.URL + "/")
	v.do(chromedp.SendKeys(`input[name=q]`, "back from the store"+kb.Enter), chromedp.Sleep(500*time.Millisecond), chromedp.WaitReady("main"))
	assert.Contains(t, eval[string](v, `location.search`), "q=back+from+the+store")
	assert.Equal(t, 1, eval[int](v, `document.querySelectorAll('tbody a[href^="/call/"]').length`))

	// The pictures are drawn.
	v.look(server.URL + "/call/good")
	assert.Greater(t, eval[float64](v, `document.querySelector("svg.probability").getBoundingClientRect().height`), 200.0)
	assert.Equal(t, 4, eval[int](v, `document.querySelectorAll("svg.probability polyline").length`))
	assert.Equal(t, 8, eval[int](v, `document.querySelectorAll("svg.probability rect.live, svg.probability rect.claimed, svg.probability rect.safe").length`),
		"four states of power and of the capacitor")
}

// The report becomes a PDF through the browser's print path, from the file.
func TestTheReportAsPDF(t *testing.T) {
	v := browser(t)
	jobs := t.TempDir()
	sampleTree(t, jobs)
	s := opened(t, filepath.Join(t.TempDir(), "x.sqlite"))
	synced(t, s, "here", jobs)
	for _, job := range []string{"good", "hostile"} {
		name := filepath.Join(t.TempDir(), job+".html")
		f, err := os.Create(name)
		require.NoError(t, err)
		require.NoError(t, s.WriteReport(t.Context(), f, words(t), job))
		require.NoError(t, f.Close())
		assert.Equal(t, "Job "+job, v.look("file://"+name))
		assert.Equal(t, "collapse", eval[string](v, `getComputedStyle(document.querySelector("table")).borderCollapse`),
			"its own style is let through by its own policy")
		pdf := run(v, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
		assert.True(t, bytes.HasPrefix(pdf, []byte("%PDF-")))
		assert.Greater(t, len(pdf), 10_000)
		assert.Equal(t, []string{"file://" + name}, v.takeAsked(), "nothing else is read")
		require.NoError(t, os.WriteFile(filepath.Join(t.ArtifactDir(), job+".pdf"), pdf, 0o644))
	}
}
