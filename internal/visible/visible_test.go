package visible

import (
	"bytes"
	"encoding/json"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestText(t *testing.T) {
	for in, want := range map[string]string{
		"":                          "",
		"38.2 µF, −72% · größer":    "38.2 µF, −72% · größer",
		"\x1b]0;title\a":            `\u001b]0;title\u0007`, // sets a terminal's title
		"\x1b[2J":                   `\u001b[2J`,
		"a\nb\tc\rd":                `a\u000ab\u0009c\u000dd`,
		"\u009b31m":                 `\u009b31m`, // a C1 control
		"\x9b31m":                   `\x9b31m`,   // the same as one byte, as some terminals take it
		"safe\u202ekcatta":          `safe\u202ekcatta`,
		"\u2066x\u2069":             `\u2066x\u2069`,
		"a\u2028b":                  `a\u2028b`,
		"\U000e0041":                `\udb40\udc41`, // an invisible tag
		"\x7f":                      `\u007f`,
		"half a rune \xe2\x82":      `half a rune \xe2\x82`,
		"the replacement \ufffd is": "the replacement \ufffd is",
	} {
		assert.Equal(t, want, Text(in))
	}
}

func TestWriterKeepsLinesAndJSON(t *testing.T) {
	var b bytes.Buffer
	w := Writer(&b)
	n, err := w.Write([]byte("a\x1b\tb\nc\r\n"))
	require.NoError(t, err)
	assert.Equal(t, 8, n)
	assert.Equal(t, "a\\u001b\tb\nc\\u000d\n", b.String())
	b.Reset()
	said := "a\x1b\u202e\u009b\x7f\U000e0041\u2028z"
	require.NoError(t, json.NewEncoder(w).Encode(said))
	var back string
	require.NoError(t, json.Unmarshal(b.Bytes(), &back), b.String())
	assert.Equal(t, said, back)
	assert.Equal(t, &b, Under(w))
	assert.Equal(t, &b, Under(&b))
}

func FuzzText(f *testing.F) {
	f.Add("\x1b[31m\u202e\x9b")
	f.Fuzz(func(t *testing.T, s string) {
		got := Text(s)
		if !utf8.ValidString(got) {
			t.Fatalf("%q is no UTF-8", got)
		}
		for _, r := range got {
			if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
				t.Fatalf("%q holds %U", got, r)
			}
		}
	})
}
