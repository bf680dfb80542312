package audio

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Clip is a mono recording. Samples run from -1 to 1; Rate is in hertz.
type Clip struct {
	Samples []float32
	Rate    int
}

const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE

	maxWAV      = 1 << 30 // bytes of one recording: over 5 hours at 16 kHz and 24 bits
	maxWAVRate  = 768000
	minWAVRate  = 1000
	maxChannels = 64
)

// wavFormat is what the "fmt " chunk says.
type wavFormat struct {
	tag      uint16 // wavPCM or wavFloat
	channels int
	rate     int
	bits     int // of one sample's container
}

// ReadWAV reads a RIFF WAVE recording and mixes its channels to one. It reads integer
// samples of 8, 16, 24 and 32 bits and floating-point ones of 32 and 64, plain or
// extensible, at any rate. Sound after the end of a file that is cut short, or whose
// writer could not know its length (a pipe), ends where the bytes do. All that is
// wrong with the bytes gives an error that wraps ErrFormat and says what; a file
// without samples does too.
// Source of the layout: Microsoft and IBM, "Multimedia Programming Interface and Data
// Specifications 1.0" (1991), and Microsoft's WAVEFORMATEXTENSIBLE.
func ReadWAV(r io.Reader) (Clip, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxWAV+1))
	if err != nil {
		return Clip{}, fmt.Errorf("audio: read WAV: %w", err)
	}
	if len(data) > maxWAV {
		return Clip{}, fmt.Errorf("%w: longer than %d MiB; cut it", ErrFormat, maxWAV>>20)
	}
	return parseWAV(data)
}

func parseWAV(data []byte) (Clip, error) {
	switch {
	case len(data) == 0:
		return Clip{}, fmt.Errorf("%w: it is empty", ErrFormat)
	case len(data) < 12 || string(data[8:12]) != "WAVE" || string(data[:4]) != "RIFF":
		return Clip{}, fmt.Errorf("%w: it has no RIFF WAVE head", ErrFormat)
	}
	var format *wavFormat
	for rest := data[12:]; len(rest) >= 8; {
		id, size := string(rest[:4]), uint64(binary.LittleEndian.Uint32(rest[4:]))
		rest = rest[8:]
		body := rest
		if size < uint64(len(rest)) {
			body = rest[:size]
		}
		switch id {
		case "fmt ":
			f, err := parseFormat(body)
			if err != nil {
				return Clip{}, err
			}
			format = &f
		case "data":
			if format == nil {
				return Clip{}, fmt.Errorf("%w: its sound comes before its format", ErrFormat)
			}
			return format.decode(body)
		}
		rest = rest[min(uint64(len(rest)), size+size%2):] // chunks are padded to even sizes
	}
	return Clip{}, fmt.Errorf("%w: it has no sound", ErrFormat)
}

func parseFormat(b []byte) (wavFormat, error) {
	if len(b) < 16 {
		return wavFormat{}, fmt.Errorf("%w: its format is cut short", ErrFormat)
	}
	le := binary.LittleEndian
	f := wavFormat{tag: le.Uint16(b), channels: int(le.Uint16(b[2:])), bits: int(le.Uint16(b[14:]))}
	rate, align := le.Uint32(b[4:]), int(le.Uint16(b[12:]))
	if f.tag == wavExtensible {
		// The sub-format is a GUID that begins with the plain tag.
		guid := []byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71}
		if len(b) < 40 || !bytes.Equal(b[26:40], guid) {
			return wavFormat{}, fmt.Errorf("%w: unknown extensible format", ErrFormat)
		}
		f.tag = le.Uint16(b[24:])
	}
	if f.channels < 1 || f.channels > maxChannels {
		return wavFormat{}, fmt.Errorf("%w: it has %d channels", ErrFormat, f.channels)
	}
	if rate < minWAVRate || rate > maxWAVRate {
		return wavFormat{}, fmt.Errorf("%w: its rate is %d Hz", ErrFormat, rate)
	}
	f.rate = int(rate)
	// The container may be wider than the bits that count; those are at its top.
	if align > 0 && align%f.channels == 0 && align/f.channels*8 > f.bits {
		f.bits = align / f.channels * 8
	}
	f.bits = (f.bits + 7) / 8 * 8
	known := (f.tag == wavPCM && (f.bits == 8 || f.bits == 16 || f.bits == 24 || f.bits == 32)) ||
		(f.tag == wavFloat && (f.bits == 32 || f.bits == 64))
	if !known {
		return wavFormat{}, fmt.Errorf("%w: samples of kind %d with %d bits; save it as 16-bit PCM", ErrFormat, f.tag, f.bits)
	}
	return f, nil
}

func (f wavFormat) decode(b []byte) (Clip, error) {
	width := f.bits / 8
	n := len(b) / (width * f.channels)
	if n == 0 {
		return Clip{}, fmt.Errorf("%w: it has no sound", ErrFormat)
	}
	c := Clip{Samples: make([]float32, n), Rate: f.rate}
	for i := range c.Samples {
		var sum float64
		for ch := range f.channels {
			sum += f.sample(b[(i*f.channels+ch)*width:])
		}
		v := sum / float64(f.channels)
		if math.IsNaN(v) || math.IsInf(v, 0) || math.Abs(v) > 1e6 {
			return Clip{}, fmt.Errorf("%w: sample %d is not a number of a sound", ErrFormat, i)
		}
		c.Samples[i] = float32(v)
	}
	return c, nil
}

func (f wavFormat) sample(b []byte) float64 {
	le := binary.LittleEndian
	switch {
	case f.tag == wavFloat && f.bits == 64:
		return math.Float64frombits(le.Uint64(b))
	case f.tag == wavFloat:
		return float64(math.Float32frombits(le.Uint32(b)))
	case f.bits == 8: // the only unsigned one
		return (float64(b[0]) - 128) / 128
	case f.bits == 16:
		return float64(int16(le.Uint16(b))) / (1 << 15)
	case f.bits == 24:
		return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
	default:
		return float64(int32(le.Uint32(b))) / (1 << 31)
	}
}

// WriteWAV writes samples as a mono WAV of 16-bit integers. Values beyond -1 and 1 are
// clipped.
func WriteWAV(w io.Writer, samples []float32, rate int) error {
	if rate < minWAVRate || rate > maxWAVRate {
		return fmt.Errorf("audio: write WAV: rate of %d Hz", rate)
	}
	size := 2 * uint64(len(samples))
	if size > math.MaxUint32-36 {
		return errors.New("audio: write WAV: longer than a WAV can be")
	}
	le := binary.LittleEndian
	b := make([]byte, 0, 44+size)
	b = append(b, "RIFF"...)
	b = le.AppendUint32(b, uint32(36+size))
	b = append(b, "WAVEfmt "...)
	b = le.AppendUint32(b, 16)
	b = le.AppendUint16(b, wavPCM)
	b = le.AppendUint16(b, 1)
	b = le.AppendUint32(b, uint32(rate))
	b = le.AppendUint32(b, uint32(2*rate))
	b = le.AppendUint16(b, 2)
	b = le.AppendUint16(b, 16)
	b = append(b, "data"...)
	b = le.AppendUint32(b, uint32(size))
	for _, s := range samples {
		v := math.Round(float64(s) * (1 << 15))
		if math.IsNaN(v) {
			v = 0
		}
		b = le.AppendUint16(b, uint16(int16(max(math.MinInt16, min(math.MaxInt16, v)))))
	}
	if _, err := w.Write(b); err != nil {
		return fmt.Errorf("audio: write WAV: %w", err)
	}
	return nil
}
