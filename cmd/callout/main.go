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

	"callout/internal/visible"
	"callout/joblog"
)

// Exit codes.
const (
	exitOK      = 0
	exitFailed  = 1
	exitUsage   = 2
	exitDamaged = 3 // a job log is torn or altered
)

func main() { os.Exit(program()) }

// program runs until it is done, or told to end: by Ctrl-C, by the system, or because
// the terminal went away.
func program() int {
	ends := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		ends = append(ends, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), ends...)
	defer stop()
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}

// run is the whole program, with everything that it touches passed in.
func run(ctx context.Context, args []string, in io.Reader, out, complain io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(in)
	out, complain = visible.Writer(out), visible.Writer(complain)
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
