package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"callout/audio"
	"callout/audio/device"
	"callout/audio/speech"
	"callout/audio/whisper"
	"callout/intents/hearing"
	"callout/joblog"
	"callout/session"
)

// openEngine loads the recogniser. The caller closes it.
func openEngine(s settings) (audio.Recogniser, error) {
	path, err := s.modelFile()
	if err != nil {
		return nil, err
	}
	return openModel(s, path)
}

func openModel(s settings, path string) (audio.Recogniser, error) {
	engine, err := whisper.Open(path, whisper.Options{Threads: s.Threads})
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w; run make model, or name a ggml file with --model", err)
	}
	if err != nil {
		return nil, err
	}
	return engine, nil
}

// listening is what every command that recognises speech works with.
type listening struct {
	settings settings
	know     *session.Knowledge
	ear      ear
	engine   audio.Recogniser // the ear's own
}

// openHearing loads it. The caller closes the engine.
func openHearing(s settings) (h listening, err error) {
	h.settings = s
	if h.know, err = session.LoadKnowledge(); err != nil {
		return h, err
	}
	h.ear, h.engine, err = openEar(s, h.know)
	return h, err
}

// ear brings what is heard to a call: utterances, and what the call expects.
type ear struct{ *hearing.Ear }

// Hear recognises one stretch of sound that ended at a moment.
func (e ear) Hear(ctx context.Context, sound audio.Utterance, at time.Time) (session.Utterance, error) {
	h, err := e.Ear.Hear(ctx, sound, at)
	return session.FromEar(h), err
}

// Expect tells the ear what is open in the call.
func (e ear) Expect(c *session.Call) { e.Ear.Expect(c.Expectation()) }

// engines are the recogniser and, if there is one, the second.
type engines struct {
	audio.Recogniser
	second audio.Recogniser
}

func (e engines) Close() error {
	if e.second == nil {
		return e.Recogniser.Close()
	}
	return errors.Join(e.Recogniser.Close(), e.second.Close())
}

// openEar loads the recognisers behind an ear for what k knows. The caller closes them.
func openEar(s settings, k *session.Knowledge) (ear, audio.Recogniser, error) {
	first, err := openEngine(s)
	if err != nil {
		return ear{}, nil, err
	}
	e := engines{Recogniser: first}
	heard, err := hearing.NewEar(first, k.Parser)
	if err != nil {
		return ear{}, nil, errors.Join(err, e.Close())
	}
	path, wanted, err := s.secondFile()
	if err != nil {
		return ear{}, nil, errors.Join(err, e.Close())
	}
	if !wanted {
		return ear{heard}, e, nil
	}
	if e.second, err = openModel(s, path); err != nil {
		return ear{}, nil, errors.Join(fmt.Errorf("second recogniser: %w", err), first.Close())
	}
	heard.Second(e.second)
	return ear{heard}, e, nil
}

// maxWhole is the longest clip, in samples, that is taken for one utterance.
const maxWhole = 25 * audio.Rate

// readClip gives the utterances of a recording: a short clip is one.
func readClip(path string) ([]audio.Utterance, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("clip: %w", err)
	}
	defer f.Close()
	clip, err := audio.ReadWAV(f)
	if err != nil {
		return nil, fmt.Errorf("clip %s: %w", path, err)
	}
	samples, err := clip.At16k()
	if err != nil {
		return nil, fmt.Errorf("clip %s: %w", path, err)
	}
	if len(samples) <= maxWhole {
		whole := audio.Utterance{Samples: samples}
		whole.End = whole.Duration()
		return []audio.Utterance{whole}, nil
	}
	d := &audio.Energy{}
	d.Prime(samples)
	return audio.Split(samples, d, audio.SegmentOptions{}), nil
}

// clipPaths lists the clips that the arguments name; a folder stands for its
// WAV files, sorted by name.
func clipPaths(args []string) ([]string, error) {
	var paths []string
	for _, arg := range args {
		info, err := os.Stat(arg)
		if err != nil {
			return nil, fmt.Errorf("clip: %w", err)
		}
		if !info.IsDir() {
			paths = append(paths, arg)
			continue
		}
		entries, err := os.ReadDir(arg)
		if err != nil {
			return nil, fmt.Errorf("clips: %w", err)
		}
		before := len(paths)
		for _, e := range entries {
			if !e.IsDir() && strings.EqualFold(filepath.Ext(e.Name()), ".wav") {
				paths = append(paths, filepath.Join(arg, e.Name()))
			}
		}
		if len(paths) == before {
			return nil, fmt.Errorf("clips: %s holds no .wav file", arg)
		}
		slices.Sort(paths[before:])
	}
	return paths, nil
}

// speaker says what is spoken, one line after the other, in the order that it
// was logged. It waits for each, so that a caution is out before what follows.
type speaker struct {
	book     interface{ Speakable(string) string }
	voice    speech.Voice
	sink     speech.Sink
	complain io.Writer
	failed   bool
}

// openSpeaker finds a voice and a place for it, as the setting speak says; nil
// if speech is off. Without a loudspeaker it keeps a WAV file in the job's
// folder. What is missing is told once and is no error: the text is there.
func openSpeaker(k *session.Knowledge, s settings, jobDir string, complain io.Writer) (*speaker, error) {
	if s.Speak == "off" {
		return nil, nil
	}
	voice, err := speech.NewEspeak(s.Voice, s.VoiceRate)
	if errors.Is(err, speech.ErrNoVoice) && s.Speak == "auto" {
		fmt.Fprintln(complain, "callout: no speech:", err)
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	sp := &speaker{book: k.Book, voice: voice, complain: complain}
	if s.Speak != "file" {
		player, err := device.OpenPlayer()
		if err == nil {
			sp.sink = player
			return sp, nil
		}
		if s.Speak == "device" {
			return nil, err
		}
	}
	if sp.sink, err = speech.NewFile(filepath.Join(jobDir, "said.wav"), espeakRate); err != nil {
		return nil, err
	}
	return sp, nil
}

// espeakRate is the sample rate of espeak-ng's voices, in Hz.
const espeakRate = 22050

// Show speaks a spoken line. A voice that fails is told of once and does not
// stop the job.
func (s *speaker) Show(ctx context.Context, r session.Record) error {
	said, ok := r.Body.(joblog.Said)
	if !ok || said.Way != joblog.Spoken {
		return nil
	}
	clip, err := s.voice.Synthesise(ctx, s.book.Speakable(said.Text))
	if err == nil {
		err = s.sink.Play(ctx, clip.Samples, clip.Rate)
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil && !s.failed {
		s.failed = true
		fmt.Fprintln(s.complain, "callout: speech failed, going on in text:", err)
	}
	return nil
}

func (s *speaker) Close() error { return s.sink.Close() }
