package quiet

import (
	"fmt"
	"strings"
	"time"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/x/ansi"

	"callout/internal/visible"
	"callout/prompts"
)

// Level is how loud the microphone is.
type Level struct {
	RMS, Peak float64 // dB re full scale
	Clipped   bool    // samples stood at full scale
	Dead      bool    // nothing but zeros for some seconds
}

// Status is what the screen shows beside the board.
type Status struct {
	Now    time.Time
	Level  *Level // nil without a microphone
	Notice string
	Input  string // the input line, drawn; "" when only looking on
	Follow bool
}

// Narrow and low bounds of a screen; under them the text is cut.
const (
	leastWidth  = 40
	leastHeight = 12

	mostCautions = 3
)

var (
	bold    = lipgloss.NewStyle().Bold(true)
	faint   = lipgloss.NewStyle().Faint(true)
	danger  = lipgloss.NewStyle().Bold(true).Reverse(true).Foreground(lipgloss.Color("1"))
	caution = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("3"))
	good    = lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("2"))
)

// Render draws the board as height lines of at most width columns. What can
// hurt is told in words and in capitals on the first lines, so that it stands
// out without colour, too.
func Render(b *Board, s Status, width, height int) string {
	width, height = max(width, leastWidth), max(height, leastHeight)
	head := []string{header(b, s, width)}
	head = append(head, energy(b, width)...)
	if b.Closed != "" {
		head = append(head, good.Render(cut("CLOSED  "+b.Closed, width)))
	}
	if b.Question != "" {
		head = append(head, styled(bold, wrapped("ASKED   ", b.Question, width, 2))...)
	}
	shown := b.Cautions[max(0, len(b.Cautions)-mostCautions):]
	for _, c := range shown {
		head = append(head, styled(caution, wrapped("CAUTION ", c, width, max(2, 5-len(shown))))...)
	}
	if b.Next.Say != "" && b.Closed == "" {
		head = append(head, styled(bold, wrapped("NEXT    ", b.Next.Say, width, 2))...)
		if b.Next.Because != "" && height > 30 {
			head = append(head, wrapped("        ", b.Next.Because, width, 2)...)
		}
	}
	foot := []string{}
	if s.Notice != "" {
		foot = append(foot, caution.Render(cut("! "+s.Notice, width)))
	}
	switch {
	case s.Follow:
		foot = append(foot, faint.Render(cut("looking on; typing is off. Ctrl-C leaves.", width)))
	default:
		foot = append(foot, ansi.Truncate(s.Input, max(1, width), "..."))
	}
	room := max(4, height-len(head)-len(foot))
	talk := max(3, room*2/5)
	middle := columns(b, s.Now, width, room-talk)
	talk = room - len(middle)
	lines := append(head, middle...)
	lines = append(lines, conversation(b, width, talk)...)
	for len(lines) < height-len(foot) {
		lines = append(lines, "")
	}
	lines = append(lines[:min(len(lines), height-len(foot))], foot...)
	return strings.Join(lines, "\n")
}

func header(b *Board, s Status, width int) string {
	left := "callout  " + visible.Text(b.Job)
	right := s.Now.Format("15:04:05")
	if s.Level != nil {
		right = meter(*s.Level) + "  " + right
	}
	gap := width - ansi.StringWidth(left) - ansi.StringWidth(right)
	if gap < 1 {
		return bold.Render(cut(left, width))
	}
	return bold.Render(left + strings.Repeat(" ", gap) + right)
}

// meter draws a level from -60 to 0 dB.
func meter(l Level) string {
	const steps = 10
	n := min(steps, max(0, int((l.RMS+60)/60*steps)))
	text := fmt.Sprintf("mic [%s%s] %3.0f dB", strings.Repeat("=", n), strings.Repeat(".", steps-n), l.RMS)
	switch {
	case l.Dead:
		text += " SILENT"
	case l.Clipped:
		text += " CLIPS"
	}
	return text
}

func energy(b *Board, width int) []string {
	live, dead := b.Danger()
	if len(live) == 0 {
		return []string{good.Render(cut("PROVED DEAD: "+strings.Join(dead, "; "), width))}
	}
	lines := wrapped("!!! ", "DO NOT TOUCH: "+strings.Join(live, "; "), width-4, 2)
	for i, l := range lines {
		mark := strings.Repeat(" ", max(0, width-4-ansi.StringWidth(l))) + " !!!"
		lines[i] = danger.Render(l + mark)
	}
	if len(dead) > 0 {
		lines = append(lines, cut("    dead: "+strings.Join(dead, "; "), width))
	}
	return lines
}

// columns draws the values beside verdict and timers; one above the other where
// the screen is narrow.
func columns(b *Board, now time.Time, width, height int) []string {
	height = max(2, height)
	left := values(b, width/2-1, height)
	right := findings(b, now, width-width/2, height)
	n := max(len(left), len(right))
	lines := make([]string, n)
	for i := range lines {
		l, r := "", ""
		if i < len(left) {
			l = left[i]
		}
		if i < len(right) {
			r = right[i]
		}
		lines[i] = l + strings.Repeat(" ", max(1, width/2-ansi.StringWidth(l))) + r
	}
	return lines
}

// values lists readings, the newest last; those that are held against the
// nameplate say so in the line under them.
func values(b *Board, width, height int) []string {
	lines := []string{}
	for _, v := range b.Values {
		name, reading := visible.Text(v.Name), visible.Text(v.Reading)
		if room := width - ansi.StringWidth(reading) - 2; ansi.StringWidth(name) > room {
			name = cut(name, room)
		}
		lines = append(lines, name+strings.Repeat(" ", max(1, width-ansi.StringWidth(name)-ansi.StringWidth(reading)))+bold.Render(reading))
		if v.Against != "" {
			lines = append(lines, faint.Render(cut("  of "+v.Against, width)))
		}
	}
	hidden := ""
	if n := len(lines) - (height - 1); n > 0 {
		lines = lines[n:]
		hidden = " (the last)"
	}
	return append([]string{faint.Render(cut("VALUES"+hidden, width))}, lines...)
}

func findings(b *Board, now time.Time, width, height int) []string {
	var lines []string
	add := func(style lipgloss.Style, list ...string) { lines = append(lines, styled(style, list)...) }
	switch {
	case b.Verdict != "":
		add(faint, "VERDICT")
		add(bold, wrapped("", b.name(b.Verdict), width, 2)...)
		add(lipgloss.NewStyle(), wrapped("", b.Because, width, 3)...)
	default:
		add(faint, "VERDICT: none yet")
	}
	for i, c := range b.Causes {
		if i == 3 || c.Probability < 0.005 {
			break
		}
		add(lipgloss.NewStyle(), cut(fmt.Sprintf("%3.0f%% %s", 100*c.Probability, b.name(c.Fault)), width))
	}
	for _, t := range b.Timers {
		left := "over"
		if d := t.Until.Sub(now); d > 0 {
			left = fmt.Sprintf("%d:%02d", int(d.Minutes()), int(d.Seconds())%60)
			if d >= time.Hour {
				left = prompts.Duration(d)
			}
		}
		add(bold, cut("TIMER "+left+"  "+t.Text, width))
	}
	return lines[:min(len(lines), height)]
}

// name is a fault, or two, in words.
func (b *Board) name(key string) string {
	var names []string
	for _, id := range strings.Split(key, "+") {
		name := id
		for _, f := range b.know.Engine.Faults() {
			if string(f.ID) == id {
				name = f.Name
			}
		}
		names = append(names, name)
	}
	return strings.Join(names, " and ")
}

// conversation lists the last things heard and said, as many as there is room.
func conversation(b *Board, width, height int) []string {
	var lines []string
	for i := len(b.Lines) - 1; i >= 0 && len(lines) < height-1; i-- {
		l := b.Lines[i]
		text := l.Text
		style := lipgloss.NewStyle()
		switch l.Who {
		case "heard", "typed":
			style = bold
			if l.Who == "heard" {
				text += fmt.Sprintf("  [%.0f%% sure]", 100*l.Certainty)
			}
			if l.Fate != "" {
				text += "  (" + l.Fate + ")"
				style = faint
			}
		case "shows":
			style = faint
		}
		lines = append(styled(style, wrapped(l.At.Local().Format("15:04:05 ")+fmt.Sprintf("%-6s", l.Who), text, width, 4)), lines...)
	}
	if n := len(lines) - (height - 1); n > 0 {
		lines = lines[n:]
	}
	return append([]string{faint.Render(cut(strings.Repeat("-", width), width))}, lines...)
}

func styled(style lipgloss.Style, list []string) []string {
	out := make([]string, len(list))
	for i, l := range list {
		out[i] = style.Render(l)
	}
	return out
}

// wrapped breaks a text into at most most lines; what is left over ends in "...".
func wrapped(label, text string, width, most int) []string {
	room := max(8, width-ansi.StringWidth(label))
	lines := strings.Split(ansi.Wordwrap(visible.Text(strings.Join(strings.Fields(text), " ")), room, ""), "\n")
	if len(lines) > most {
		lines = append(lines[:most-1:most-1], cut(lines[most-1]+" "+strings.Join(lines[most:], " "), room))
	}
	for i, l := range lines {
		if i == 0 {
			lines[i] = label + l
		} else {
			lines[i] = strings.Repeat(" ", ansi.StringWidth(label)) + l
		}
		lines[i] = cut(lines[i], width)
	}
	return lines
}

func cut(text string, width int) string {
	return ansi.Truncate(visible.Text(text), max(1, width), "...")
}
