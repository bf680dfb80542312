package main

import (
	"encoding/json"
	"os"

	"callout/audio"
	"callout/intents"
)

// candidate is one text that may have been said, and what it means.
type candidate struct {
	Text   string   `json:"text"`
	Log    float64  `json:"log"`
	Keys   []string `json:"keys"`
	Doubts int      `json:"doubts"`
}

type heardRow struct {
	Clip clip         `json:"clip"`
	Free candidate    `json:"free"`
	Fit  []candidate  `json:"fit"`
	No   float64      `json:"nospeech"`
	MS   float64      `json:"ms"`
	Word []audio.Word `json:"-"`
}

func candidateOf(p *intents.Parser, text string, log float64) candidate {
	r := p.Parse(text, intents.Context{})
	keys := keysOf(r.Items)
	if keys == nil {
		keys = []string{}
	}
	return candidate{text, log, keys, len(r.Doubts)}
}

func row(p *intents.Parser, c clip, t audio.Transcript) heardRow {
	h := heardRow{Clip: c, Free: candidateOf(p, t.Text, t.LogLikelihood), No: t.NoSpeech, MS: float64(t.Took.Microseconds()) / 1000}
	for _, f := range t.Fit {
		h.Fit = append(h.Fit, candidateOf(p, f.Text, f.LogLikelihood))
	}
	return h
}

func writeRows(path string, rows []heardRow) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	e := json.NewEncoder(f)
	for _, r := range rows {
		if err := e.Encode(r); err != nil {
			return err
		}
	}
	return f.Close()
}
