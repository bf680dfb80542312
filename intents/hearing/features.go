package hearing

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Features are the names of what tells whether the best meaning is right. Of how well the
// best text for it fits the sound:
//
//	gap      nats by which it lies behind the free text; -2 to 16
//	worth    its log-likelihood, a word; -4 to 0
//	alike    how alike its letters and those of the free text are, 0 to 1
//	numbers  1 if the free text has the same numbers
//	silence  probability that nobody speaks
//
// and of the text itself:
//
//	bare     1 if it has no number
//	single   1 if it is one word
//	talk     1 if no text of the language has the meaning
//	over     of talk, how many of its words are in nothing that was understood; 0 to 8
//	least    of talk, the log-likelihood of its least likely word; -3 to 0
//
// of the other meanings, and the noise:
//
//	share    the log-odds of Share, -8 to 8
//	noise    tens of dB, see audio.Noise; 0 to 2
//	lead     noise times the tens of nats that the nearest rival lies behind, 0 to 2: the
//	         louder it is the less a lead tells
func Features() []string {
	return append(slices.Clone(perEar), "bare", "single", "talk", "over", "least", "share", "noise", "lead")
}

// PairFeatures are the same where two recognisers heard the sound: for the second they have
// a 2 behind them, and there are besides
//
//	first    1 if the meaning is the likeliest to the first
//	second   1 if it is to the second
//	nearest  alike, of the recogniser where it is higher
//	both     of talk, 1 if both wrote freely what means the same
func PairFeatures() []string {
	names := Features()
	for _, name := range perEar {
		names = append(names, name+"2")
	}
	return append(names, "first", "second", "nearest", "both")
}

// TalkFeatures are those of both that are nought unless the best text is talk.
func TalkFeatures() []string { return []string{"talk", "over", "least", "both"} }

var perEar = []string{"gap", "worth", "alike", "numbers", "silence"}

// features tell how well the text for a meaning fits the sound, to each recogniser.
func features(best candidate, heard []meanings) map[string]float64 {
	f := map[string]float64{
		"bare":   flag(!written.MatchString(best.text)),
		"single": flag(length(best.text) == 1),
		"talk":   flag(best.free),
	}
	if best.free {
		f["over"] = min(8, float64(best.over))
		f["least"] = max(-3, math.Log(max(1e-9, certainty(best.words))))
	}
	for i, m := range heard {
		ear := ""
		if i > 0 {
			ear = strconv.Itoa(i + 1)
		}
		f["gap"+ear], f["worth"+ear] = 16, -4
		if c, ok := m.text(best.mean); ok {
			f["gap"+ear] = max(-2, min(16, m.free.log-c.log))
			f["worth"+ear] = max(-4, c.log/float64(max(1, length(c.text))))
		}
		f["alike"+ear] = likeness(m.free.text, best.text)
		f["numbers"+ear] = flag(slices.Equal(written.FindAllString(m.free.text, -1), written.FindAllString(best.text, -1)))
		f["silence"+ear] = m.quiet
	}
	if len(heard) > 1 {
		f["first"], f["second"] = flag(heard[0].likeliest(best.mean)), flag(heard[1].likeliest(best.mean))
		f["both"] = flag(best.free && heard[0].free.mean == best.mean && heard[1].free.mean == best.mean)
		f["nearest"] = max(f["alike"], f["alike2"])
	}
	return f
}

// among adds the features that hang on the rivals and on the noise, in dB.
func (w Weights) among(e *Evidence, noise float64) {
	const most = 8 // of the log-odds: a share of 0.9997
	share := w.Share(*e)
	lead := 2.0
	if len(e.Rivals) > 0 {
		lead = min(lead, e.Rivals[0].Behind/10)
	}
	e.Features["share"] = max(-most, min(most, math.Log(share/(1-share))))
	e.Features["noise"] = noise / 10
	e.Features["lead"] = noise / 10 * lead
}

// likeliest reports whether no meaning is likelier than this one.
func (m meanings) likeliest(mean string) bool {
	s := m.of(mean)
	if len(m.order) > 0 && m.sums[m.order[0]] > s {
		return false
	}
	for _, c := range m.added {
		if c.score > s {
			return false
		}
	}
	return true
}

var written = regexp.MustCompile(`\d+(\.\d+)?`)

var notLetter = regexp.MustCompile(`[^a-z0-9.]+`)

// likeness is 1 for texts of the same letters and numbers, 0 for texts that share nothing:
// one less the edits from one to the other, over the length of the longer.
func likeness(a, b string) float64 {
	a = strings.TrimRight(notLetter.ReplaceAllString(strings.ToLower(a), ""), ".")
	b = strings.TrimRight(notLetter.ReplaceAllString(strings.ToLower(b), ""), ".")
	return 1 - float64(edits(a, b))/float64(max(1, len(a), len(b)))
}

// edits is the least number of bytes to change, add or drop (Levenshtein).
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
