package weights

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
)

// Header is the head of a ggml Whisper file, in the order of the file.
type Header struct {
	Vocab      int32 // tokens, special ones included
	AudioCtx   int32 // encoder positions, 50 a second
	AudioState int32
	AudioHead  int32
	AudioLayer int32
	TextCtx    int32 // decoder positions
	TextState  int32
	TextHead   int32
	TextLayer  int32
	Mels       int32 // mel bands
	FType      int32 // 0: all float32; 1: large tensors float16; 24: bfloat16; others: quantised
}

// Type names the type of the matrices.
func (h Header) Type() string {
	switch h.FType {
	case ggmlF32:
		return "f32"
	case ggmlMostlyF16:
		return "f16"
	case ggmlMostlyBF16:
		return "bf16"
	}
	return "quantised"
}

// Multilingual reports whether the model knows more languages than English.
func (h Header) Multilingual() bool { return h.Vocab >= multilingualVocab }

const (
	ggmlMagic         = 0x67676d6c // "ggml"
	multilingualVocab = 51865
	ggmlF32           = 0
	ggmlF16           = 1
	ggmlBF16          = 30
	ggmlMostlyF16     = 1 // of a whole file (ggml.h, ggml_ftype)
	ggmlMostlyBF16    = 24
)

// ggmlTypes gives bytes and elements of one block for each ggml type that Whisper
// files use. Source: ggml's type table (ggml.c) of the library release that is pinned.
var ggmlTypes = map[int32]struct{ bytes, elements int64 }{
	0: {4, 1},                // f32
	1: {2, 1},                // f16
	2: {18, 32}, 3: {20, 32}, // q4_0, q4_1
	6: {22, 32}, 7: {24, 32}, // q5_0, q5_1
	8:  {34, 32},                                  // q8_0
	10: {84, 256}, 11: {110, 256}, 12: {144, 256}, // q2_k, q3_k, q4_k
	13: {176, 256}, 14: {210, 256}, // q5_k, q6_k
	30: {2, 1}, // bf16
}

// ggmlNumbers gives ggml's number of each type that is written.
var ggmlNumbers = map[Type]int32{Float32: ggmlF32, Float16: ggmlF16, BFloat16: ggmlBF16}

// Assets is what a ggml file needs beside the weights.
type Assets struct {
	Mel              []float32 // mel filter bank, row-major: bands by spectrum bins
	MelRows, MelCols int
	Tokens           [][]byte // vocabulary without special tokens, by token number
}

// encoder writes little-endian values and keeps the first error.
type encoder struct {
	w   io.Writer
	err error
}

func (e *encoder) i32(vs ...int32) {
	var b [4]byte
	for _, v := range vs {
		binary.LittleEndian.PutUint32(b[:], uint32(v))
		e.bytes(b[:])
	}
}

func (e *encoder) f32(v float32) { e.i32(int32(math.Float32bits(v))) }

func (e *encoder) bytes(b []byte) {
	if e.err == nil {
		_, e.err = e.w.Write(b)
	}
}

// tensor is one tensor of a ggml file: a variable and its change, to be written as typ.
type tensor struct {
	name     string
	from     Variable
	typ      Type
	change   *lowRank // nil: none
	strength float64  // of the change
}

func (t tensor) data() []byte {
	if t.change == nil {
		return recode(t.from, t.typ)
	}
	return t.change.onto(t.from, t.strength, t.typ)
}

// writeGGML writes a whole file. Layout: whisper.cpp's models/convert-pt-to-ggml.py.
func writeGGML(w io.Writer, h Header, a Assets, tensors []tensor) error {
	e := &encoder{w: w}
	e.i32(ggmlMagic, h.Vocab, h.AudioCtx, h.AudioState, h.AudioHead, h.AudioLayer,
		h.TextCtx, h.TextState, h.TextHead, h.TextLayer, h.Mels, h.FType)
	e.i32(int32(a.MelRows), int32(a.MelCols))
	for _, v := range a.Mel {
		e.f32(v)
	}
	e.i32(int32(len(a.Tokens)))
	for _, t := range a.Tokens {
		e.i32(int32(len(t)))
		e.bytes(t)
	}
	for _, t := range tensors {
		shape := t.from.Shape // row-major, outermost first
		e.i32(int32(len(shape)), int32(len(t.name)), ggmlNumbers[t.typ])
		for i := len(shape) - 1; i >= 0; i-- {
			e.i32(int32(shape[i]))
		}
		e.bytes([]byte(t.name))
		e.bytes(t.data())
	}
	return e.err
}

// Inspect walks the ggml file at path and checks that it is whole: magic, sane header,
// vocabulary, and every tensor with all its bytes. The C loader reads past a short end
// without noticing, so every model goes through here first. It reads headers only and
// takes milliseconds.
func Inspect(path string) (Header, error) {
	f, err := os.Open(path)
	if err != nil {
		return Header{}, fmt.Errorf("weights: %w", err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return Header{}, fmt.Errorf("weights: %w", err)
	}
	if !st.Mode().IsRegular() {
		return Header{}, fmt.Errorf("weights: %s: %w (not a regular file)", path, ErrNotGGML)
	}
	h, err := inspect(f, st.Size())
	if err != nil {
		return Header{}, fmt.Errorf("weights: %s: %w", path, err)
	}
	return h, nil
}

// walker reads a ggml file from start to end, skipping tensor data.
type walker struct {
	r    *bufio.Reader
	src  io.ReadSeeker
	at   int64
	size int64
	err  error
}

func (w *walker) fail(format string, args ...any) {
	if w.err == nil {
		w.err = fmt.Errorf("%w at byte %d: %s", ErrDamaged, w.at, fmt.Sprintf(format, args...))
	}
}

func (w *walker) i32(what string) int32 {
	var b [4]byte
	if w.err != nil {
		return 0
	}
	if _, err := io.ReadFull(w.r, b[:]); err != nil {
		w.broken(what, err)
		return 0
	}
	w.at += 4
	return int32(binary.LittleEndian.Uint32(b[:]))
}

func (w *walker) broken(what string, err error) {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		w.fail("the file ends inside %s", what)
	} else if w.err == nil {
		w.err = err
	}
}

func (w *walker) skip(n int64, what string) {
	if w.err != nil {
		return
	}
	if n < 0 || n > w.size-w.at {
		w.fail("%s needs %d bytes, %d are left", what, n, w.size-w.at)
		return
	}
	if n <= int64(w.r.Buffered()) {
		_, w.err = w.r.Discard(int(n))
	} else {
		if _, w.err = w.src.Seek(w.at+n, io.SeekStart); w.err == nil {
			w.r.Reset(w.src)
		}
	}
	w.at += n
}

func inspect(src io.ReadSeeker, size int64) (Header, error) {
	w := &walker{r: bufio.NewReaderSize(src, 1<<16), src: src, size: size}
	if magic := w.i32("magic"); w.err != nil || magic != ggmlMagic {
		if w.err != nil && !errors.Is(w.err, ErrDamaged) {
			return Header{}, w.err
		}
		return Header{}, fmt.Errorf("%w (it does not begin with the ggml mark)", ErrNotGGML)
	}
	h := w.header()
	rows, cols := w.i32("mel rows"), w.i32("mel columns")
	if w.err == nil && (rows != h.Mels || cols < 1 || cols > 4096) {
		w.fail("mel filters of %d by %d for %d bands", rows, cols, h.Mels)
	}
	w.skip(4*int64(rows)*int64(cols), "mel filters")
	w.vocabulary(h)
	tensors := w.tensors()
	if want := 8 + 15*h.AudioLayer + 24*h.TextLayer + 3; w.err == nil && tensors != want {
		w.fail("%d tensors, a model of this shape has %d", tensors, want)
	}
	return h, w.err
}

func (w *walker) header() Header {
	var h Header
	for _, f := range []struct {
		to       *int32
		name     string
		min, max int32
	}{
		{&h.Vocab, "vocabulary size", 1000, 1 << 20},
		{&h.AudioCtx, "audio context", 1, 1 << 16},
		{&h.AudioState, "audio state", 1, 1 << 16},
		{&h.AudioHead, "audio heads", 1, 1 << 10},
		{&h.AudioLayer, "audio layers", 1, 1 << 10},
		{&h.TextCtx, "text context", 1, 1 << 16},
		{&h.TextState, "text state", 1, 1 << 16},
		{&h.TextHead, "text heads", 1, 1 << 10},
		{&h.TextLayer, "text layers", 1, 1 << 10},
		{&h.Mels, "mel bands", 1, 1 << 10},
		{&h.FType, "number type", 0, 1 << 16},
	} {
		*f.to = w.i32(f.name)
		if w.err == nil && (*f.to < f.min || *f.to > f.max) {
			w.fail("%s is %d", f.name, *f.to)
		}
	}
	if w.err == nil && (h.AudioState != h.TextState || h.AudioState%h.AudioHead != 0 || h.TextState%h.TextHead != 0) {
		w.fail("states %d and %d do not fit heads %d and %d", h.AudioState, h.TextState, h.AudioHead, h.TextHead)
	}
	return h
}

func (w *walker) vocabulary(h Header) {
	n := w.i32("vocabulary")
	if w.err == nil && (n < 1 || n > h.Vocab) {
		w.fail("vocabulary of %d for %d tokens", n, h.Vocab)
	}
	for i := int32(0); i < n && w.err == nil; i++ {
		length := w.i32("token length")
		if w.err == nil && (length < 0 || length > 1<<12) {
			w.fail("token %d is %d bytes long", i, length)
		}
		w.skip(int64(length), "token")
	}
}

func (w *walker) tensors() (n int32) {
	for w.err == nil && w.at < w.size {
		dims, length, ftype := w.i32("tensor"), w.i32("tensor"), w.i32("tensor")
		block, known := ggmlTypes[ftype]
		if w.err == nil && (dims < 1 || dims > 4 || length < 1 || length > 256 || !known) {
			w.fail("tensor %d has %d dimensions, a name of %d bytes, type %d", n, dims, length, ftype)
			return n
		}
		elements := int64(1)
		for i := int32(0); i < dims && w.err == nil; i++ {
			d := w.i32("tensor shape")
			if d < 1 || elements > w.size*256/int64(max(d, 1)) {
				w.fail("tensor %d has dimension %d", n, d)
			}
			elements *= int64(d)
		}
		w.skip(int64(length), "tensor name")
		if w.err == nil {
			w.skip(elements/block.elements*block.bytes, "tensor data")
		}
		n++
	}
	return n
}
