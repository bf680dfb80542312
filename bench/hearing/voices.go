package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"callout/audio"
	"callout/internal/scene"
)

// talker is a voice of the bench. Natural ones come from a neural model.
type talker struct {
	Name    string
	Family  string // kokoro, espeak-ng or flite
	Voice   scene.Voice
	Speaker string // of kokoro.py
	Rate    float64
}

// tuning and unseen are the two halves: nothing is ever tuned on unseen. Voices
// kept for tests by strangers (scene.Voice.Reserved) are in neither.
var tuning = []talker{
	{Name: "alpha", Family: "kokoro", Speaker: "en-us/jf_alpha*1", Rate: 1.05},
	{Name: "nezumi-alpha", Family: "kokoro", Speaker: "en-gb/jf_nezumi*0.6+jf_alpha*0.4", Rate: 1.15},
	{Name: "kumo-alpha", Family: "kokoro", Speaker: "en-us/jm_kumo*0.7+jf_alpha*0.3", Rate: 1},
	{Name: "kumo-nezumi", Family: "kokoro", Speaker: "en-us/jm_kumo*0.8+jf_nezumi*0.2", Rate: 1.2},
	{Name: "nezumi", Family: "kokoro", Speaker: "en-us/jf_nezumi*1", Rate: 0.95},
	{Name: "us-m3", Family: "espeak-ng", Voice: "espeak-ng:en-us+m3:rate=160:pitch=40"},
	{Name: "us-f2", Family: "espeak-ng", Voice: "espeak-ng:en-us+f2:rate=150"},
	{Name: "gb-m1", Family: "espeak-ng", Voice: "espeak-ng:en-gb+m1:rate=155:pitch=45"},
	{Name: "caribbean", Family: "espeak-ng", Voice: "espeak-ng:en-029:rate=150"},
	{Name: "slt", Family: "flite", Voice: "flite:slt:rate=1"},
}

var unseen = []talker{
	{Name: "gongitsune", Family: "kokoro", Speaker: "en-us/jf_gongitsune*1", Rate: 1},
	{Name: "tebukuro", Family: "kokoro", Speaker: "en-us/jf_tebukuro*1", Rate: 1.1},
	{Name: "kumo-tebukuro", Family: "kokoro", Speaker: "en-us/jm_kumo*0.6+jf_tebukuro*0.4", Rate: 1},
	{Name: "kumo-gongitsune", Family: "kokoro", Speaker: "en-gb/jm_kumo*0.7+jf_gongitsune*0.3", Rate: 1.15},
	{Name: "gongitsune-tebukuro", Family: "kokoro", Speaker: "en-us/jf_gongitsune*0.5+jf_tebukuro*0.5", Rate: 0.9},
	{Name: "nyc-m7", Family: "espeak-ng", Voice: "espeak-ng:en-us-nyc+m7:rate=165:pitch=50"},
	{Name: "us-f4", Family: "espeak-ng", Voice: "espeak-ng:en-us+f4:rate=145"},
	{Name: "lancaster", Family: "espeak-ng", Voice: "espeak-ng:en-gb-x-gbclan+m2:rate=150"},
	{Name: "midlands", Family: "espeak-ng", Voice: "espeak-ng:en-gb-x-gbcwmd:rate=160:pitch=60"},
	{Name: "kal16", Family: "flite", Voice: "flite:kal16:rate=1"},
}

// tuningEnglish and unseenEnglish are more of the natural ones in both halves: speakers of
// English, where those above were made of speakers of Japanese.
var tuningEnglish = []talker{
	{Name: "liam", Family: "kokoro", Speaker: "en-us/am_liam*1", Rate: 1.05},
	{Name: "nova", Family: "kokoro", Speaker: "en-us/af_nova*1", Rate: 1},
}

var unseenEnglish = []talker{
	{Name: "puck", Family: "kokoro", Speaker: "en-us/am_puck*1", Rate: 1.1},
	{Name: "sky", Family: "kokoro", Speaker: "en-us/af_sky*1", Rate: 1},
	{Name: "emma", Family: "kokoro", Speaker: "en-gb/bf_emma*1", Rate: 0.95},
	{Name: "fable", Family: "kokoro", Speaker: "en-gb/bm_fable*1", Rate: 1.05},
}

// clip is one recording of the bench: a text by a voice in noise.
type clip struct {
	ID    string     `json:"id"`
	Voice string     `json:"voice"`
	Kind  string     `json:"kind"`
	Text  string     `json:"text"`
	Means []string   `json:"means"`
	Or    [][]string `json:"or,omitempty"`

	Family string `json:"family"`
	Level  string `json:"level"`  // clean, or the SNR in dB
	WAV    string `json:"wav"`    // the voice alone
	Behind string `json:"behind"` // another's, who may talk in the background; "": nobody
	Seed   uint64 `json:"seed"`
}

var levels = []string{"clean", "10", "5", "0"}

func snr(level string) float64 {
	switch level {
	case "10":
		return 10
	case "5":
		return 5
	case "0":
		return 0
	}
	return math.Inf(1)
}

// studio makes the voices' recordings once and keeps them in a folder.
type studio struct{ dir, parts string }

func (s studio) path(v talker, text string) string {
	sum := sha256.Sum256([]byte(fmt.Sprint(v.Family, v.Voice, v.Speaker, v.Rate, text)))
	return filepath.Join(s.dir, v.Family+"-"+hex.EncodeToString(sum[:8])+".wav")
}

// record makes what is missing of the given clips.
func (s studio) record(ctx context.Context, list []clip, voices map[string]talker) error {
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return err
	}
	var script strings.Builder
	seen := map[string]bool{}
	for _, c := range list {
		if _, err := os.Stat(c.WAV); err == nil || seen[c.WAV] {
			continue
		}
		seen[c.WAV] = true
		v := voices[c.Voice]
		if v.Speaker != "" {
			fmt.Fprintf(&script, "%s\t%s\t%g\t%s\n", c.WAV, v.Speaker, v.Rate, c.Text)
			continue
		}
		if v.Voice.Reserved() {
			return fmt.Errorf("bench: voice %s is kept for strangers' tests", v.Voice)
		}
		x, err := v.Voice.Speak(ctx, c.Text)
		if err != nil {
			return err
		}
		if err := writeWAV(c.WAV, x); err != nil {
			return err
		}
	}
	if script.Len() == 0 {
		return nil
	}
	cmd := exec.CommandContext(ctx, filepath.Join(s.parts, "venv/bin/python"), "bench/hearing/kokoro.py",
		filepath.Join(s.parts, "pkg"), filepath.Join(s.parts, "kokoro-int8.onnx"))
	cmd.Stdin = strings.NewReader(script.String())
	cmd.Stderr = os.Stderr
	return cmd.Run()
}

func writeWAV(path string, x []float32) error {
	f, err := os.Create(path + ".new")
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	err = audio.WriteWAV(w, x, audio.Rate)
	if err == nil {
		err = w.Flush()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	return os.Rename(path+".new", path)
}

// sound is the clip as the microphone would hear it: a little room before the
// speech, a little after, and the noise of a unit of its own under all of it; in one
// clip of eight somebody else talks in the background.
func (c clip) sound() ([]float32, error) {
	x, err := readWAV(c.WAV)
	if err != nil {
		return nil, err
	}
	r := rand.New(rand.NewPCG(c.Seed, 0x6d6978))
	lead, tail := r.IntN(audio.Rate/3)+audio.Rate/10, r.IntN(audio.Rate/3)+audio.Rate/5
	speech := make([]float32, lead+len(x)+tail)
	copy(speech[lead:], x)
	peak := 0.2 + 0.7*r.Float64()
	db := snr(c.Level)
	if math.IsInf(db, 1) {
		return scene.Normal(speech, peak), nil
	}
	noise := scene.Typical(c.Seed).Make(len(speech))
	if c.Behind != "" && c.Seed%8 == 0 {
		other, err := readWAV(c.Behind)
		if err != nil {
			return nil, err
		}
		second := float32(0.5 / math.Max(scene.ActiveLevel(other), 1e-9))
		for i := range noise {
			noise[i] = 0.87*noise[i] + second*other[i%len(other)]
		}
	}
	return scene.Mix(speech, noise, db, peak), nil
}

// behind puts somebody who chats behind each clip. Who it is does not depend on how many
// clips there are.
func behind(list []clip) {
	n := min(len(list), 80)
	for i, c := range list {
		for j := range n {
			if other := list[(int(c.Seed)*17+j)%n]; other.Kind == "chatter" && other.WAV != c.WAV {
				list[i].Behind = other.WAV
				break
			}
		}
	}
}

func readWAV(path string) ([]float32, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	w, err := audio.ReadWAV(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return w.At16k()
}

// cast gives each text a voice, in turn, and each text of a set its noise.
func cast(s studio, texts []said, voices []talker, seed uint64, levelsOf func(i int) []string) []clip {
	var out []clip
	r := rand.New(rand.NewPCG(seed, 0x63617374))
	for i, t := range texts {
		v := voices[r.IntN(len(voices))]
		for _, level := range levelsOf(i) {
			id := fmt.Sprintf("%d-%04d-%s", seed, i, level)
			if (seed*100000+uint64(i))%8 == 0 {
				id += "-talk" // somebody talks in the background, see sound
			}
			out = append(out, clip{ID: id, Voice: v.Name, Kind: t.Kind, Text: t.Text, Means: t.Means, Or: t.Or,
				Family: v.Family, Level: level, WAV: s.path(v, t.Text), Seed: seed*100000 + uint64(i)})
		}
	}
	return out
}
