package review

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"net/url"
	"strconv"
	"time"

	"callout/catalogue"
)

//go:embed templates/*.html static/style.css
var files embed.FS

// loadPages parses the templates.
func loadPages() (*template.Template, error) {
	t, err := template.New("").Funcs(template.FuncMap{
		"plain":         plain,
		"questionWords": Question.words,
		"time":          func(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") },
		"callURL":       func(job string) string { return "/call/" + url.PathEscape(job) },
		"reportURL":     func(job string) string { return "/call/" + url.PathEscape(job) + "/report" },
		"audioURL": func(job string, seq uint64) string {
			return "/call/" + url.PathEscape(job) + "/audio/" + strconv.FormatUint(seq, 10)
		},
	}).ParseFS(files, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("review: templates: %w", err)
	}
	return t, nil
}

// words is a question as a heading.
func (q Question) words() string {
	switch q {
	case Safety:
		return "Safety order broken"
	case Unproved:
		return "Part replaced without its proof"
	case Overturned:
		return "Verdict overturned"
	case Corrected:
		return "Values corrected or asked back often"
	case Long:
		return "Long call"
	case Returns:
		return "Return to the same unit"
	case Condemned:
		return "Compressor condemned"
	case Damaged:
		return "Record damaged"
	}
	return string(q)
}

// WriteReport writes the report of one job for the customer's file: one HTML
// page that needs nothing else, and prints to paper or PDF from any browser.
func (s *Store) WriteReport(ctx context.Context, w io.Writer, words *catalogue.Catalogue, job string) error {
	pages, err := loadPages()
	if err != nil {
		return err
	}
	c, err := readCall(ctx, s, words, job)
	if err != nil {
		return err
	}
	return writeReport(w, pages, c)
}

func writeReport(w io.Writer, pages *template.Template, c *call) error {
	style, err := files.ReadFile("static/style.css")
	if err != nil {
		return fmt.Errorf("review: report: %w", err)
	}
	sum := sha256.Sum256(style)
	err = pages.ExecuteTemplate(w, "report", struct {
		Call      *call
		Style     template.CSS // our own file
		StyleHash string
	}{c, template.CSS(style), "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"})
	if err != nil {
		return fmt.Errorf("review: report of %s: %w", c.Job, err)
	}
	return nil
}
