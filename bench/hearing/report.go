package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"callout/audio"
	"callout/audio/whisper"
	"callout/joblog"
	"callout/session"
)

// hearing is what one model made of the clips, and a second one where it was unsure.
type hearing struct {
	name        string // of the model
	engine      string // what a job log would name
	ear         *session.Ear
	transcripts []audio.Transcript
	again       []audio.Transcript // of the second; nil: there is none
	asked       int                // clips that it heard

	words, wrong, primed int // of people's recordings
}

// unsure reports whether the second recogniser was asked about a clip.
func (h *hearing) unsure(i int) bool { return h.again != nil && h.ear.Unsure(h.transcripts[i]) }

// hear lets a model, and the second, hear the clips, or takes what they made of them before.
func hear(ctx context.Context, o options, k *session.Knowledge, list []clip, models string) (*hearing, error) {
	model, secondModel, _ := strings.Cut(models, ",")
	engine, err := whisper.Open(model, whisper.Options{Threads: o.threads})
	if err != nil {
		return nil, err
	}
	defer engine.Close()
	out := &hearing{name: strings.TrimSuffix(strings.TrimPrefix(filepath.Base(model), "ggml-"), ".bin"), engine: engine.Engine(), transcripts: make([]audio.Transcript, len(list))}
	if out.ear, err = session.NewEar(engine, k.Parser); err != nil {
		return nil, err
	}
	if o.unprimed {
		c := out.ear.Calibration()
		c.Primed = false
		out.ear.Calibrate(c)
	}
	first := newHeard(o, engine, out.ear.Hints(), k.Parser)
	for i, c := range list {
		if out.transcripts[i], err = first.clip(ctx, c); err != nil {
			return nil, err
		}
	}
	if o.baseline {
		if out.words, out.wrong, err = wordsWrong(ctx, engine, audio.Hints{}); err != nil {
			return nil, err
		}
		if _, out.primed, err = wordsWrong(ctx, engine, out.ear.Hints()); err != nil {
			return nil, err
		}
	}
	if secondModel == "" {
		return out, nil
	}
	other, err := whisper.Open(secondModel, whisper.Options{Threads: o.threads})
	if err != nil {
		return nil, err
	}
	defer other.Close()
	out.engine += "; where unsure " + other.Engine()
	second := newHeard(o, other, out.ear.Hints(), k.Parser)
	out.again = make([]audio.Transcript, len(list))
	for i, c := range list {
		if !o.fit && !out.unsure(i) {
			continue
		}
		out.asked++
		t, again := &out.transcripts[i], &out.again[i]
		if *again, err = second.clip(ctx, c); err != nil {
			return nil, err
		}
		forFirst, forSecond := out.ear.Missing(*t, *again), out.ear.Missing(*again, *t)
		if err := second.scored(ctx, c, again, forSecond); err != nil {
			return nil, err
		}
		if err := first.scored(ctx, c, t, forFirst); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// why is evidence in a line: its features, and its rivals with the nats that they lie behind.
func why(e session.Evidence) string {
	var b strings.Builder
	for _, name := range session.PairFeatures() {
		if v, ok := e.Features[name]; ok {
			fmt.Fprintf(&b, "%s %.2g ", name, v)
		}
	}
	for _, r := range e.Rivals[:min(3, len(e.Rivals))] {
		fmt.Fprintf(&b, "| %.1f %s ", r.Behind, strings.Join(keysOf(r.Items), ", "))
	}
	return b.String()
}

func secondText(h *hearing, i int) string {
	if h.again == nil {
		return ""
	}
	return h.again[i].Text
}

func judge(k *session.Knowledge, t *table, c clip, u session.Utterance, p session.Policy) (outcome, error) {
	j, err := session.Judge(k, p, u)
	if err != nil {
		return "", err
	}
	o := outcomeOf(c, j)
	t.add(c, o)
	return o, nil
}

func report(ctx context.Context, o options, k *session.Knowledge, list []clip, all []*hearing) error {
	var tables, baselines []*table
	var times, where strings.Builder
	for _, h := range all {
		ours, free := newTable("callout, "+h.name), newTable(h.name+", free text, same parser")
		lost := losses{}
		var took, whole []float64
		for i, c := range list {
			begun := time.Now()
			u, heard := h.ear.Understand(h.transcripts[i]), h.transcripts[i].Took
			evidence := h.ear.Evidence
			if h.unsure(i) {
				u = h.ear.UnderstandBoth(h.transcripts[i], h.again[i])
				evidence = func(t audio.Transcript) (session.Evidence, bool) { return h.ear.EvidenceBoth(t, h.again[i]) }
				heard += h.again[i].Took
			}
			u.Source, u.Engine = joblog.Speech, h.engine
			last, err := judge(k, ours, c, u, o.policy)
			if err != nil {
				return err
			}
			after := time.Since(begun)
			e, ok := evidence(h.transcripts[i])
			lost.add(c, ok, e, last)
			if o.list && last != right {
				fmt.Printf("%s\t%s\t%s\t%s\t%q heard as %q, certainty %.2f; alone %q, second %q; %s\n", h.name, last, c.ID, c.Voice, c.Text, u.Text, u.Certainty, h.transcripts[i].Text, secondText(h, i), why(e))
			}
			took = append(took, float64(after.Microseconds())/1000)
			whole = append(whole, float64((heard+after).Microseconds())/1000)
			if _, err := judge(k, free, c, session.Utterance{Text: h.transcripts[i].Text, Certainty: 1}, session.Policy{}); err != nil {
				return err
			}
		}
		tables, baselines = append(tables, ours), append(baselines, free)
		lost.write(&where, h.name)
		fmt.Fprintf(&times, "\n%s: from the clip's end to the decision, %d threads: median %.0f ms, 95 of 100 under %.0f ms; of that after the recogniser: median %.1f ms; the second recogniser was asked in %d of %d clips\n",
			h.name, o.threads, quantile(whole, 0.5), quantile(whole, 0.95), quantile(took, 0.5), h.asked, len(list))
		if o.baseline {
			fmt.Fprintf(&times, "%s, people's recordings (connected digits, numbers, read speech), free text: %d of %d words right; primed for callouts: %d\n", h.name, h.words-h.wrong, h.words, h.words-h.primed)
		}
	}
	if o.baseline {
		tables = append(tables, baselines...)
	}
	if o.baseline && o.classic > 0 {
		classic, err := classicTable(ctx, o, k, list)
		if err != nil {
			return err
		}
		tables = append(tables, classic)
	}
	out := io.Writer(os.Stdout)
	if o.out != "" {
		f, err := os.Create(o.out)
		if err != nil {
			return err
		}
		defer f.Close()
		out = io.MultiWriter(os.Stdout, f)
	}
	if o.through != "" {
		fmt.Fprintf(out, "every sound through %q first\n", o.through)
	}
	fmt.Fprintf(out, "%s voices, %d texts, %d clips; ask safety back below %g, ignore below %g\n", o.set, o.n+o.n/2, len(list), o.policy.AskSafety, o.policy.Ignore)
	for _, h := range all {
		ask := o.policy.Ask
		if ask == 0 {
			ask = session.AskBelow(h.engine)
		}
		fmt.Fprintf(out, "\n%s: %s; ask back below %g\n", h.name, h.engine, ask)
	}
	write(out, tables)
	_, err := io.WriteString(out, lossHead+where.String()+times.String())
	return err
}

// classicTable is the classic recogniser's; it takes seconds a clip, and hears the first.
func classicTable(ctx context.Context, o options, k *session.Knowledge, list []clip) (*table, error) {
	classic := newTable("pocketsphinx, JSGF of the language, same parser")
	part := list[:min(len(list), o.classic)]
	texts, err := sphinx(ctx, k.Parser, part, clip.sound)
	if err != nil {
		return nil, err
	}
	for _, c := range part {
		if _, err := judge(k, classic, c, session.Utterance{Text: texts[c.ID], Certainty: 1}, session.Policy{}); err != nil {
			return nil, err
		}
	}
	return classic, nil
}
