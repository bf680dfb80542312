//go:build whisper && cgo

package whisper

import (
	"regexp"
	"strings"

	"callout/audio"
)

// words joins tokens into words: a token that begins with a space begins a word. Words
// that only mark sound, such as [BLANK_AUDIO] or (wind), are left out.
func words(tokens []token) []audio.Word {
	var ws []audio.Word
	for _, t := range tokens {
		if len(ws) == 0 || strings.HasPrefix(t.text, " ") {
			ws = append(ws, audio.Word{})
		}
		w := &ws[len(ws)-1]
		w.Text += t.text
		w.LogProb += t.log
	}
	return unmarked(ws)
}

// mark finds text in brackets, stars or notes, which Whisper writes for what is no speech.
var mark = regexp.MustCompile(`\[[^\]]*\]|\([^)]*\)|\*[^*]*\*|[♪♫]+`)

func unmarked(ws []audio.Word) []audio.Word {
	var text strings.Builder
	starts := make([]int, len(ws))
	for i, w := range ws {
		starts[i] = text.Len()
		text.WriteString(w.Text)
	}
	var kept []audio.Word
	marks := mark.FindAllStringIndex(text.String(), -1)
	for i, w := range ws {
		end := starts[i] + len(w.Text)
		inside := false
		for _, m := range marks {
			inside = inside || (starts[i] < m[1] && end > m[0])
		}
		if w.Text = strings.ToValidUTF8(strings.TrimSpace(w.Text), "\uFFFD"); w.Text != "" && !inside {
			kept = append(kept, w)
		}
	}
	return kept
}

func join(ws []audio.Word) string {
	texts := make([]string, len(ws))
	for i, w := range ws {
		texts[i] = w.Text
	}
	return strings.Join(texts, " ")
}
