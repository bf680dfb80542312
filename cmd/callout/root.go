package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

// release is the version of the program; CHANGELOG.md begins with it.
const release = "0.2.0"

// commit is set at build time.
var commit = "development"

// version names the program in job logs and to people.
func version() string { return release + " (" + commit + ")" }

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "callout",
		Short: "Voice partner for diagnosing heat pumps and air conditioners",
		Long: `callout listens to a technician who calls out what the meter says, works out
what is wrong, says the next test with its cautions, and keeps a job log.

It advises; it cannot see. Treat every part as live until it is declared dead
and proved dead. The unit's own literature, local code and your licence come
first.`,
		Version:       version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("there is no command %q; see callout --help", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return usageError{fmt.Errorf("%w; see %s --help", err, cmd.CommandPath())}
	})
	settingFlags(root.PersistentFlags())
	root.AddCommand(newHear(), newTyped(), newWork(), newLive(), newQuiet(), newReplay(), newReview(), newVerify(), newReady(), newCatalogue())
	return root
}

// exactly wraps cobra's argument checks so that they exit as usage errors.
func exactly(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			return usageError{fmt.Errorf("%w; see %s --help", err, cmd.CommandPath())}
		}
		return nil
	}
}
