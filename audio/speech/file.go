package speech

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"syscall"
)

// File is a Sink that keeps all that was said in one growing WAV file, 16-bit
// mono. The header is kept true after every sound, so that the file can be
// played at any moment. Not safe for concurrent use.
type File struct {
	f    *os.File
	rate int
	data uint32
}

const wavHeader = 44

// NewFile creates the file, or goes on with one that it made before. The rate
// is in Hz and holds for the whole file. A link or a pipe of that name is refused:
// the job's folder may come from anywhere.
func NewFile(path string, rate int) (*File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0o600)
	if err != nil {
		return nil, fmt.Errorf("speech: keeping what is said: %w", err)
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s is no regular file", path)
	}
	if err != nil {
		return nil, fmt.Errorf("speech: keeping what is said: %w", errors.Join(err, f.Close()))
	}
	s := &File{f: f, rate: rate}
	if info.Size() > wavHeader {
		s.data = uint32(info.Size()-wavHeader) &^ 1
	}
	if err := s.header(); err != nil {
		f.Close()
		return nil, err
	}
	return s, nil
}

// Name is the file's path.
func (s *File) Name() string { return s.f.Name() }

// Play appends the sound. A sound of another rate is refused.
func (s *File) Play(_ context.Context, samples []float32, rate int) error {
	if rate != s.rate {
		return fmt.Errorf("speech: %s holds %d Hz, not %d Hz", s.f.Name(), s.rate, rate)
	}
	pcm := make([]byte, 2*len(samples))
	for i, v := range samples {
		v = max(-1, min(1, v))
		binary.LittleEndian.PutUint16(pcm[2*i:], uint16(int16(math.Round(float64(v)*math.MaxInt16))))
	}
	if uint64(s.data)+uint64(len(pcm)) > math.MaxUint32-wavHeader {
		return fmt.Errorf("speech: %s is full (4 GB)", s.f.Name())
	}
	if _, err := s.f.WriteAt(pcm, wavHeader+int64(s.data)); err != nil {
		return fmt.Errorf("speech: keeping what is said: %w", err)
	}
	s.data += uint32(len(pcm))
	return s.header()
}

func (s *File) header() error {
	h := make([]byte, 0, wavHeader)
	le := binary.LittleEndian
	h = le.AppendUint32(append(h, "RIFF"...), wavHeader-8+s.data)
	h = le.AppendUint32(append(h, "WAVEfmt "...), 16)
	h = le.AppendUint16(h, 1) // PCM
	h = le.AppendUint16(h, 1) // one channel
	h = le.AppendUint32(h, uint32(s.rate))
	h = le.AppendUint32(h, uint32(2*s.rate))
	h = le.AppendUint16(h, 2)
	h = le.AppendUint16(h, 16)
	h = le.AppendUint32(append(h, "data"...), s.data)
	if _, err := s.f.WriteAt(h, 0); err != nil {
		return fmt.Errorf("speech: keeping what is said: %w", err)
	}
	return nil
}

// Close closes the file.
func (s *File) Close() error { return s.f.Close() }
