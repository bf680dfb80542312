package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"callout/audio"
	"callout/audio/device"
	"callout/audio/speech"
	"callout/audio/whisper"
	"callout/internal/visible"
	"callout/live"
	"callout/quiet"
	"callout/session"
)

func newLive() *cobra.Command {
	var o liveOptions
	cmd := &cobra.Command{
		Use:   "live",
		Short: "Work a job by voice, at the unit: microphone in, loudspeaker out",
		Long: `Work a job by voice, at the unit. Speak as the meter reads; what was understood is
said back. Speaking over a prompt stops it; a caution is never cut off. Say "stop",
"repeat", "louder", "slower", "where are we", "what's next", "why".

A microphone or loudspeaker that goes away is taken again as soon as it is back.
With a headset you are heard while callout speaks; beside a loudspeaker, speak up
to interrupt it.

Ctrl-C leaves the job open; callout live --job FOLDER goes on with it.`,
		Args: exactly(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.devices {
				return writeDevices(cmd.OutOrStdout())
			}
			s, err := loadSettings(cmd.Flags())
			if err != nil {
				return usageError{err}
			}
			return runLive(cmd.Context(), s, o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	cmd.Flags().StringVar(&o.job, "job", "", "the job's folder; one that is there is gone on with (default: a new job in --jobs)")
	cmd.Flags().BoolVar(&o.json, "json", false, "write events as JSON Lines")
	cmd.Flags().BoolVar(&o.timing, "timing", false, "tell where the time of each turn went, and at the end their medians")
	cmd.Flags().BoolVar(&o.screen, "screen", false, "draw the quiet view's screen, where callouts can be typed, too")
	cmd.Flags().BoolVar(&o.devices, "devices", false, "list microphones and loudspeakers, and do nothing else")
	return cmd
}

type liveOptions struct {
	job                           string
	json, timing, devices, screen bool
}

// runLive holds one live session.
func runLive(ctx context.Context, s settings, o liveOptions, in io.Reader, out, complain io.Writer) (err error) {
	h, err := openHearing(s)
	if err != nil {
		return err
	}
	defer h.engine.Close()
	sound, err := openSound(s, complain)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, sound.close()) }()
	l := &liveRun{listening: h, options: o, sound: sound, in: in, out: out, complain: complain}
	if err := l.prepare(ctx); err != nil {
		return err
	}
	r, w, err := openJob(ctx, h.know, s, o.job, h.engine.Engine(), time.Now(), l.view, l.talk)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.Close()) }()
	tellMissed(complain, s, w)
	r.Through(l.talk.TimeLog)
	h.ear.Expect(r.Call())
	if l.late.Loudspeaker, err = sound.output(w.Dir()); err != nil {
		return err
	}
	if l.screen != nil {
		if err := l.screen.Show(ctx, session.Record{Seq: 1, Body: w.Opened()}); err != nil {
			return err
		}
	}
	fmt.Fprintf(complain, "callout: listening to %s, speaking to %s; job folder %s\n", sound.heard(), sound.spoken(), w.Dir())
	err = l.run(ctx, r)
	if o.timing {
		err = errors.Join(err, live.WriteTimings(complain, l.timings))
	}
	if stats := sound.microphone.Stats(); stats.Overruns > 0 || sound.late() > 0 {
		fmt.Fprintf(complain, "callout: %d samples of the microphone were lost, the loudspeaker ran dry %d times\n", stats.Overruns, sound.late())
	}
	if !r.Call().Closed() {
		fmt.Fprintf(complain, "callout: the job stays open; go on with: callout live --job %s\n", w.Dir())
	} else if !o.json {
		fmt.Fprintln(out, "job log:", w.Dir())
	}
	return err
}

// liveRun is one run of callout live.
type liveRun struct {
	listening
	options       liveOptions
	sound         *sound
	in            io.Reader
	out, complain io.Writer

	late    *lateSound
	talk    *live.Session
	screen  *quiet.Screen // nil unless asked for
	view    session.Output
	timings []live.Timing
	typed   context.Context // of what is typed on the screen
	leave   context.CancelFunc
}

// prepare makes the session and what shows it.
func (l *liveRun) prepare(ctx context.Context) (err error) {
	s := l.settings
	l.typed, l.leave = context.WithCancel(ctx)
	l.late = &lateSound{}
	cfg := live.Config{Microphone: l.sound.microphone, Detector: newDetector(s, l.complain), Ear: l.ear, Warm: l.ear.Warm, Book: l.know.Book, Rate: s.VoiceRate,
		Notice: func(text string) { fmt.Fprintln(l.complain, "callout:", text) }}
	if l.options.timing {
		cfg.Timed = func(t live.Timing) {
			l.timings = append(l.timings, t)
			if l.screen == nil {
				fmt.Fprintln(l.complain, "timing:", t)
			}
		}
	}
	if s.Speak != "off" {
		cfg.Voice, cfg.Loudspeaker = espeak{s.Voice}, l.late
		if _, err := speech.NewEspeak(s.Voice, s.VoiceRate); err != nil {
			cfg.Voice = nil
			fmt.Fprintln(l.complain, "callout: no speech:", err)
		}
	}
	l.view = plainView{l.out}
	if l.options.json {
		l.view = newJSONView(l.know, l.out)
	}
	if l.options.screen {
		if !drawn(l.in, l.out) {
			return usageError{errors.New("--screen needs a terminal on both ends; leave it out")}
		}
		if l.screen, err = quiet.NewScreen(l.know, func(text string) { l.talk.Typed(l.typed, text) }); err != nil {
			return err
		}
		cfg.Level, cfg.Notice = func(x live.Level) { l.screen.Level(quiet.Level(x)) }, l.screen.Notice
		l.view = l.screen
		if err := showKept(ctx, l.options.job, l.screen); err != nil {
			return err
		}
	}
	l.talk = live.New(cfg)
	return nil
}

// run holds the conversation until the job is closed or the person leaves.
func (l *liveRun) run(ctx context.Context, r *session.Runner) error {
	inner := l.typed
	defer l.leave()
	go func() {
		for {
			select {
			case c := <-l.sound.changes:
				l.talk.DeviceChanged(inner, c.Lost, c.Name, c.Why)
			case <-inner.Done():
				return
			}
		}
	}()
	talk := expecting{live.Of(r), l.ear, r.Call()}
	if l.screen == nil {
		return left(ctx, l.talk.Run(inner, talk))
	}
	ended := make(chan error, 1)
	go func() {
		ended <- l.talk.Run(inner, talk)
		l.screen.Close(r.Call().Closed())
	}()
	err := l.screen.Run(ctx, l.in, visible.Under(l.out), os.Environ())
	l.leave()
	return errors.Join(left(ctx, err), left(inner, <-ended))
}

// expecting tells the ear, after each turn, what is open in the call.
type expecting struct {
	live.Conversation
	ear  ear
	call *session.Call
}

func (e expecting) Hear(ctx context.Context, u session.Utterance) error {
	err := e.Conversation.Hear(ctx, u)
	e.ear.Expect(e.call)
	return err
}

func (e expecting) Tick(ctx context.Context, at time.Time) error {
	err := e.Conversation.Tick(ctx, at)
	e.ear.Expect(e.call)
	return err
}

// newDetector finds speech in the microphone's sound: the neural one if its weights are
// there, else one that goes by loudness, which a fan deceives more often.
func newDetector(s settings, complain io.Writer) audio.Detector {
	if s.VAD == "" {
		return &audio.Energy{}
	}
	d, err := whisper.OpenDetector(s.VAD)
	if err != nil {
		fmt.Fprintf(complain, "callout: speech is told from noise by loudness alone: %v; run make native, or name the file with --vad\n", err)
		return &audio.Energy{}
	}
	return d
}

// sound is the devices of a live session.
type sound struct {
	settings   settings
	microphone *device.Microphone
	player     *device.Player // nil without a loudspeaker
	file       *speech.File   // where speech goes without one
	changes    chan device.Change
	name       string // of the microphone
}

// openSound opens the microphone, without which there is no live session, and
// the loudspeaker, without which what is said is kept in a file.
func openSound(s settings, complain io.Writer) (*sound, error) {
	remembered, err := readChosen(devicesFile())
	if err != nil {
		return nil, err
	}
	o := &sound{settings: s, changes: make(chan device.Change, 64)}
	o.microphone, err = pick("microphone", s.Microphone, remembered.Microphone, complain, func(c device.Choice) (*device.Microphone, error) {
		return device.OpenMicrophone(c, func(c device.Change) {
			select {
			case o.changes <- c:
			default: // nobody is there to be told
			}
		})
	})
	if err != nil {
		return nil, fmt.Errorf("%w; plug one in, or see callout live --devices; callout quiet works without", err)
	}
	first := <-o.changes
	o.name = first.Name
	if s.Speak == "auto" || s.Speak == "device" {
		o.player, err = pick("loudspeaker", s.Loudspeaker, remembered.Loudspeaker, complain, device.OpenLoudspeaker)
		if err != nil && s.Speak == "device" {
			return nil, errors.Join(err, o.microphone.Close())
		}
		if err != nil {
			o.player = nil
			fmt.Fprintf(complain, "callout: %v; speech is kept in said.wav beside the job log\n", err)
		}
	}
	now := remembered
	if s.Microphone != "" {
		now.Microphone = o.microphone.Choice()
	}
	if s.Loudspeaker != "" && o.player != nil {
		now.Loudspeaker = o.player.Choice()
	}
	if now != remembered {
		if err := now.write(devicesFile()); err != nil {
			fmt.Fprintln(complain, "callout:", err) // they work; only the memory of them does not
		}
	}
	return o, nil
}

// output is where speech goes in the job in folder dir.
func (o *sound) output(dir string) (live.Loudspeaker, error) {
	if o.player != nil || o.settings.Speak == "off" {
		return o.player, nil
	}
	var err error
	o.file, err = speech.NewFile(filepath.Join(dir, "said.wav"), espeakRate)
	return toFile{o.file}, err
}

func (o *sound) heard() string { return o.name }

func (o *sound) spoken() string {
	switch {
	case o.player != nil:
		return o.player.Name()
	case o.file != nil:
		return o.file.Name()
	}
	return "nobody"
}

func (o *sound) late() int64 {
	if o.player == nil {
		return 0
	}
	return o.player.Late()
}

func (o *sound) close() error {
	err := o.microphone.Close()
	if o.player != nil {
		err = errors.Join(err, o.player.Close())
	}
	if o.file != nil {
		err = errors.Join(err, o.file.Close())
	}
	return err
}

// lateSound is a loudspeaker that is known once the job's folder is.
type lateSound struct{ live.Loudspeaker }

// Late counts how often it came late; 0 for one that can't tell.
func (l *lateSound) Late() int64 {
	if x, ok := l.Loudspeaker.(interface{ Late() int64 }); ok {
		return x.Late()
	}
	return 0
}

// toFile keeps speech at the pace at which it would be heard, so that the
// conversation is the same.
type toFile struct{ file *speech.File }

func (f toFile) PlayTold(ctx context.Context, samples []float32, rate int, begun func(time.Time)) error {
	begun(time.Now())
	if err := f.file.Play(ctx, samples, rate); err != nil {
		return err
	}
	select {
	case <-time.After(time.Duration(len(samples)) * time.Second / time.Duration(rate)):
	case <-ctx.Done():
	}
	return ctx.Err()
}

// espeak speaks at any speed.
type espeak struct{ voice string }

func (e espeak) Synthesise(ctx context.Context, text string, rate int) (audio.Clip, error) {
	v, err := speech.NewEspeak(e.voice, rate)
	if err != nil {
		return audio.Clip{}, err
	}
	return v.Synthesise(ctx, text)
}
