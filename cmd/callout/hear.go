package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"callout/catalogue"
	"callout/joblog"
	"callout/session"
)

func newHear() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "hear CLIP.wav…",
		Short: "Recognise recordings: what each says, and what would be done with it",
		Long: `Recognise recordings, each on its own, and say what would be done with it:
recorded, asked back, or ignored. A folder stands for the WAV files in it. Any
sample rate and any number of channels will do.

With --json, one JSON object a clip; "ms" is the time from the clip's end to the
decision.`,
		Args: exactly(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			paths, err := clipPaths(args)
			if err != nil {
				return err
			}
			h, err := openHearing(s)
			if err != nil {
				return err
			}
			defer h.engine.Close()
			var errs []error
			for _, path := range paths {
				heard, err := h.clip(cmd.Context(), path)
				if cmd.Context().Err() != nil {
					return cmd.Context().Err()
				}
				if err != nil {
					errs = append(errs, err)
					continue
				}
				if err := heard.write(cmd.OutOrStdout(), h.know, asJSON); err != nil {
					return err
				}
			}
			return errors.Join(errs...)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write one JSON object a clip")
	return cmd
}

// heardClip is one line of `callout hear --json`.
type heardClip struct {
	Clip         string                    `json:"clip"`
	Action       joblog.Decision           `json:"action"`
	Text         string                    `json:"text"`
	Readings     []joblog.Reading          `json:"readings"`
	Observations []joblog.Observation      `json:"observations"`
	Declarations []catalogue.DeclarationID `json:"declarations"`
	Commands     []catalogue.Asked         `json:"commands"`
	Repairs      []catalogue.RepairID      `json:"repairs"`
	Notes        []string                  `json:"notes"`
	Question     string                    `json:"question"`
	Because      string                    `json:"because,omitempty"`
	Certainty    float64                   `json:"certainty"`
	MS           float64                   `json:"ms"`
}

// clip hears one recording.
func (h listening) clip(ctx context.Context, path string) (heardClip, error) {
	c := heardClip{Clip: path, Action: joblog.Ignored, Readings: []joblog.Reading{}, Observations: []joblog.Observation{},
		Declarations: []catalogue.DeclarationID{}, Commands: []catalogue.Asked{}, Repairs: []catalogue.RepairID{}, Notes: []string{}}
	parts, err := readClip(path)
	if err != nil {
		return c, err
	}
	for _, part := range parts {
		begin := time.Now()
		u, err := h.ear.Hear(ctx, part, begin)
		if err != nil {
			return c, fmt.Errorf("clip %s: %w", path, err)
		}
		j, err := session.Judge(h.know, h.settings.policy(), u)
		if err != nil {
			return c, err
		}
		c.add(u, j)
		c.MS = max(c.MS, float64(time.Since(begin).Microseconds())/1000)
	}
	return c, nil
}

// add joins one utterance of the clip. Anything asked makes the clip asked.
func (h *heardClip) add(u session.Utterance, j session.Judgement) {
	if h.Text != "" && u.Text != "" {
		h.Text += " "
	}
	h.Text += u.Text
	h.Certainty = u.Certainty
	h.Readings = append(h.Readings, j.Readings...)
	h.Observations = append(h.Observations, j.Observations...)
	h.Declarations = append(h.Declarations, j.Declarations...)
	h.Commands = append(h.Commands, j.Commands...)
	h.Repairs = append(h.Repairs, j.Repairs...)
	h.Notes = append(h.Notes, j.Notes...)
	if h.Question == "" {
		h.Question = j.Question
	}
	switch {
	case j.Action == joblog.Asked, j.Action == joblog.Recorded && h.Action == joblog.Ignored:
		h.Action, h.Because = j.Action, ""
	case h.Action == joblog.Ignored:
		h.Because = j.Because
	}
}

func (h heardClip) write(out io.Writer, k *session.Knowledge, asJSON bool) error {
	if asJSON {
		enc := json.NewEncoder(out)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(h); err != nil {
			return fmt.Errorf("writing: %w", err)
		}
		return nil
	}
	text := h.Text
	if text == "" {
		text = "(no words)"
	}
	_, err := fmt.Fprintf(out, "%s\n  heard     %s\n", h.Clip, text)
	line := func(what, text string) {
		if err == nil && text != "" {
			_, err = fmt.Fprintf(out, "  %-9s %s\n", what, text)
		}
	}
	for _, r := range h.Readings {
		line("recorded", k.Book.Reading(catalogue.Reading{Quantity: catalogue.QuantityID(r.Quantity), Place: catalogue.PlaceID(r.Place),
			Value: r.Value, Unit: catalogue.UnitID(r.Unit), Qualifier: catalogue.Qualifier(r.Qualifier)}))
	}
	for _, o := range h.Observations {
		line("recorded", k.Book.Observation(catalogue.Observation{Quantity: catalogue.QuantityID(o.Quantity), Place: catalogue.PlaceID(o.Place), Value: catalogue.ValueID(o.Value)}))
	}
	for _, id := range h.Declarations {
		d, _ := k.Catalogue.Declaration(id)
		line("recorded", d.Name)
	}
	for _, id := range h.Repairs {
		r, _ := k.Catalogue.Repair(id)
		line("recorded", "done: "+r.Name)
	}
	for _, a := range h.Commands {
		c, _ := k.Catalogue.Command(a.Command)
		line("command", c.Name)
	}
	for _, n := range h.Notes {
		line("note", n)
	}
	line("asks", h.Question)
	if h.Action == joblog.Ignored {
		line("ignored", h.Because)
	}
	return err
}
