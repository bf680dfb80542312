package weights

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
)

// Errors of this package. Every error it returns wraps one of them or an error of
// the operating system.
var (
	// ErrNotCT2 is returned when the bytes are not a CTranslate2 model of version 6.
	ErrNotCT2 = errors.New("not a CTranslate2 version 6 model")
	// ErrDamaged is returned when a file begins as it should and then contradicts
	// itself: it is cut short, or a size or shape cannot be true.
	ErrDamaged = errors.New("damaged")
	// ErrNotGGML is returned when a file is not a ggml Whisper model at all.
	ErrNotGGML = errors.New("not a ggml Whisper model")
	// ErrUnfit is returned when a model is whole but is not one that can be
	// converted: another architecture, another number type, a variable missing.
	ErrUnfit = errors.New("model cannot be converted")
)

// Type is the element type of a CTranslate2 variable.
type Type uint8

// Element types, numbered as CTranslate2's DataType is.
const (
	Float32 Type = iota
	Int8
	Int16
	Int32
	Float16
	BFloat16
)

// size gives the bytes of one element, 0 for a type that this reader does not know.
func (t Type) size() int {
	switch t {
	case Float32, Int32:
		return 4
	case Int16, Float16, BFloat16:
		return 2
	case Int8:
		return 1
	}
	return 0
}

// Variable is one tensor. Data is little-endian, row-major, and shares memory with
// the bytes given to ReadCT2.
type Variable struct {
	Shape []int
	Type  Type
	Data  []byte
}

// Elements is the number of elements; 1 for a scalar.
func (v Variable) Elements() int {
	n := 1
	for _, d := range v.Shape {
		n *= d
	}
	return n
}

// CT2 is a CTranslate2 model file, read. It is not changed after reading and is safe
// for concurrent use.
type CT2 struct {
	Spec      string // the model's kind, e.g. "WhisperSpec"
	Revision  uint32
	Variables map[string]Variable // by name; aliases appear as names too
}

const (
	ct2Version  = 6
	ct2MaxRank  = 8
	ct2MaxNames = 1 << 20 // more variables than any model has
)

// ReadCT2 reads a CTranslate2 model of binary version 6: a version, the name of the
// specification and its revision, the variables, the aliases. All sizes are checked
// against the bytes that are there, so damaged input gives ErrDamaged and never more
// memory than the input itself takes.
// Source of the layout: CTranslate2's own reader (src/models/model.cc).
func ReadCT2(data []byte) (*CT2, error) {
	m, err := parseCT2(data)
	if err != nil {
		return nil, fmt.Errorf("weights: %w", err)
	}
	return m, nil
}

func parseCT2(data []byte) (*CT2, error) {
	r := &cursor{data: data}
	version := r.u32("version")
	if r.err != nil || version != ct2Version {
		return nil, fmt.Errorf("%w (version field %d)", ErrNotCT2, version)
	}
	m := &CT2{Spec: r.name("specification name"), Revision: r.u32("revision")}
	count := r.u32("number of variables")
	if r.err == nil && count > ct2MaxNames {
		r.fail("%d variables", count)
	}
	m.Variables = make(map[string]Variable)
	for i := uint32(0); i < count && r.err == nil; i++ {
		name, v := r.variable()
		if r.err != nil {
			break
		}
		if _, twice := m.Variables[name]; twice {
			r.fail("variable %q appears twice", name)
			break
		}
		m.Variables[name] = v
	}
	aliases := r.u32("number of aliases")
	for i := uint32(0); i < aliases && r.err == nil; i++ {
		alias, of := r.name("alias"), r.name("alias target")
		v, ok := m.Variables[of]
		if r.err == nil && !ok {
			r.fail("alias %q names %q, which is not there", alias, of)
			break
		}
		m.Variables[alias] = v
	}
	if r.err == nil && r.at != len(data) {
		r.fail("%d bytes left over at the end", len(data)-r.at)
	}
	if r.err != nil {
		return nil, r.err
	}
	return m, nil
}

// cursor reads little-endian values and keeps the first error.
type cursor struct {
	data []byte
	at   int
	err  error
}

func (r *cursor) fail(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("CTranslate2 model %w at byte %d: %s", ErrDamaged, r.at, fmt.Sprintf(format, args...))
	}
}

func (r *cursor) take(n int, what string) []byte {
	if r.err != nil {
		return nil
	}
	if n < 0 || n > len(r.data)-r.at {
		r.fail("%s needs %d bytes, %d are left", what, n, len(r.data)-r.at)
		return nil
	}
	b := r.data[r.at : r.at+n : r.at+n]
	r.at += n
	return b
}

func (r *cursor) u8(what string) uint8 {
	if b := r.take(1, what); b != nil {
		return b[0]
	}
	return 0
}

func (r *cursor) u16(what string) uint16 {
	if b := r.take(2, what); b != nil {
		return binary.LittleEndian.Uint16(b)
	}
	return 0
}

func (r *cursor) u32(what string) uint32 {
	if b := r.take(4, what); b != nil {
		return binary.LittleEndian.Uint32(b)
	}
	return 0
}

// name reads a string whose 16-bit length counts a closing NUL.
func (r *cursor) name(what string) string {
	b := r.take(int(r.u16(what)), what)
	if r.err != nil {
		return ""
	}
	if len(b) == 0 || b[len(b)-1] != 0 || strings.IndexByte(string(b[:len(b)-1]), 0) >= 0 {
		r.fail("%s is not a string with a closing NUL", what)
		return ""
	}
	return string(b[:len(b)-1])
}

func (r *cursor) variable() (string, Variable) {
	name := r.name("variable name")
	rank := int(r.u8("rank"))
	if r.err == nil && rank > ct2MaxRank {
		r.fail("%q has rank %d", name, rank)
	}
	if r.err != nil {
		return "", Variable{}
	}
	v := Variable{Shape: make([]int, rank)}
	elements := uint64(1)
	for i := range v.Shape {
		d := r.u32("dimension")
		v.Shape[i] = int(d)
		elements *= uint64(d)
		if elements > uint64(len(r.data)) {
			r.fail("%q has more elements than the file has bytes", name)
			return "", Variable{}
		}
	}
	v.Type = Type(r.u8("type"))
	bytes := r.u32("byte count")
	size := v.Type.size()
	if r.err == nil && size == 0 {
		r.fail("%q has unknown type %d", name, v.Type)
	}
	if r.err == nil && uint64(bytes) != elements*uint64(size) {
		r.fail("%q has %d bytes for %d elements of %d", name, bytes, elements, size)
	}
	v.Data = r.take(int(bytes), name)
	return name, v
}
