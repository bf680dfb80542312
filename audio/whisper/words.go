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

const (
	loopTimes = 3 // so many times the same words in a row is no speech ...
	loopWords = 3 // ... when they are at least so many tokens
)

// repeats reports whether tokens end in a run of loopTimes equal runs of at least
// loopWords tokens, or of a long run said twice. Shorter repetition is speech: "no, no,
// no", "two two two".
func repeats(tokens []token) bool {
	n := len(tokens)
	for size := loopWords; 2*size <= n; size++ {
		times := loopTimes
		if size >= 2*loopWords {
			times = 2
		}
		for end := n; end > n-size && times*size <= end; end-- {
			if runs(tokens[:end], size, times) {
				return true
			}
		}
	}
	return false
}

// runs reports whether the last times runs of size tokens are equal.
func runs(tokens []token, size, times int) bool {
	last := tokens[len(tokens)-size:]
	for k := 2; k <= times; k++ {
		at := len(tokens) - k*size
		for i, t := range last {
			if tokens[at+i].id != t.id {
				return false
			}
		}
	}
	return true
}
