package weights

import (
	"archive/zip"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path"
	"regexp"
	"strconv"

	"github.com/x448/float16"
)

// VAD is the Silero voice-activity detector for 16 kHz, as its Python package carries it.
type VAD struct {
	Version [3]int32
	tensors map[string]Variable
}

// vadLayout lists the detector's tensors: the name in the package, the name in the
// library's file, the shape, and whether the library wants it in float16. Source: the
// library's models/convert-silero-vad-to-ggml.py and the tensors it creates on loading.
var vadLayout = []struct {
	from, to string
	shape    []int
	half     bool
}{
	{"conv1.weight", "_model.encoder.0.reparam_conv.weight", []int{128, 129, 3}, true},
	{"conv1.bias", "_model.encoder.0.reparam_conv.bias", []int{128}, false},
	{"conv2.weight", "_model.encoder.1.reparam_conv.weight", []int{64, 128, 3}, true},
	{"conv2.bias", "_model.encoder.1.reparam_conv.bias", []int{64}, false},
	{"conv3.weight", "_model.encoder.2.reparam_conv.weight", []int{64, 64, 3}, true},
	{"conv3.bias", "_model.encoder.2.reparam_conv.bias", []int{64}, false},
	{"conv4.weight", "_model.encoder.3.reparam_conv.weight", []int{128, 64, 3}, true},
	{"conv4.bias", "_model.encoder.3.reparam_conv.bias", []int{128}, false},
	{"lstm_cell.weight_ih", "_model.decoder.rnn.weight_ih", []int{512, 128}, false},
	{"lstm_cell.weight_hh", "_model.decoder.rnn.weight_hh", []int{512, 128}, false},
	{"lstm_cell.bias_ih", "_model.decoder.rnn.bias_ih", []int{512}, false},
	{"lstm_cell.bias_hh", "_model.decoder.rnn.bias_hh", []int{512}, false},
	{"final_conv.weight", "_model.decoder.decoder.2.weight", []int{1, 128, 1}, true},
	{"final_conv.bias", "_model.decoder.decoder.2.bias", []int{1}, false},
	{"stft_conv.weight", "_model.stft.forward_basis_buffer", []int{258, 1, 256}, true},
}

const (
	vadFile = "silero_vad/data/silero_vad_16k.safetensors"
	maxVAD  = 16 << 20
)

var vadVersion = regexp.MustCompile(`^silero_vad-(\d+)\.(\d+)\.(\d+)\.dist-info$`)

// ReadVAD reads the detector from its package, a Python wheel.
func ReadVAD(wheel string) (*VAD, error) {
	z, err := zip.OpenReader(wheel)
	if err != nil {
		return nil, fmt.Errorf("weights: %s: %w: %w", wheel, ErrDamaged, err)
	}
	defer z.Close()
	v := &VAD{}
	for _, f := range z.File {
		if m := vadVersion.FindStringSubmatch(path.Dir(f.Name)); m != nil {
			for i := range v.Version {
				n, err := strconv.ParseInt(m[i+1], 10, 32)
				if err != nil {
					return nil, fmt.Errorf("weights: %s: %w: version %s", wheel, ErrUnfit, m[0])
				}
				v.Version[i] = int32(n)
			}
		}
		if f.Name != vadFile {
			continue
		}
		r, err := f.Open()
		if err != nil {
			return nil, fmt.Errorf("weights: %s: %w: %w", wheel, ErrDamaged, err)
		}
		data, err := io.ReadAll(io.LimitReader(r, maxVAD))
		r.Close()
		if err != nil {
			return nil, fmt.Errorf("weights: %s: %w: %w", wheel, ErrDamaged, err)
		}
		if v.tensors, err = parseVAD(data); err != nil {
			return nil, fmt.Errorf("weights: %s: %w", wheel, err)
		}
	}
	if v.tensors == nil || v.Version == [3]int32{} {
		return nil, fmt.Errorf("weights: %s: %w: no %s in it", wheel, ErrUnfit, vadFile)
	}
	return v, nil
}

// parseVAD reads the float32 tensors of vadLayout from a safetensors file. Source of the
// format: its description (8-byte length, JSON header, data).
func parseVAD(data []byte) (map[string]Variable, error) {
	if len(data) < 8 {
		return nil, fmt.Errorf("%w: %d bytes", ErrDamaged, len(data))
	}
	n := binary.LittleEndian.Uint64(data)
	if n > uint64(len(data)-8) {
		return nil, fmt.Errorf("%w: its header is said to have %d bytes", ErrDamaged, n)
	}
	var heads map[string]safetensor
	if err := json.Unmarshal(data[8:8+n], &heads); err != nil {
		return nil, fmt.Errorf("%w: header: %w", ErrDamaged, err)
	}
	body := data[8+n:]
	out := map[string]Variable{}
	for _, l := range vadLayout {
		t, ok := heads[l.from]
		if !ok {
			return nil, fmt.Errorf("%w: no tensor %q", ErrUnfit, l.from)
		}
		count := 1
		for _, d := range l.shape {
			count *= d
		}
		if fmt.Sprint(t.Shape) != fmt.Sprint(l.shape) || t.DType != "F32" {
			return nil, fmt.Errorf("%w: %q is %s of shape %v, want F32 of %v", ErrUnfit, l.from, t.DType, t.Shape, l.shape)
		}
		lo, hi := t.Offsets[0], t.Offsets[1]
		if hi > uint64(len(body)) || lo > hi || hi-lo != 4*uint64(count) {
			return nil, fmt.Errorf("%w: %q lies in bytes %d to %d of %d", ErrDamaged, l.from, lo, hi, len(body))
		}
		out[l.from] = Variable{Type: Float32, Shape: l.shape, Data: body[lo:hi]}
	}
	return out, nil
}

// Write writes the detector as the library reads it.
func (v *VAD) Write(w io.Writer) error {
	e := &encoder{w: w}
	const kind = "silero-16k"
	e.i32(ggmlMagic, int32(len(kind)))
	e.bytes([]byte(kind))
	e.i32(v.Version[:]...)
	e.i32(512, 64, 4) // window and context in samples; encoder layers
	e.i32(129, 128, 3, 128, 64, 3, 64, 64, 3, 64, 128, 3)
	e.i32(128, 128, 128, 1) // LSTM input and state; last convolution in and out
	for _, l := range vadLayout {
		t := v.tensors[l.from]
		dims := vadDims(l.to, t.Shape)
		kind := int32(ggmlF32)
		data := t.Data
		if l.half {
			kind = ggmlF16
			half := make([]byte, 0, len(data)/2)
			for i := 0; i < len(data); i += 4 {
				x := math.Float32frombits(binary.LittleEndian.Uint32(data[i:]))
				half = binary.LittleEndian.AppendUint16(half, float16.Fromfloat32(x).Bits())
			}
			data = half
		}
		e.i32(int32(len(dims)), int32(len(l.to)), kind)
		e.i32(dims...)
		e.bytes([]byte(l.to))
		e.bytes(data)
	}
	return e.err
}

// vadDims is the shape as the library has it: the fastest dimension first, and those of
// size one left out but for the transform's.
func vadDims(name string, shape []int) (dims []int32) {
	for i := len(shape) - 1; i >= 0; i-- {
		if shape[i] != 1 || name == "_model.stft.forward_basis_buffer" {
			dims = append(dims, int32(shape[i]))
		}
	}
	if len(dims) == 0 {
		return []int32{1}
	}
	return dims
}
