package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"callout/audio"
	"callout/audio/device"
	"callout/audio/speech"
	"callout/session"
)

var errNotReady = errors.New("not everything is ready")

func newReady() *cobra.Command {
	return &cobra.Command{
		Use:   "ready",
		Short: "Tell whether everything is here, how to mend what isn't, and which settings hold",
		Args:  exactly(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			ok := writeChecks(cmd.OutOrStdout(), checks(s))
			if err := writeSettings(cmd.OutOrStdout(), s); err != nil {
				return err
			}
			if !ok {
				return errNotReady
			}
			return nil
		},
	}
}

// check is one line of `callout ready`.
type check struct {
	what, found string
	err         error
	optional    bool // missing, the job can still be done
}

func checks(s settings) []check {
	return []check{checkKnowledge(), checkEar(s), checkSecond(s), checkJobs(s), checkVoice(s), checkMicrophone(s), checkLoudspeaker()}
}

func checkKnowledge() check {
	k, err := session.LoadKnowledge()
	if err != nil {
		return check{what: "knowledge", err: err}
	}
	return check{what: "knowledge", found: fmt.Sprintf("%d quantities, %d faults, %d tests, version %.12s",
		len(k.Catalogue.Quantities), len(k.Engine.Faults()), len(k.Engine.Tests()), k.Engine.Version())}
}

func checkEar(s settings) check {
	engine, err := openEngine(s)
	if err != nil {
		return check{what: "recogniser", err: err}
	}
	return check{what: "recogniser", found: withAdapter(engine.Engine()), err: engine.Close()}
}

func withAdapter(engine string) string {
	adapter, _ := adapterIn(engine)
	return engine + "; adapter: " + adapter
}

func checkSecond(s settings) check {
	c := check{what: "second ear"}
	path, wanted, err := s.secondFile()
	if c.err = err; err != nil || !wanted {
		c.found = "none"
		return c
	}
	engine, err := openModel(s, path)
	if c.err = err; err != nil {
		return c
	}
	c.found, c.err = withAdapter(engine.Engine()), engine.Close()
	return c
}

// checkJobs writes a file where the job logs will be, for a folder that can be
// seen can still be full or read-only.
func checkJobs(s settings) check {
	c := check{what: "job logs", found: s.Jobs}
	if c.err = os.MkdirAll(s.Jobs, 0o700); c.err != nil {
		return c
	}
	f, err := os.CreateTemp(s.Jobs, ".ready-*")
	if err != nil {
		c.err = fmt.Errorf("%w; choose another folder with --jobs", err)
		return c
	}
	_, err = f.Write(make([]byte, 1<<20))
	c.err = errors.Join(err, f.Sync(), f.Close(), os.Remove(f.Name()))
	return c
}

func checkVoice(s settings) check {
	v, err := speech.NewEspeak(s.Voice, s.VoiceRate)
	if err != nil {
		return check{what: "voice", err: err, optional: true}
	}
	return check{what: "voice", found: v.Name(), optional: true}
}

// checkMicrophone listens for a moment: a device that opens may still give nothing.
func checkMicrophone(s settings) check {
	c := check{what: "microphone", optional: true}
	remembered, err := readChosen(devicesFile())
	if err != nil {
		c.err = err
		return c
	}
	m, err := pick("microphone", s.Microphone, remembered.Microphone, io.Discard, func(want device.Choice) (*device.Microphone, error) {
		return device.OpenMicrophone(want, func(d device.Change) { c.found = d.Name })
	})
	if err != nil {
		c.err = fmt.Errorf("%w; without one, work by callout quiet", err)
		return c
	}
	ctx, stop := context.WithTimeout(context.Background(), microphonePatience)
	defer stop()
	if _, err := m.Read(ctx, make([]float32, audio.FrameSize)); err != nil {
		c.err = fmt.Errorf("%s gives no sound; is it connected, and may this program use it?", c.found)
	}
	c.err = errors.Join(c.err, m.Close())
	return c
}

// microphonePatience is how long a microphone may take to give its first sound.
const microphonePatience = 3 * time.Second

func checkLoudspeaker() check {
	p, err := device.OpenPlayer()
	if err != nil {
		return check{what: "loudspeaker", err: fmt.Errorf("%w; speech is kept as said.wav beside each job log", err), optional: true}
	}
	return check{what: "loudspeaker", found: p.Name(), err: p.Close(), optional: true}
}

func writeChecks(out io.Writer, list []check) bool {
	ok := true
	for _, c := range list {
		state, text := "ready", c.found
		if c.err != nil {
			state, text = "MISSING", c.err.Error()
			if c.optional {
				state = "none"
			} else {
				ok = false
			}
		}
		fmt.Fprintf(out, "%-12s %-8s %s\n", c.what, state, text)
	}
	return ok
}

func writeSettings(out io.Writer, s settings) error {
	fmt.Fprintf(out, "\nsettings in force (file: %s)\n", filepath.Clean(configFile()))
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	for _, d := range settingList() {
		fmt.Fprintf(w, "  %s\t%s\tfrom %s\n", d.name, s.shown(d.name), s.origin[d.name])
	}
	return w.Flush()
}
