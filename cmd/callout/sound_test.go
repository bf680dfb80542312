//go:build whisper && cgo

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"callout/audio"
	"callout/audio/device"
	"callout/audio/whisper"
	"callout/internal/scene"
	"callout/live"
)

// soundServer is a sound server of the test's own, with two sinks that lead
// nowhere: what is played to "mouth" is what callout's microphone hears, and
// callout speaks to "room".
type soundServer struct {
	t      *testing.T
	socket string
}

func startSoundServer(t *testing.T) *soundServer {
	t.Helper()
	for _, program := range []string{"pulseaudio", "pactl", "espeak-ng", "flite"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skipf("%s is not installed; run: sh setup/debian.sh test", program)
		}
	}
	if _, err := os.Stat(os.Getenv("CALLOUT_MODEL")); err != nil {
		t.Skip("CALLOUT_MODEL names no model; run make model")
	}
	dir, err := os.MkdirTemp("", "callout-sound-*") // a socket's path must be short
	require.NoError(t, err)
	s := &soundServer{t: t, socket: filepath.Join(dir, "s")}
	script := filepath.Join(dir, "script.pa")
	require.NoError(t, os.WriteFile(script, []byte("load-module module-native-protocol-unix socket="+s.socket+" auth-anonymous=1\n"), 0o600))
	cmd := exec.Command("pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--realtime=no", "--high-priority=no", "-F", script)
	cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_RUNTIME_DIR="+dir)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
		_ = os.RemoveAll(dir)
	})
	t.Setenv("PULSE_SERVER", "unix:"+s.socket)
	require.Eventually(t, func() bool { return exec.Command("pactl", "info").Run() == nil }, 20*time.Second, 50*time.Millisecond, "%s", &complaints)
	return s
}

// pactl runs one command of the sound server and returns what it prints.
func (s *soundServer) pactl(args ...string) string {
	s.t.Helper()
	out, err := exec.Command("pactl", args...).CombinedOutput()
	require.NoError(s.t, err, "%s", out)
	return strings.TrimSpace(string(out))
}

// sink makes a sink and returns its module's number.
func (s *soundServer) sink(name string, rate, channels int) string {
	return s.pactl("load-module", "module-null-sink", "sink_name="+name, "sink_properties=device.description="+name,
		fmt.Sprintf("rate=%d", rate), fmt.Sprintf("channels=%d", channels))
}

// technician has a voice that goes into mouth, and ears on both sinks.
type technician struct {
	t      *testing.T
	dir    string
	voice  scene.Voice
	level  float64 // peak of what is said
	fan    float64 // RMS of the fan's noise
	engine audio.Recogniser
	room   *recording // what callout says
	mouth  *recording // what its microphone hears
}

func newTechnician(t *testing.T, voice scene.Voice) *technician {
	t.Helper()
	require.False(t, voice.Reserved())
	p := &technician{t: t, dir: t.TempDir(), voice: voice, level: 0.4, room: record(t, "Monitor of room"), mouth: record(t, "Monitor of mouth")}
	var err error
	p.engine, err = whisper.Open(os.Getenv("CALLOUT_MODEL"), whisper.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = p.engine.Close() })
	return p
}

// recording is all that was captured from one sink.
type recording struct {
	mu    sync.Mutex
	sound []float32   // so far
	times []time.Time // of each frame's end
	peaks []float64   // of each frame
}

const recorded = 160 // samples in a frame: 10 ms

func record(t *testing.T, name string) *recording {
	t.Helper()
	m, err := device.OpenMicrophone(device.Choice{Name: name}, nil)
	require.NoError(t, err)
	r := &recording{}
	ctx, stop := context.WithCancel(context.Background())
	var done sync.WaitGroup
	done.Go(func() {
		for {
			frame := make([]float32, recorded)
			at, err := m.Read(ctx, frame)
			if err != nil {
				return
			}
			peak := 0.0
			for _, v := range frame {
				peak = max(peak, math.Abs(float64(v)))
			}
			r.mu.Lock()
			r.sound, r.times, r.peaks = append(r.sound, frame...), append(r.times, at), append(r.peaks, peak)
			r.mu.Unlock()
		}
	})
	t.Cleanup(func() {
		stop()
		done.Wait()
		_ = m.Close()
	})
	return r
}

// alive is whether something was captured just now.
func (r *recording) alive() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.times) > 0 && time.Since(r.times[len(r.times)-1]) < 200*time.Millisecond
}

// loud gives the first and the last frame after the moment from that has a
// sample above the level.
func (r *recording) loud(from time.Time, above float64) (first, last time.Time, sound []float32) {
	r.mu.Lock()
	defer r.mu.Unlock()
	begin := -1
	for i := len(r.times) - 1; i >= 0 && r.times[i].After(from); i-- {
		if r.peaks[i] > above {
			begin = i
			first = r.times[i]
			if last.IsZero() {
				last = r.times[i]
			}
		}
	}
	if begin >= 0 {
		sound = append(sound, r.sound[recorded*begin:]...)
	}
	return first, last, sound
}

// play plays into mouth, through the server's own player, whose buffer bears a
// busy machine.
func (p *technician) play(ctx context.Context, name string, samples []float32) error {
	path := filepath.Join(p.dir, name)
	f, err := os.Create(path)
	if err == nil {
		err = audio.WriteWAV(f, samples, audio.Rate)
	}
	if err == nil {
		err = f.Close()
	}
	if err != nil {
		return err
	}
	return exec.CommandContext(ctx, "paplay", "--device=mouth", path).Run()
}

// hum plays an outdoor unit into mouth until the test ends, snr dB below the
// technician.
func (p *technician) hum(seed uint64, snr float64) {
	speech := scene.Normal(p.words("compressor amps forty seven"), p.level)
	noise := scene.Typical(seed).Make(120 * audio.Rate)
	p.fan = scene.ActiveLevel(speech) / math.Pow(10, snr/20)
	for i := range noise {
		noise[i] *= float32(p.fan)
	}
	ctx, stop := context.WithCancel(context.Background())
	var done sync.WaitGroup
	done.Go(func() {
		for ctx.Err() == nil {
			_ = p.play(ctx, "fan.wav", noise)
			select {
			case <-ctx.Done():
			case <-time.After(200 * time.Millisecond): // the sink may be away
			}
		}
	})
	p.t.Cleanup(func() {
		stop()
		done.Wait()
	})
}

func (p *technician) words(text string) []float32 {
	p.t.Helper()
	x, err := p.voice.Speak(p.t.Context(), text)
	require.NoError(p.t, err)
	return x
}

// say speaks and returns the moment at which the last of it came out of mouth, as
// captured from there: the last loud sound, which can be told from the fan, and what
// follows it down to 30 dB under the peak.
func (p *technician) say(text string) time.Time {
	p.t.Helper()
	x := scene.Normal(p.words(text), p.level)
	start := time.Now()
	require.NoError(p.t, p.play(p.t.Context(), "say.wav", x))
	_, last, _ := p.mouth.loud(start, max(p.level/6, 5*p.fan))
	require.False(p.t, last.IsZero(), "nothing came out of mouth")
	rest := lastAbove(x, p.level/32) - lastAbove(x, max(p.level/6, 5*p.fan))
	return last.Add(time.Duration(rest) * time.Second / audio.Rate)
}

// lastAbove is the place of the last sample above the level.
func lastAbove(x []float32, level float64) int {
	for i, v := range slices.Backward(x) {
		if math.Abs(float64(v)) > level {
			return i
		}
	}
	return 0
}

const heardAbove = 0.01 // of full scale; room is silent between prompts

// answer waits for callout to speak after the moment from, and to fall silent;
// it returns what was heard and when it began.
func (p *technician) answer(from time.Time, patience time.Duration) (sound []float32, began time.Time, ok bool) {
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		began, last, sound := p.room.loud(from, heardAbove)
		switch {
		case !last.IsZero() && time.Since(last) > 900*time.Millisecond:
			return sound, began, true
		case last.IsZero() && time.Now().After(deadline):
			return nil, time.Time{}, false
		}
	}
}

// understood is what the recogniser makes of the beginning of a sound: of its
// first sentence, and where that is not certain, of some more.
func (p *technician) understood(sound []float32) []string {
	p.t.Helper()
	var texts []string
	quiet := 0
	for i, v := range sound {
		if math.Abs(float64(v)) > heardAbove {
			quiet = 0
			continue
		}
		quiet++
		end := i + 1 - quiet/2
		if quiet != audio.Rate/12 && i != len(sound)-1 || end < audio.Rate/2 || len(texts) == 5 || end > 12*audio.Rate {
			continue
		}
		t, err := p.engine.Recognise(p.t.Context(), audio.Utterance{Samples: sound[:end]}, audio.Hints{})
		if err == nil {
			texts = append(texts, strings.ToLower(t.Text))
		}
	}
	return texts
}

// process is callout live at work.
type process struct {
	t      *testing.T
	cmd    *exec.Cmd
	done   chan struct{}
	mu     sync.Mutex
	events []map[string]any
	stderr bytes.Buffer
}

// startLive runs callout live on the job in dir.
func startLive(t *testing.T, dir string, flags ...string) *process {
	t.Helper()
	p := &process{t: t, done: make(chan struct{})}
	p.cmd = exec.Command("callout", append([]string{"live", "--json", "--timing", "--job", dir, "--microphone", "Monitor of mouth", "--loudspeaker", "room", "--voice-rate", "180"}, flags...)...)
	home := filepath.Dir(dir)
	p.cmd.Env = append(os.Environ(), "HOME="+home, "XDG_DATA_HOME="+filepath.Join(home, "data"), "XDG_CONFIG_HOME="+filepath.Join(home, "config"))
	out, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	complain, err := p.cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	var pipes sync.WaitGroup
	pipes.Go(func() { p.read(out) })
	pipes.Go(func() {
		for lines := bufio.NewScanner(complain); lines.Scan(); {
			p.mu.Lock()
			fmt.Fprintln(&p.stderr, lines.Text())
			p.mu.Unlock()
		}
	})
	go func() {
		pipes.Wait()
		_ = p.cmd.Wait()
		close(p.done)
	}()
	t.Cleanup(p.kill)
	return p
}

func (p *process) read(out io.Reader) {
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var e map[string]any
		if json.Unmarshal(lines.Bytes(), &e) == nil {
			p.mu.Lock()
			p.events = append(p.events, e)
			p.mu.Unlock()
		}
	}
}

// kill is kill -9.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.done
}

func (p *process) complaints() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.stderr.String()
}

// since lists the events after the first n.
func (p *process) since(n int) []map[string]any {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]map[string]any(nil), p.events[min(n, len(p.events)):]...)
}

func (p *process) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.events)
}

// wait waits for an event after the first n that fits.
func (p *process) wait(n int, patience time.Duration, what string, fits func(map[string]any) bool) map[string]any {
	p.t.Helper()
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		for _, e := range p.since(n) {
			if fits(e) {
				return e
			}
		}
		select {
		case <-p.done:
			require.FailNow(p.t, "callout live ended", "waiting for %s\n%s", what, p.complaints())
		default:
		}
	}
	require.FailNow(p.t, "nothing came", "waiting for %s\nevents: %v\n%s", what, p.since(n), p.complaints())
	return nil
}

// saidWith is a fit for something said that holds the words.
func saidWith(words string) func(map[string]any) bool {
	return func(e map[string]any) bool {
		text, _ := e["text"].(string)
		return e["event"] == "said" && strings.Contains(strings.ToLower(text), words)
	}
}

// turnTimes reads the turns' times, as callout live --timing told them.
func turnTimes(complaints string) []live.Timing {
	var list []live.Timing
	for line := range strings.Lines(complaints) {
		var total, pause, decode, decide, log, voice, out, took int64
		n, _ := fmt.Sscanf(line, "timing: total %d pause %d decode %d decide %d log %d voice %d out %d took %d ms:", &total, &pause, &decode, &decide, &log, &voice, &out, &took)
		if n == 8 {
			ms := func(v int64) time.Duration { return time.Duration(v) * time.Millisecond }
			list = append(list, live.Timing{Pause: ms(pause), Decode: ms(decode), Decide: ms(decide), Log: ms(log), Voice: ms(voice), Out: ms(out), Took: ms(took)})
		}
	}
	return list
}
