// Command callout listens to a technician at a heat pump or air conditioner,
// diagnoses, answers, and keeps the job log.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"callout/joblog"
)

// Exit codes.
const (
	exitOK      = 0
	exitFailed  = 1
	exitUsage   = 2
	exitDamaged = 3 // a job log is torn or altered
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program, with everything that it touches passed in.
func run(ctx context.Context, args []string, in io.Reader, out, complain io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(complain)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitOK
	}
	fmt.Fprintln(complain, "callout:", err)
	var usage usageError
	var damage *joblog.Damage
	switch {
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &damage), errors.Is(err, errNotWhole):
		return exitDamaged
	}
	return exitFailed
}

// usageError marks a mistake on the command line.
type usageError struct{ error }

func (u usageError) Unwrap() error { return u.error }
