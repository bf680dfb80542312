package hearing

import (
	"slices"

	"callout/audio"
	"callout/intents"
)

// halfSure is the certainty of what nobody else vouches for: it is asked.
const halfSure = 0.5

// commitments are the items that people's safety or the record of the repair hangs on:
// declarations and repairs.
func commitments(list []intents.Item) (out []intents.Item) {
	for _, it := range list {
		if it.Declaration != "" || it.Repair != "" {
			out = append(out, it)
		}
	}
	return out
}

func commits(list []intents.Item) bool { return len(commitments(list)) > 0 }

// witnesses counts the recognisers that wrote freely what a text commits to, and those that
// found it in the language. Nothing is recorded without one of the first, and another.
func witnesses(x prior, heard []audio.Transcript, best candidate) (free, found int) {
	keys := distinct(commitments(best.items))
	says := func(text string) bool {
		own := distinct(x.parse(text).Items)
		return !slices.ContainsFunc(keys, func(k string) bool { return !slices.Contains(own, k) })
	}
	for _, t := range heard {
		if says(t.Text) {
			free++
		}
		if len(t.Fit) > 0 && says(t.Fit[0].Text) {
			found++
		}
	}
	return free, found
}

// leastAlike is how alike, of 0 to 1, a text of the language and what either recogniser
// wrote freely must be: below it, it is a few words of many, or bent from others.
const leastAlike = 0.5

// shared reports whether more than one witness has the meaning: of talk, a text of the
// language that lies near; of a text of the language, the letters of what one wrote
// freely. That both recognisers write the same words is no witness of what they mean, and
// talk is not yet understood surely enough to be recorded from its words alone: it is asked.
func shared(x prior, heard []audio.Transcript, best candidate) bool {
	if !best.free {
		return slices.ContainsFunc(heard, func(t audio.Transcript) bool { return likeness(t.Text, best.text) >= leastAlike })
	}
	return slices.ContainsFunc(heard, func(t audio.Transcript) bool {
		return slices.ContainsFunc(t.Fit, func(h audio.Hypothesis) bool {
			return h.LogLikelihood > logOf(t)-farFrom && meaning(x.parse(h.Text).Items) == best.mean
		})
	})
}

// notYet gives the free text that speaks of something without telling it as so, as of what
// is about to be done.
func notYet(x prior, heard []audio.Transcript) (audio.Transcript, bool) {
	for _, t := range heard {
		if r := x.parse(t.Text); len(r.Meant) > 0 && len(r.Items)+len(r.Doubts) == 0 {
			return t, true
		}
	}
	return audio.Transcript{}, false
}

// farFrom is how far, in nats, a text of the language lies behind the free one where it is
// a callout into which talk was bent.
const farFrom = 4

func farBehind(first audio.Transcript, best candidate) bool {
	return !best.free && best.log < logOf(first)-farFrom
}

// bent reports whether the best text is one of the language that is far from what was
// written freely, and that means something too.
func bent(x prior, first audio.Transcript, best candidate) bool {
	if !farBehind(first, best) {
		return false
	}
	r := x.parse(first.Text)
	return len(r.Doubts)+len(r.Named) > 0 || len(r.Items) > 0 && !x.pointless(r.Items)
}

// freely is what was written without the language: by the first that means anything in it.
// What is asked about anyway need not be sure to the last word.
func freely(x prior, heard []audio.Transcript) Heard {
	t := heard[0]
	for _, other := range heard {
		if r := x.parse(other.Text); len(r.Items)+len(r.Doubts)+len(r.Meant)+len(r.Named) > 0 {
			t = other
			break
		}
	}
	h := asWritten(t)
	if len(x.parse(t.Text).Items) == 0 {
		h.Certainty = typical(t.Words)
	}
	return h
}
