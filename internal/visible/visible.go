// Package visible shows text of others harmlessly: a terminal obeys control
// characters, and what was spoken, typed or logged elsewhere may hold them.
package visible

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// Text is s with everything that a terminal would obey rather than show written
// as an escape, as JSON writes it: control characters, line ends, those that
// turn the direction of writing, and bytes that are no UTF-8. It fits in a line.
func Text(s string) string { return escaped(s, "") }

// escaped leaves the characters in keep as they are.
func escaped(s, keep string) string {
	clean := func(r rune, size int) bool {
		return !(r == utf8.RuneError && size == 1) && !obeyed(r) || strings.ContainsRune(keep, r)
	}
	for i := 0; ; {
		if i == len(s) {
			return s
		}
		r, size := utf8.DecodeRuneInString(s[i:])
		if !clean(r, size) {
			break
		}
		i += size
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		switch {
		case clean(r, size):
			b.WriteString(s[i : i+size])
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case r > 0xffff:
			hi, lo := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, hi, lo)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
		i += size
	}
	return b.String()
}

// obeyed is whether a terminal does something at r other than show it: controls
// (C0, C1), invisible formatting (which has the controls of direction), and the
// separators of lines and paragraphs.
func obeyed(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp)
}

// Writer writes lines of text to w, and JSON as JSON: as Text, but that line
// ends and tabs stay. A character must come in one Write.
func Writer(w io.Writer) io.Writer { return writer{w} }

type writer struct{ w io.Writer }

func (v writer) Write(p []byte) (int, error) {
	if _, err := io.WriteString(v.w, escaped(string(p), "\n\t")); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Under is what a Writer writes to, or w itself: for a screen, which draws with
// control characters of its own.
func Under(w io.Writer) io.Writer {
	if v, ok := w.(writer); ok {
		return v.w
	}
	return w
}
