//go:build whisper && cgo

package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// echoLines make the program speak and ask; none of them has a value in it.
var echoLines = []string{"what can I say", "compressor amps", "where are we", "what's next", "why", "line voltage", "repeat", "what did you ignore"}

// echoCell is one line of the table.
type echoCell struct {
	level, delay, busy     int
	minutes                float64
	spoken, heard, asked   int
	ignored, dry, recorded int
}

// TestItsOwnVoiceThroughTheSoundServer feeds the loudspeaker back into the microphone, and
// counts what is recorded beyond the complaint: it can only be the program's own voice. It
// prints a table. CALLOUT_ECHO is how many seconds each cell takes (20), CALLOUT_ECHO_SOAK
// instead how many minutes at -10 dB and 40 ms, CALLOUT_ECHO_BUSY how many cores' worth of
// work goes on beside it.
func TestItsOwnVoiceThroughTheSoundServer(t *testing.T) {
	number := func(name string, otherwise int) int {
		if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
			return n
		}
		return otherwise
	}
	length := time.Duration(number("CALLOUT_ECHO", 20)) * time.Second
	levels, delays, loads := []int{-10, -20}, []int{20, 40, 100, 200}, []int{0, 2 * runtime.NumCPU()}
	if n := number("CALLOUT_ECHO_SOAK", 0); n > 0 {
		length, levels, delays, loads = time.Duration(n)*time.Minute, []int{-10}, []int{40}, []int{0}
	} else if os.Getenv("CALLOUT_ECHO") == "" {
		levels, delays, loads = []int{-10}, []int{40}, []int{0}
	}
	if n := number("CALLOUT_ECHO_BUSY", -1); n >= 0 {
		loads = []int{n}
	}
	var cells []echoCell
	for _, level := range levels {
		for _, delay := range delays {
			for _, busy := range loads {
				t.Run(fmt.Sprintf("%d dB, %d ms, busy %d", level, delay, busy), func(t *testing.T) {
					cells = append(cells, echoFor(t, length, echoCell{level: level, delay: delay, busy: busy}))
				})
			}
		}
	}
	var table bytes.Buffer
	w := tabwriter.NewWriter(&table, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "dB\tms\tbusy\tminutes\tsentences\theard\tasked\tignored\tran dry\town recorded\t")
	for _, c := range cells {
		fmt.Fprintf(w, "%d\t%d\t%d\t%.1f\t%d\t%d\t%d\t%d\t%d\t%d\t\n", c.level, c.delay, c.busy, c.minutes, c.spoken, c.heard, c.asked, c.ignored, c.dry, c.recorded)
	}
	require.NoError(t, w.Flush())
	t.Logf("\n%s", &table)
}

// echoFor lets the program talk in one cell of the table.
func echoFor(t *testing.T, length time.Duration, c echoCell) echoCell {
	server := startSoundServer(t)
	server.sink("mouth", 48000, 2)
	server.sink("room", 44100, 1)
	server.pactl("load-module", "module-loopback", "source=room.monitor", "sink=mouth", fmt.Sprintf("latency_msec=%d", c.delay), "sink_input_properties=media.name=echo")
	server.pactl("set-sink-input-volume", echoInput(server), fmt.Sprintf("%ddB", c.level))
	stop := make(chan struct{})
	var done sync.WaitGroup
	for range c.busy {
		done.Go(func() {
			for x := uint64(1); ; x = x*6364136223846793005 + 1442695040888963407 {
				select {
				case <-stop:
					return
				default:
				}
			}
		})
	}
	defer done.Wait()
	defer close(stop)
	person := newTechnician(t, "flite:slt:rate=0.95")
	p := startLive(t, filepath.Join(t.TempDir(), "call"))
	p.wait(0, 120*time.Second, "the first prompt", saidWith("complaint"))
	begun := time.Now()
	person.say("complaint no cooling")
	for i := 0; time.Since(begun) < length; i++ {
		select {
		case <-p.done:
			require.FailNow(t, "callout live ended", "after %v\n%s", time.Since(begun), p.complaints())
		default:
		}
		_, _, _ = person.answer(time.Now(), 8*time.Second)
		time.Sleep(time.Second)
		if time.Since(begun) < length {
			person.say(echoLines[i%len(echoLines)])
		}
	}
	_, _, _ = person.answer(time.Now(), 8*time.Second)
	c.minutes = time.Since(begun).Minutes()
	for _, e := range p.since(0) {
		switch e["event"] {
		case "said":
			c.spoken++
		case "heard":
			c.heard++
		case "question":
			c.asked++
		case "ignored":
			c.ignored++
		case "observation", "reading", "declaration", "repair", "retracted", "note", "closed":
			if e["quantity"] == "complaint" {
				continue
			}
			c.recorded++
			assert.Fail(t, "its own voice was recorded", "%v", e)
		}
	}
	require.NoError(t, p.cmd.Process.Signal(os.Interrupt))
	select {
	case <-p.done:
	case <-time.After(20 * time.Second):
	}
	for line := range strings.Lines(p.complaints()) {
		var lost int
		_, _ = fmt.Sscanf(line, "callout: %d samples of the microphone were lost, the loudspeaker ran dry %d times", &lost, &c.dry)
	}
	return c
}
