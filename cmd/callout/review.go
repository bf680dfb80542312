package main

import (
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"callout/catalogue"
	"callout/review"
)

// newReview mounts the supervisor's command. The catalogue is embedded and
// checked by tests; if it is broken all the same, the command says so.
func newReview() *cobra.Command {
	words, err := catalogue.Load()
	if err != nil {
		return &cobra.Command{Use: "review", RunE: func(*cobra.Command, []string) error { return err }}
	}
	return review.NewCommand(review.Options{Words: words, Limits: review.DefaultLimits(), Log: slog.New(slog.NewTextHandler(os.Stderr, nil)),
		Heads: func(cmd *cobra.Command) (string, error) {
			s, err := loadSettings(cmd.Flags())
			return s.Heads, err
		}})
}
