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
	"callout/intents/hearing"
	"callout/session"
)

// heard is what one model, and a second one where it was unsure, made of the clips.
type heard struct {
	name   string // of the model
	engine string // what a job log would name
	ear    *hearing.Ear
	clips  []hearing.Heard
	took   []time.Duration // from each clip's end to the decision's beginning
	after  []time.Duration // of that, what is not the recognisers'
	paired bool            // there is a second model
	asked  int             // clips that the second heard

	words, wrong, primed int // of people's recordings
}

// hear lets a model, and the second, hear the clips, or takes what they made of them before.
func hear(ctx context.Context, o options, k *session.Knowledge, list []clip, models string) (*heard, error) {
	model, secondModel, _ := strings.Cut(models, ",")
	engine, err := whisper.Open(model, whisper.Options{Threads: o.threads})
	if err != nil {
		return nil, err
	}
	defer engine.Close()
	out := &heard{name: strings.TrimSuffix(strings.TrimPrefix(filepath.Base(model), "ggml-"), ".bin"), engine: engine.Engine()}
	probe, err := hearing.NewEar(engine, k.Parser)
	if err != nil {
		return nil, err
	}
	hints := func() audio.Hints {
		if o.unprimed {
			c := probe.Calibration()
			c.Primed = false
			probe.Calibrate(c)
		}
		return probe.Hints()
	}()
	recognisers := []*kept{keep(o, engine, hints, k.Parser)}
	if out.ear, err = hearing.NewEar(recognisers[0], k.Parser); err != nil {
		return nil, err
	}
	out.ear.Calibrate(probe.Calibration())
	if secondModel != "" {
		other, err := whisper.Open(secondModel, whisper.Options{Threads: o.threads})
		if err != nil {
			return nil, err
		}
		defer other.Close()
		out.engine, out.paired = out.engine+"; where unsure "+other.Engine(), true
		recognisers = append(recognisers, keep(o, other, hints, k.Parser))
		out.ear.Second(recognisers[1])
	}
	for _, c := range list {
		h, took, after, err := out.one(ctx, o, c, recognisers)
		if err != nil {
			return nil, fmt.Errorf("clip %s: %w", c.ID, err)
		}
		out.clips, out.took, out.after = append(out.clips, h), append(out.took, took), append(out.after, after)
		if h.Trace.Second != nil {
			out.asked++
		}
	}
	if o.baseline {
		if out.words, out.wrong, err = wordsWrong(ctx, engine, audio.Hints{}); err != nil {
			return nil, err
		}
		if _, out.primed, err = wordsWrong(ctx, engine, hints); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// one hears a clip, with both recognisers where weights are to be fitted.
func (h *heard) one(ctx context.Context, o options, c clip, recognisers []*kept) (out hearing.Heard, took, after time.Duration, err error) {
	sound, err := c.heard(ctx, o.through)
	if err != nil {
		return out, 0, 0, err
	}
	for _, k := range recognisers {
		k.spent, k.waits = 0, 0
	}
	begun := time.Now()
	if o.fit {
		out.Trace, err = h.ear.All(ctx, sound)
	} else {
		out, err = h.ear.Hear(ctx, sound, begun)
	}
	after = time.Since(begun)
	for _, k := range recognisers {
		took, after = took+k.spent, after-k.waits
	}
	out.Sound = nil // a thousand clips would fill the memory
	return out, took + after, after, err
}

// why is evidence in a line: its features, and its rivals with the nats that they lie behind.
func why(e hearing.Evidence) string {
	var b strings.Builder
	for _, name := range hearing.PairFeatures() {
		if v, ok := e.Features[name]; ok {
			fmt.Fprintf(&b, "%s %.2g ", name, v)
		}
	}
	for _, r := range e.Rivals[:min(3, len(e.Rivals))] {
		fmt.Fprintf(&b, "| %.1f %s ", r.Behind, strings.Join(keysOf(r.Items), ", "))
	}
	return b.String()
}

func secondText(t hearing.Trace) string {
	if t.Second == nil {
		return ""
	}
	return t.Second.Text
}

// milliseconds is a duration for the tables.
func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

func judge(k *session.Knowledge, t *table, c clip, u session.Utterance, p session.Policy) (outcome, error) {
	j, err := session.Judge(k, p, u)
	if err != nil {
		return "", err
	}
	o := outcomeOf(c, j)
	t.add(c, o)
	return o, nil
}

func report(ctx context.Context, o options, k *session.Knowledge, list []clip, all []*heard) error {
	var tables, baselines []*table
	var times, where strings.Builder
	for _, h := range all {
		ours, free := newTable("callout, "+h.name), newTable(h.name+", free text, same parser")
		lost := losses{}
		var took, whole []float64
		for i, c := range list {
			x := h.clips[i]
			begun := time.Now()
			last, err := judge(k, ours, c, session.FromEar(x), o.policy)
			if err != nil {
				return err
			}
			judged := time.Since(begun)
			e, ok := h.ear.Evidence(x.Trace)
			lost.add(c, ok, e, last)
			if o.list && last != right {
				fmt.Printf("%s\t%s\t%s\t%s\t%q heard as %q, certainty %.2f; alone %q, second %q; %s\n", h.name, last, c.ID, c.Voice, c.Text, x.Text, x.Certainty, x.Trace.First.Text, secondText(x.Trace), why(e))
			}
			took = append(took, milliseconds(h.after[i]+judged))
			whole = append(whole, milliseconds(h.took[i]+judged))
			if _, err := judge(k, free, c, session.Utterance{Text: x.Trace.First.Text, Certainty: 1}, session.Policy{}); err != nil {
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
			ask = hearing.AskBelow(h.engine)
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
