package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"callout/joblog"
	"callout/session"
)

// jsonView writes events, one JSON object a line.
type jsonView struct {
	know *session.Knowledge
	enc  *json.Encoder
}

func newJSONView(k *session.Knowledge, out io.Writer) *jsonView {
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	return &jsonView{know: k, enc: enc}
}

func (v *jsonView) Show(_ context.Context, r session.Record) error {
	for _, e := range v.know.Events(r) {
		if err := v.enc.Encode(e); err != nil {
			return fmt.Errorf("writing events: %w", err)
		}
	}
	return nil
}

// plainView writes what a person beside the technician wants to read.
type plainView struct{ out io.Writer }

func (v plainView) Show(_ context.Context, r session.Record) error {
	var who, text string
	switch b := r.Body.(type) {
	case joblog.Heard:
		who, text = "heard", b.Text
		if text == "" {
			text = "(nothing)"
		}
	case joblog.Callout:
		if b.Decision != joblog.Ignored {
			return nil
		}
		who, text = "", "(left alone: "+b.Because+")"
	case joblog.Said:
		who, text = "says", b.Text
		if b.Way == joblog.Shown {
			who = "shows"
		}
	default:
		return nil
	}
	at := r.At.Local().Format("15:04:05")
	if _, err := fmt.Fprintf(v.out, "%s  %-5s  %s\n", at, who, wrap(text, 92, strings.Repeat(" ", 17))); err != nil {
		return fmt.Errorf("writing: %w", err)
	}
	return nil
}

// wrap breaks text at spaces so that no line is wider than width, with indent
// before the lines after the first.
func wrap(text string, width int, indent string) string {
	var out strings.Builder
	column := 0
	for _, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case column == 0:
		case column+1+n > width:
			out.WriteString("\n" + indent)
			column = 0
		default:
			out.WriteByte(' ')
			column++
		}
		out.WriteString(word)
		column += n
	}
	return out.String()
}
