package review

import (
	"crypto/sha256"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"callout/catalogue"
	"callout/joblog"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

func words(t testing.TB) *catalogue.Catalogue {
	t.Helper()
	c, err := catalogue.Load()
	require.NoError(t, err)
	return c
}

// sampleSite serves the sample tree.
func sampleSite(t testing.TB, change func(*Site)) (*httptest.Server, string) {
	t.Helper()
	jobs := t.TempDir()
	sampleTree(t, jobs)
	s := opened(t, filepath.Join(t.TempDir(), "x.sqlite"))
	synced(t, s, "here", jobs)
	site := Site{Store: s, Words: words(t), Limits: DefaultLimits(), Source: "here"}
	if change != nil {
		change(&site)
	}
	h, err := Handler(site)
	require.NoError(t, err)
	server := httptest.NewServer(h)
	t.Cleanup(server.Close)
	return server, jobs
}

func get(t testing.TB, address string) (*http.Response, string) {
	t.Helper()
	r, err := http.Get(address)
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r, string(b)
}

func TestPages(t *testing.T) {
	server, _ := sampleSite(t, nil)
	for path, want := range map[string][]string{
		"/":                         {"deep-11", "condemned", "Record damaged", "deep-0"},
		"/?question=condemned":      {"condemned", "locked-rotor amps on a proved capacitor"},
		"/?technician=T-3":          {"deep-3", "altered"},
		"/?q=back+from+the+store":   {"condemned"},
		"/fleet":                    {"Verdicts by month", "2026-03", "run capacitor failed", "T-1"},
		"/fleet?technician=T-2":     {"T-2"},
		"/call/good":                {"rated-load amps", "51 A (outside)", "6 to 12.6 A", "nameplate rated-load amps", "proved dead", "<svg"},
		"/call/good/report":         {"Service report", "42.75 to 47.25 µF", "hum", "label, 45 µF ±5%", "8.2 A, below the rated 12.6 A", "The technician (T-1) measured"},
		"/call/altered":             {"Not to be believed further than shown", "altered"},
		"/call/torn/report":         {"can't be believed further than shown", "Not signed off"},
		"/call/unsafe":              {"Safety order broken", "It was said dead and reads 240 V."},
		"/style.css":                {"prefers-color-scheme: dark", "@media print"},
		"/?since=2026-06-01&q=x%00": {"No job answers"},
	} {
		r, body := get(t, server.URL+path)
		assert.Equal(t, http.StatusOK, r.StatusCode, path)
		for _, w := range want {
			assert.Contains(t, body, w, path)
		}
		assert.Equal(t, "nosniff", r.Header.Get("X-Content-Type-Options"))
		assert.NotContains(t, body, "ZgotmplZ", path)
	}
	for path, status := range map[string]int{
		"/call/nobody": 404, "/call/nobody/report": 404, "/nowhere": 404, "/call/good/audio/2": 404, "/call/good/audio/x": 404,
		"/call/..%2f..%2fetc%2fpasswd": 404, "/?since=yesterday": 400, "/?question=gossip": 400, "/call/good/audio/99999": 404,
	} {
		r, body := get(t, server.URL+path)
		assert.Equal(t, status, r.StatusCode, path)
		assert.NotContains(t, body, "review:", path)
	}
}

// harmless parses a page as a browser would and says what in it could do
// something, or asks for something elsewhere.
func harmless(t testing.TB, page string) (bad []string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		switch n.Data {
		case "script", "img", "iframe", "object", "embed", "base", "frame", "use", "foreignobject", "animate", "set":
			bad = append(bad, "<"+n.Data+">")
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") || a.Key == "style" {
				bad = append(bad, n.Data+" "+a.Key)
			}
			if a.Key != "href" && a.Key != "src" && a.Key != "action" && a.Key != "formaction" {
				continue
			}
			if u, err := url.Parse(a.Val); err != nil || u.Host != "" || u.Scheme != "" || strings.HasPrefix(a.Val, "//") {
				bad = append(bad, n.Data+" "+a.Val)
			}
		}
	}
	return bad
}

// What was spoken makes no element of any page.
func TestHostileTextIsText(t *testing.T) {
	server, _ := sampleSite(t, nil)
	for _, path := range []string{"/", "/call/hostile", "/call/hostile/report", "/fleet", "/?q=" + url.QueryEscape(hostile), "/?technician=" + url.QueryEscape(hostile),
		"/?question=" + url.QueryEscape(hostile), "/?since=" + url.QueryEscape(hostile), "/?question=safety", "/call/" + url.PathEscape(hostile)} {
		r, body := get(t, server.URL+path)
		assert.Empty(t, harmless(t, body), path)
		assert.Contains(t, r.Header.Get("Content-Security-Policy"), "default-src 'none'")
		assert.NotContains(t, r.Header.Get("Content-Security-Policy"), "script-src")
	}
	_, body := get(t, server.URL+"/call/hostile")
	assert.Contains(t, body, "&lt;script&gt;", "it is shown, as text")
}

func TestOnlyReading(t *testing.T) {
	server, _ := sampleSite(t, nil)
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH", "OPTIONS"} {
		req, err := http.NewRequest(method, server.URL+"/call/good", nil)
		require.NoError(t, err)
		r, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		r.Body.Close()
		assert.Equal(t, http.StatusMethodNotAllowed, r.StatusCode, method)
	}
}

func TestHostsAndTokens(t *testing.T) {
	server, _ := sampleSite(t, func(s *Site) { s.Hosts, s.Token = []string{"shop.example"}, "s3cret" })
	ask := func(host, path string, c *http.Cookie) *http.Response {
		req, err := http.NewRequest("GET", server.URL+path, nil)
		require.NoError(t, err)
		req.Host = host
		if c != nil {
			req.AddCookie(c)
		}
		r, err := http.DefaultTransport.RoundTrip(req)
		require.NoError(t, err)
		r.Body.Close()
		return r
	}
	for _, host := range []string{"evil.example", "evil.example:8470", "localhost.evil.example", "127.0.0.1.evil.example", ""} {
		r := ask(host, "/?token=s3cret", nil)
		if host == "" { // the client fills it in
			continue
		}
		assert.Equal(t, http.StatusMisdirectedRequest, r.StatusCode, host)
		assert.Empty(t, r.Cookies())
	}
	for _, host := range []string{"localhost:1", "127.0.0.1", "[::1]:8470", "SHOP.example:8470"} {
		assert.Equal(t, http.StatusUnauthorized, ask(host, "/", nil).StatusCode, host)
		assert.Equal(t, http.StatusUnauthorized, ask(host, "/call/good?token=wrong", nil).StatusCode)
		assert.Equal(t, http.StatusUnauthorized, ask(host, "/", &http.Cookie{Name: tokenCookie, Value: "wrong"}).StatusCode)
		r := ask(host, "/call/good?token=s3cret&x=1", nil)
		require.Equal(t, http.StatusSeeOther, r.StatusCode)
		assert.Equal(t, "/call/good?x=1", r.Header.Get("Location"), "the token leaves the address")
		require.Len(t, r.Cookies(), 1)
		c := r.Cookies()[0]
		assert.True(t, c.HttpOnly)
		assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
		assert.Equal(t, http.StatusOK, ask(host, "/call/good", c).StatusCode)
	}
	// A path that looks like another host leads nowhere else.
	r := ask("localhost", "//evil.example/?token=s3cret", nil)
	assert.Equal(t, "/evil.example/", r.Header.Get("Location"))
}

func TestTheSoundOfAnUtterance(t *testing.T) {
	jobs := t.TempDir()
	s := begin(t, jobs, "loud", "U", "T", march)
	sum := joblog.Hash(sha256.Sum256([]byte("RIFF<script>"))).String()
	s.add(joblog.Heard{Source: joblog.Speech, Text: "amps", Audio: "2.wav", AudioSHA256: sum},
		joblog.Heard{Source: joblog.Speech, Text: "page", Audio: "3.html", AudioSHA256: sum})
	dir := s.close()
	require.NoError(t, os.Mkdir(filepath.Join(dir, joblog.AudioDir), 0o755))
	for _, name := range []string{"2.wav", "3.html"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, joblog.AudioDir, name), []byte("RIFF<script>"), 0o644))
	}
	store := opened(t, filepath.Join(t.TempDir(), "x.sqlite"))
	synced(t, store, "here", jobs)
	for source, want := range map[string]int{"here": 200, "elsewhere": 404} {
		h, err := Handler(Site{Store: store, Words: words(t), Source: source})
		require.NoError(t, err)
		server := httptest.NewServer(h)
		r, body := get(t, server.URL+"/call/loud/audio/2")
		assert.Equal(t, want, r.StatusCode)
		if want == 200 {
			assert.Equal(t, "audio/wav", r.Header.Get("Content-Type"))
			assert.Equal(t, "RIFF<script>", body)
		}
		r, _ = get(t, server.URL+"/call/loud/audio/3")
		assert.Equal(t, 404, r.StatusCode, "only sound is served")
		_, body = get(t, server.URL+"/call/loud")
		assert.Equal(t, want == 200, strings.Contains(body, "<audio controls"))
		server.Close()
	}
}

// The report is one file: nothing in it is fetched.
func TestTheReportStandsAlone(t *testing.T) {
	jobs := t.TempDir()
	sampleTree(t, jobs)
	s := opened(t, filepath.Join(t.TempDir(), "x.sqlite"))
	synced(t, s, "here", jobs)
	for _, job := range []string{"good", "hostile", "condemned", "altered"} {
		var b strings.Builder
		require.NoError(t, s.WriteReport(t.Context(), &b, words(t), job))
		assert.Empty(t, harmless(t, b.String()))
		assert.NotRegexp(t, `(?i)<link|@import|url\(`, b.String())
		assert.Contains(t, b.String(), "default-src 'none'; style-src &#39;sha256-")
	}
	assert.Equal(t, []string{"<script>", "b onerror", "a javascript:x"},
		harmless(t, `<p><script></script><b onerror="x"><a href="javascript:x">`), "what looks for harm finds it")
	require.ErrorIs(t, s.WriteReport(t.Context(), io.Discard, words(t), "nobody"), ErrNoJob)
}
