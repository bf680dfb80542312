package review

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"callout/catalogue"
	"callout/joblog"
)

// Site is what the pages need.
type Site struct {
	Store  *Store
	Words  *catalogue.Catalogue
	Limits Limits
	// Source is this machine's name in the store: sound is played only of jobs
	// that lie here.
	Source string
	// Hosts are the names that a browser may call the site by, without a port.
	// localhost, 127.0.0.1 and ::1 always are.
	Hosts []string
	// Token must be given by every visitor, unless it is "". A site that other
	// machines reach must have one.
	Token string
	// Log gets what went wrong; nil for nothing.
	Log *slog.Logger
}

// pageSize is how many jobs a list shows.
const pageSize = 100

const tokenCookie = "review_token"

type site struct {
	Site
	pages *template.Template
	style []byte
}

// Handler serves the pages: a list, one call, the fleet, one report. It only
// ever reads. It is safe for concurrent use.
func Handler(s Site) (http.Handler, error) {
	pages, err := loadPages()
	if err != nil {
		return nil, err
	}
	style, err := files.ReadFile("static/style.css")
	if err != nil {
		return nil, fmt.Errorf("review: %w", err)
	}
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	x := &site{s, pages, style}
	mux := http.NewServeMux()
	var same sharing
	mux.HandleFunc("GET /{$}", same.page(x.list))
	mux.HandleFunc("GET /fleet", same.page(x.fleet))
	mux.HandleFunc("GET /call/{job}", x.call)
	mux.HandleFunc("GET /call/{job}/report", x.report)
	mux.HandleFunc("GET /call/{job}/audio/{seq}", x.audio)
	mux.HandleFunc("GET /style.css", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		http.ServeContent(w, r, "style.css", time.Time{}, bytes.NewReader(x.style))
	})
	return x.guard(mux), nil
}

// guard checks who asks, by which name, and that they only read. A check of
// the name keeps a web page that has its own name point here from reading jobs.
func (x *site) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; media-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		if !x.knownHost(r.Host) {
			x.problem(w, http.StatusMisdirectedRequest, "Wrong address", "This site is not called by that name. Use the address that the program printed.")
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			h.Set("Allow", "GET, HEAD")
			x.problem(w, http.StatusMethodNotAllowed, "Read only", "Nothing can be changed here.")
			return
		}
		if x.Token != "" && r.URL.Path != "/style.css" && !x.admitted(w, r) {
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (x *site) knownHost(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.ToLower(strings.Trim(host, "[]"))
	for _, ok := range append([]string{"localhost", "127.0.0.1", "::1"}, x.Hosts...) {
		if host == strings.ToLower(ok) {
			return true
		}
	}
	return false
}

// admitted checks the token: once in the address, from then on in a cookie.
func (x *site) admitted(w http.ResponseWriter, r *http.Request) bool {
	if given := r.URL.Query().Get("token"); given != "" && same(given, x.Token) {
		http.SetCookie(w, &http.Cookie{Name: tokenCookie, Value: x.Token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
		q := r.URL.Query()
		q.Del("token")
		// One slash: a path of two would name another host.
		to := url.URL{Path: "/" + strings.TrimLeft(r.URL.Path, `/\`), RawQuery: q.Encode()}
		http.Redirect(w, r, to.RequestURI(), http.StatusSeeOther)
		return false
	}
	if c, err := r.Cookie(tokenCookie); err == nil && same(c.Value, x.Token) {
		return true
	}
	x.render(w, http.StatusUnauthorized, "login", page{Title: "Token"})
	return false
}

// same compares without telling by its time how much was right.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// page is what every page's frame needs.
type page struct {
	Title, Foot string
}

func (x *site) render(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := x.pages.ExecuteTemplate(&b, name, data); err != nil {
		x.Log.Error("page", "name", name, "err", err)
		http.Error(w, "This page can't be shown; the program's log says why.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = b.WriteTo(w) // the visitor may have left
}

func (x *site) problem(w http.ResponseWriter, status int, title, text string) {
	x.render(w, status, "problem", struct {
		page
		Text string
	}{page{Title: title}, text})
}

// failed answers for an error.
func (x *site) failed(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case errors.Is(err, ErrNoJob):
		x.problem(w, http.StatusNotFound, "No such job", "There is no job of that name in the index.")
	case errors.Is(err, fs.ErrNotExist):
		x.problem(w, http.StatusNotFound, "Not here", "The index knows this, but its file is not on this machine any more.")
	case errors.Is(err, errSound):
		x.Log.Warn("request", "path", r.URL.Path, "err", err)
		x.problem(w, http.StatusConflict, "Recording altered", "This is not the recording that the job's log tells of, so it is not played.")
	case errors.Is(err, context.Canceled):
	default:
		x.Log.Error("request", "path", r.URL.Path, "err", err)
		x.problem(w, http.StatusInternalServerError, "That did not work", "The index could not be read; the program's log says why.")
	}
}

type askable struct {
	Question Question
	Words    string
}

// filtered is what a page with filters needs.
type filtered struct {
	page
	Filter       Filter
	Since, Until string
	Filtered     bool
	Questions    []askable
}

// maxAsked bounds one thing that is looked for, in bytes; SQLite itself takes
// patterns of 50,000.
const maxAsked = 1000

// filters reads what a visitor asks for.
func filters(r *http.Request, title string) (filtered, error) {
	q := r.URL.Query()
	f := filtered{page: page{Title: title}}
	for name := range q {
		if len(q.Get(name)) > maxAsked {
			return f, fmt.Errorf("review: %.20q is longer than %d bytes", name, maxAsked)
		}
	}
	f.Filter = Filter{Technician: q.Get("technician"), Unit: q.Get("unit"), Verdict: q.Get("verdict"), Search: q.Get("q"),
		Question: Question(q.Get("question")), After: q.Get("after")}
	for _, question := range Questions() {
		f.Questions = append(f.Questions, askable{question, question.words()})
	}
	for name, into := range map[string]struct {
		text *string
		at   *time.Time
	}{"since": {&f.Since, &f.Filter.Since}, "until": {&f.Until, &f.Filter.Until}} {
		*into.text = q.Get(name)
		if *into.text == "" {
			continue
		}
		at, err := time.Parse(time.DateOnly, *into.text)
		if err != nil {
			return f, fmt.Errorf("review: %s: %q is no date such as 2026-03-31", name, *into.text)
		}
		*into.at = at
	}
	if f.Filter.Question != "" {
		if _, err := answersTo(f.Filter.Question, Limits{}); err != nil {
			return f, err
		}
	}
	for name := range q {
		f.Filtered = f.Filtered || q.Get(name) != ""
	}
	return f, nil
}

func (x *site) list(w http.ResponseWriter, r *http.Request) {
	f, err := filters(r, "Jobs")
	if err != nil {
		x.problem(w, http.StatusBadRequest, "Not understood", strings.TrimPrefix(err.Error(), "review: "))
		return
	}
	data := struct {
		filtered
		Rows    []Row
		Answers map[string][]Answer
		Bad     []string
		Next    string
	}{filtered: f, Answers: map[string][]Answer{}}
	f.Filter.Limit = pageSize
	if data.Rows, err = x.Store.Jobs(r.Context(), f.Filter, x.Limits); err != nil {
		x.failed(w, r, err)
		return
	}
	if len(data.Rows) == pageSize {
		q := r.URL.Query()
		q.Set("after", data.Rows[pageSize-1].Job)
		data.Next = "/?" + q.Encode()
	}
	if f.Filter.Question != "" && len(data.Rows) > 0 {
		// The answers of the jobs on this page, and of no others.
		g := f.Filter
		g.Limit, g.After = 0, ""
		g.Since, g.Until = data.Rows[len(data.Rows)-1].Opened, data.Rows[0].Opened.Add(time.Microsecond)
		err = x.Store.Ask(r.Context(), f.Filter.Question, g, x.Limits, func(a Answer) error {
			if a.Job != "" && len(data.Answers[a.Job]) < 20 {
				data.Answers[a.Job] = append(data.Answers[a.Job], a)
			}
			return nil
		})
	}
	if err == nil && (f.Filter.Question == "" || f.Filter.Question == Damaged) {
		err = x.Store.Ask(r.Context(), Damaged, Filter{Limit: 5}, x.Limits, func(a Answer) error {
			data.Bad = append(data.Bad, "Record damaged: "+strings.TrimPrefix(a.Job+", ", ", ")+a.What)
			return nil
		})
	}
	if err != nil {
		x.failed(w, r, err)
		return
	}
	x.render(w, http.StatusOK, "list", data)
}

func (x *site) call(w http.ResponseWriter, r *http.Request) {
	c, err := readCall(r.Context(), x.Store, x.Words, r.PathValue("job"))
	if err != nil {
		x.failed(w, r, err)
		return
	}
	x.render(w, http.StatusOK, "call", struct {
		page
		Call  *call
		Sound bool
	}{page{Title: "Job " + c.Job}, c, c.Source == x.Source})
}

func (x *site) report(w http.ResponseWriter, r *http.Request) {
	c, err := readCall(r.Context(), x.Store, x.Words, r.PathValue("job"))
	if err != nil {
		x.failed(w, r, err)
		return
	}
	var b bytes.Buffer
	if err := writeReport(&b, x.pages, c); err != nil {
		x.failed(w, r, err)
		return
	}
	// The page carries its own, stricter policy, which names its style by hash.
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = b.WriteTo(w)
}

// audio plays the recording of one utterance, if it is still as it was written.
func (x *site) audio(w http.ResponseWriter, r *http.Request) {
	row, err := x.Store.Job(r.Context(), r.PathValue("job"))
	if err == nil && row.Source != x.Source {
		err = fs.ErrNotExist
	}
	seq, perr := strconv.ParseUint(r.PathValue("seq"), 10, 64)
	if err == nil && perr != nil {
		err = fs.ErrNotExist
	}
	if err != nil {
		x.failed(w, r, err)
		return
	}
	h, err := recording(row.Path, seq)
	if err != nil {
		x.failed(w, r, err)
		return
	}
	kinds := map[string]string{".wav": "audio/wav", ".flac": "audio/flac", ".ogg": "audio/ogg", ".opus": "audio/ogg"}
	kind, ok := kinds[strings.ToLower(filepath.Ext(h.Audio))]
	if !ok {
		x.failed(w, r, fs.ErrNotExist)
		return
	}
	sound, err := soundOf(row.Path, h)
	if err != nil {
		x.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", kind)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(sound))
}

// recording finds the entry of an utterance that was kept. The log's format
// keeps the name of a recording from leading out of its folder.
func recording(dir string, seq uint64) (joblog.Heard, error) {
	for e, err := range joblog.Entries(dir) {
		if err != nil {
			return joblog.Heard{}, err
		}
		if e.Seq != seq {
			continue
		}
		body, err := joblog.Decode(e)
		if err != nil {
			return joblog.Heard{}, err
		}
		if h, ok := body.(joblog.Heard); ok && h.Audio != "" {
			return h, nil
		}
		break
	}
	return joblog.Heard{}, fs.ErrNotExist
}

// maxSound bounds one recording, in bytes: half an hour of 16 bits at 16 kHz.
const maxSound = 64 << 20

// errSound is of a recording that is not the one that the log tells of.
var errSound = errors.New("review: the recording was altered")

// soundOf reads a recording and checks it against the log's sum of it.
func soundOf(dir string, h joblog.Heard) ([]byte, error) {
	f, err := joblog.OpenIn(dir, filepath.Join(joblog.AudioDir, h.Audio))
	if errors.Is(err, joblog.ErrNotRegular) {
		return nil, fmt.Errorf("%w: %w", errSound, err)
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	sound, err := io.ReadAll(io.LimitReader(f, maxSound))
	if err != nil {
		return nil, err
	}
	if sum := joblog.Hash(sha256.Sum256(sound)); sum.String() != h.AudioSHA256 {
		return nil, fmt.Errorf("%w: %s in %s", errSound, h.Audio, dir)
	}
	return sound, nil
}

type bars struct {
	Title  string
	Bars   []bar
	Height float64
}

func newBars(title string, b []bar) bars { return bars{title, b, barStep * float64(max(len(b), 1))} }

// maxBars bounds a picture; the CSV export has all.
const maxBars = 60

func (x *site) fleet(w http.ResponseWriter, r *http.Request) {
	f, err := filters(r, "Fleet")
	if err != nil {
		x.problem(w, http.StatusBadRequest, "Not understood", strings.TrimPrefix(err.Error(), "review: "))
		return
	}
	f.Filter.After = ""
	fleet, err := x.Store.Fleet(r.Context(), f.Filter, x.Limits)
	if err != nil {
		x.failed(w, r, err)
		return
	}
	months, legend := causeBars(fleet.Months)
	if len(months) > maxBars {
		months = months[len(months)-maxBars:]
		for i := range months {
			months[i].Y = barStep * float64(i)
		}
	}
	who := fleet.Technicians
	if len(who) > maxBars {
		f.Foot = fmt.Sprintf("The first %d of %d technicians' codes are drawn.", maxBars, len(who))
		who = who[:maxBars]
	}
	x.render(w, http.StatusOK, "fleet", struct {
		filtered
		Fleet                    Fleet
		Causes, Minutes, AskBack bars
		Legend                   []line
	}{f, fleet, newBars("Verdicts by month", months),
		newBars("Mean minutes a call, by technician", technicianBars(who, 0, func(t Technician) float64 { return t.Minutes }, "%.0f")),
		newBars("Share of callouts asked back, in percent", technicianBars(who, 1, func(t Technician) float64 { return 100 * t.AskBackRate() }, "%.1f%%")),
		legend})
}
