package quiet

import (
	"context"
	"io"
	"sync"
	"time"

	"charm.land/bubbles/v2/textinput"
	tea "charm.land/bubbletea/v2"

	"callout/session"
)

// Screen shows a job in a terminal. Show, Level and Notice may be called at any
// time, from any goroutine.
type Screen struct {
	typed func(string) // nil: looking on

	mu      sync.Mutex
	board   *Board
	level   *Level
	notice  string
	noticed time.Time
	ended   bool
}

const (
	refresh    = 150 * time.Millisecond
	noticeTime = 20 * time.Second
	lineLimit  = 2000 // characters typed
)

// NewScreen makes a screen; typed, which may be nil, is given each line typed.
func NewScreen(k *session.Knowledge, typed func(string)) (*Screen, error) {
	b, err := NewBoard(k)
	return &Screen{board: b, typed: typed}, err
}

// Show takes a record that is in the log. It implements session.Output.
func (s *Screen) Show(_ context.Context, r session.Record) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.board.Take(r)
	return nil
}

// Level shows how loud the microphone is.
func (s *Screen) Level(l Level) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.level = &l
}

// Notice shows a line for some seconds.
func (s *Screen) Notice(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.notice, s.noticed = text, time.Now()
}

// Close tells that the session has ended. Where the job was closed the screen stays,
// to be read, until the person leaves; else Run returns.
func (s *Screen) Close(closed bool) {
	if closed {
		s.mu.Lock()
		s.typed = nil
		s.mu.Unlock()
		return
	}
	s.End()
}

// End makes Run return.
func (s *Screen) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = true
}

// Run draws until the person leaves with Ctrl-C, End is called or ctx is done.
// The environment says what the terminal can do; with NO_COLOR set there is no
// colour.
func (s *Screen) Run(ctx context.Context, in io.Reader, out io.Writer, env []string) error {
	m := model{screen: s, input: textinput.New()}
	m.input.Prompt = "> "
	m.input.Placeholder = "type a callout, or: what's next, why, where are we"
	m.input.CharLimit = lineLimit
	m.input.SetVirtualCursor(true)
	m.input.Focus()
	_, err := tea.NewProgram(m, tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out), tea.WithEnvironment(env), tea.WithoutSignalHandler()).Run()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return err
}

type model struct {
	screen        *Screen
	input         textinput.Model
	width, height int
}

type tick time.Time

func next() tea.Cmd { return tea.Tick(refresh, func(t time.Time) tea.Msg { return tick(t) }) }

// Init implements tea.Model.
func (m model) Init() tea.Cmd { return next() }

// Update implements tea.Model.
func (m model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tick:
		m.screen.mu.Lock()
		ended := m.screen.ended
		m.screen.mu.Unlock()
		if ended {
			return m, tea.Quit
		}
		return m, next()
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
		m.input.SetWidth(max(10, msg.Width-4))
		return m, nil
	case tea.KeyPressMsg:
		switch msg.String() {
		case "ctrl+c":
			return m, tea.Quit
		case "enter":
			if text := m.input.Value(); text != "" && m.screen.typed != nil {
				m.screen.typed(text)
			}
			m.input.Reset()
			return m, nil
		}
	}
	if m.screen.typed == nil {
		return m, nil
	}
	var cmd tea.Cmd
	m.input, cmd = m.input.Update(msg)
	return m, cmd
}

// View implements tea.Model.
func (m model) View() tea.View {
	s := m.screen
	s.mu.Lock()
	defer s.mu.Unlock()
	status := Status{Now: time.Now(), Level: s.level, Follow: s.typed == nil, Input: m.input.View()}
	if time.Since(s.noticed) < noticeTime {
		status.Notice = s.notice
	}
	v := tea.NewView("")
	if m.width > 0 {
		v.SetContent(Render(s.board, status, m.width, m.height))
	}
	v.AltScreen = true
	return v
}
