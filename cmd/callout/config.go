package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"
	"golang.org/x/sys/cpu"

	"callout/session"
)

// settings is what can be set by flag, environment or file. This file is the
// only one that knows how.
type settings struct {
	Jobs        string  `mapstructure:"jobs"`
	Heads       string  `mapstructure:"heads"`
	Model       string  `mapstructure:"model"`
	Adapter     string  `mapstructure:"adapter"`
	Second      string  `mapstructure:"second"`
	VAD         string  `mapstructure:"vad"`
	Threads     int     `mapstructure:"threads"`
	Voice       string  `mapstructure:"voice"`
	VoiceRate   int     `mapstructure:"voice-rate"`
	Speak       string  `mapstructure:"speak"`
	Technician  string  `mapstructure:"technician"`
	Unit        string  `mapstructure:"unit"`
	Microphone  string  `mapstructure:"microphone"`
	Loudspeaker string  `mapstructure:"loudspeaker"`
	KeepAudio   bool    `mapstructure:"keep-audio"`
	AudioDays   int     `mapstructure:"audio-days"`
	Manner      string  `mapstructure:"manner"`
	Ask         float64 `mapstructure:"ask"`
	AskSafety   float64 `mapstructure:"ask-safety"`
	Ignore      float64 `mapstructure:"ignore"`

	origin map[string]string
}

// setting describes one of them.
type setting struct {
	name  string
	value any // the default, which also gives the type
	help  string
}

func settingList() []setting {
	return []setting{
		{"jobs", filepath.Join(dataHome(), "jobs"), "folder that holds the job logs"},
		{"heads", filepath.Join(stateHome(), "heads.jsonl"), "file outside the jobs that keeps the head of each log, to compare with; empty: none"},
		{"model", findModel(modelName), "Whisper weights in ggml format"},
		{"adapter", "auto", "the trade's adapter in the weights: on, off, or auto (where set-up made it)"},
		{"second", findModel("ggml-tiny.en.bin"), "weights of a second recogniser, asked where the first is unsure; empty: none"},
		{"vad", findModel("ggml-silero.bin"), "the voice-activity detector's weights; empty: judge by loudness"},
		{"threads", 0, "processor threads for recognition; 0 chooses"},
		{"voice", "en-us", "espeak-ng voice"},
		{"voice-rate", 170, "speaking rate, words a minute"},
		{"speak", "auto", "where speech goes: auto, device, file or off"},
		{"microphone", "", "a part of the microphone's name; empty: the one named last, else the system's default"},
		{"loudspeaker", "", "the same for the loudspeaker"},
		{"technician", "", "your firm's code for the technician, for the job log"},
		{"unit", "", "your firm's code for the unit worked on, for the job log"},
		{"keep-audio", false, "keep what was said as FLAC beside the job log"},
		{"audio-days", 90, "remove kept recordings after so many days; 0 keeps them"},
		{"manner", string(session.Full), "how much is said: brief, full or teaching; said in a call: be brief, say it in full, teach me"},
		{"ask", session.DefaultPolicy.Ask, "ask back what was heard less surely than this (0 to 1); 0: the limit chosen for the model"},
		{"ask-safety", session.DefaultPolicy.AskSafety, "the same for switching, proving and repairs"},
		{"ignore", session.DefaultPolicy.Ignore, "leave alone what was heard less surely than this"},
	}
}

func dataHome() string {
	if d := os.Getenv("XDG_DATA_HOME"); d != "" {
		return filepath.Join(d, "callout")
	}
	if home, err := os.UserHomeDir(); err == nil {
		return filepath.Join(home, ".local", "share", "callout")
	}
	return "callout-data"
}

func stateHome() string {
	if d := os.Getenv("XDG_STATE_HOME"); d != "" {
		return filepath.Join(d, "callout")
	}
	if home, err := os.UserHomeDir(); err == nil {
		return filepath.Join(home, ".local", "state", "callout")
	}
	return "callout-state"
}

func configFile() string {
	if d, err := os.UserConfigDir(); err == nil {
		return filepath.Join(d, "callout", "config.yaml")
	}
	return "callout.yaml"
}

// modelName is the file that set-up makes, or one of its kin, see inTypes.
const modelName = "ggml-base.bin"

// findModel looks where set-up puts the weights: beside a program built in its
// own tree, then in the user's data folder. Where they are in several types, it
// takes those that the processor is fastest with.
func findModel(name string) string {
	dirs := []string{filepath.Join(dataHome(), "models")}
	if exe, err := os.Executable(); err == nil {
		dirs = append([]string{filepath.Join(filepath.Dir(exe), "..", ".parts", "models")}, dirs...)
	}
	return findIn(dirs, name, cpu.X86.HasAVX512BF16)
}

// findIn is the file of that name, or of its kin, in the first of the folders that has
// one; where none has, it stands in the last.
func findIn(dirs []string, name string, bf16 bool) string {
	for _, dir := range dirs {
		for _, kin := range inTypes(name, bf16) {
			path := filepath.Join(dir, kin)
			if _, err := os.Stat(path); err == nil {
				return path
			}
		}
	}
	return filepath.Join(dirs[len(dirs)-1], name)
}

func settingFlags(f *pflag.FlagSet) {
	f.String("config", "", "settings file (default "+configFile()+" if it is there)")
	for _, s := range settingList() {
		switch v := s.value.(type) {
		case string:
			f.String(s.name, v, s.help)
		case bool:
			f.Bool(s.name, v, s.help)
		case int:
			f.Int(s.name, v, s.help)
		case float64:
			f.Float64(s.name, v, s.help)
		}
	}
}

// loadSettings reads defaults, file, environment (CALLOUT_…) and flags, each
// over the one before.
func loadSettings(f *pflag.FlagSet) (settings, error) {
	v := viper.New()
	v.SetEnvPrefix("CALLOUT")
	v.SetEnvKeyReplacer(strings.NewReplacer("-", "_"))
	v.AutomaticEnv()
	v.SetConfigFile(configFile())
	named := f.Changed("config")
	if named {
		path, err := f.GetString("config")
		if err != nil {
			return settings{}, fmt.Errorf("settings: %w", err)
		}
		v.SetConfigFile(path)
	}
	for _, s := range settingList() {
		v.SetDefault(s.name, s.value)
		if err := v.BindPFlag(s.name, f.Lookup(s.name)); err != nil {
			return settings{}, fmt.Errorf("settings: %w", err)
		}
	}
	fileRead := true
	if err := v.ReadInConfig(); err != nil {
		if named || !errors.Is(err, os.ErrNotExist) {
			return settings{}, fmt.Errorf("settings file %s: %w", v.ConfigFileUsed(), err)
		}
		fileRead = false
	}
	s := settings{origin: map[string]string{}}
	if err := v.UnmarshalExact(&s); err != nil {
		return settings{}, fmt.Errorf("settings: %w", err)
	}
	for _, d := range settingList() {
		env := "CALLOUT_" + strings.ToUpper(strings.ReplaceAll(d.name, "-", "_"))
		switch {
		case f.Changed(d.name):
			s.origin[d.name] = "flag --" + d.name
		case os.Getenv(env) != "":
			s.origin[d.name] = "environment " + env
		case fileRead && v.InConfig(d.name):
			s.origin[d.name] = "file " + v.ConfigFileUsed()
		default:
			s.origin[d.name] = "default"
		}
	}
	return s, s.check()
}

// leastSafety is the least certainty that a declaration, a proof or a repair may
// be taken with: more likely heard right than not.
const leastSafety = 0.5

func (s settings) check() error {
	var errs []error
	for name, x := range map[string]float64{"ask": s.Ask, "ask-safety": s.AskSafety, "ignore": s.Ignore} {
		if !(x >= 0 && x <= 1) {
			errs = append(errs, fmt.Errorf("settings: %s is %v (from %s); it goes from 0 to 1", name, x, s.origin[name]))
		}
	}
	if s.AskSafety >= 0 && s.AskSafety < leastSafety {
		errs = append(errs, fmt.Errorf("settings: ask-safety is %v (from %s); it is %v or more: a declaration that is as likely misheard is never taken unasked",
			s.AskSafety, s.origin["ask-safety"], leastSafety))
	}
	switch s.Adapter {
	case "auto", "on", "off":
	default:
		errs = append(errs, fmt.Errorf("settings: adapter is %q (from %s); it is auto, on or off", s.Adapter, s.origin["adapter"]))
	}
	switch s.Speak {
	case "auto", "device", "file", "off":
	default:
		errs = append(errs, fmt.Errorf("settings: speak is %q (from %s); it is auto, device, file or off", s.Speak, s.origin["speak"]))
	}
	switch session.Manner(s.Manner) {
	case session.Brief, session.Full, session.Teaching:
	default:
		errs = append(errs, fmt.Errorf("settings: manner is %q (from %s); it is brief, full or teaching", s.Manner, s.origin["manner"]))
	}
	if s.Threads < 0 || s.Threads > 64 {
		errs = append(errs, fmt.Errorf("settings: threads is %d (from %s); it goes from 0 to 64", s.Threads, s.origin["threads"]))
	}
	if s.AudioDays < 0 {
		errs = append(errs, fmt.Errorf("settings: audio-days is %d (from %s); it is 0 or more", s.AudioDays, s.origin["audio-days"]))
	}
	return errors.Join(errs...)
}

func (s settings) policy() session.Policy {
	return session.Policy{Ask: s.Ask, AskSafety: s.AskSafety, Ignore: s.Ignore, Manner: session.Manner(s.Manner)}
}

// shown gives a setting's value for people.
func (s settings) shown(name string) string {
	return map[string]string{
		"jobs": s.Jobs, "heads": s.Heads, "model": s.Model, "adapter": s.Adapter, "second": s.Second, "vad": s.VAD, "threads": fmt.Sprint(s.Threads), "voice": s.Voice, "voice-rate": fmt.Sprint(s.VoiceRate),
		"speak": s.Speak, "technician": s.Technician, "unit": s.Unit, "microphone": s.Microphone, "loudspeaker": s.Loudspeaker,
		"keep-audio": fmt.Sprint(s.KeepAudio), "audio-days": fmt.Sprint(s.AudioDays), "manner": s.Manner, "ask": fmt.Sprint(s.Ask), "ask-safety": fmt.Sprint(s.AskSafety), "ignore": fmt.Sprint(s.Ignore),
	}[name]
}
