package weights

import (
	"encoding/binary"
	"fmt"
	"math"

	"github.com/x448/float16"
)

// ParseType gives the type of a model file's matrices by its name, "f16" or "bf16".
func ParseType(name string) (Type, error) {
	switch name {
	case "f16":
		return Float16, nil
	case "bf16":
		return BFloat16, nil
	}
	return 0, fmt.Errorf("weights: %w: type %q is neither f16 nor bf16", ErrUnfit, name)
}

// at is the element i of a float16 or float32 variable.
func (v Variable) at(i int) float64 {
	if v.Type == Float16 {
		return float64(float16.Frombits(binary.LittleEndian.Uint16(v.Data[2*i:])).Float32())
	}
	return float64(math.Float32frombits(binary.LittleEndian.Uint32(v.Data[4*i:])))
}

// append appends v as the type t, little-endian, rounded to nearest, ties to even.
// Float16 takes the way over float32, as training/adapter.py does.
func (t Type) append(b []byte, v float64) []byte {
	switch t {
	case Float32:
		return binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
	case Float16:
		return binary.LittleEndian.AppendUint16(b, float16.Fromfloat32(float32(v)).Bits())
	}
	return binary.LittleEndian.AppendUint16(b, bfloat16(v))
}

// bfloat16 rounds v once, to nearest, ties to even. A bfloat16 is the upper half of a
// float32 (ggml.h: ggml_bf16_t). The float32 between is rounded to odd, so that it stays
// on v's side of the halfway points. What is no number stays none.
func bfloat16(v float64) uint16 {
	f := float32(v)
	bits := math.Float32bits(f)
	if math.IsNaN(v) {
		return uint16(bits>>16) | 0x40
	}
	if back := float64(f); back != v {
		if math.Abs(back) > math.Abs(v) {
			bits--
		}
		bits |= 1
	}
	return uint16((bits + 0x7fff + bits>>16&1) >> 16)
}
