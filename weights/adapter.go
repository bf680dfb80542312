package weights

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/x448/float16"
)

// Adapter is a low-rank change of a model's linear layers: a weight W becomes
// W + Strength * B A. It is not changed after reading and is safe for concurrent use.
type Adapter struct {
	Base     string // the model that it was trained for, e.g. "tiny.en"
	Strength float64
	layers   map[string]lowRank
}

// lowRank is one layer's change: a is rank by inputs, b outputs by rank, row-major.
type lowRank struct {
	rank, inputs, outputs int
	a, b                  []float64
}

const (
	adapterFormat  = "callout-adapter-1"
	maxAdapter     = 8 << 20 // bytes of a whole file
	maxRank        = 256
	adapterMaxHead = 1 << 20
)

// ReadAdapter reads an adapter file: safetensors with two float16 tensors for each
// layer, NAME.a and NAME.b, and the metadata format, base and strength. A file that
// contradicts itself gives ErrDamaged, one of another kind ErrUnfit.
// Source of the layout: the safetensors format's description (8-byte length, JSON header
// with dtype, shape and data_offsets, data).
func ReadAdapter(data []byte) (*Adapter, error) {
	a, err := parseAdapter(data)
	if err != nil {
		return nil, fmt.Errorf("weights: adapter: %w", err)
	}
	return a, nil
}

type safetensor struct {
	DType   string    `json:"dtype"`
	Shape   []int     `json:"shape"`
	Offsets [2]uint64 `json:"data_offsets"`
}

// parseSafetensors gives the tensors of a file as float64 values, and its metadata.
func parseSafetensors(data []byte) (map[string]safetensor, map[string][]float64, map[string]string, error) {
	fail := func(format string, args ...any) (map[string]safetensor, map[string][]float64, map[string]string, error) {
		return nil, nil, nil, fmt.Errorf("%w: %s", ErrDamaged, fmt.Sprintf(format, args...))
	}
	if len(data) < 8 {
		return fail("it has %d bytes", len(data))
	}
	n := binary.LittleEndian.Uint64(data)
	if n > adapterMaxHead || n > uint64(len(data)-8) {
		return fail("its header is said to have %d bytes", n)
	}
	var raw map[string]json.RawMessage
	if err := json.Unmarshal(data[8:8+n], &raw); err != nil {
		return fail("header: %v", err)
	}
	body := data[8+n:]
	heads, values, meta := map[string]safetensor{}, map[string][]float64{}, map[string]string{}
	for name, r := range raw {
		if name == "__metadata__" {
			if err := json.Unmarshal(r, &meta); err != nil {
				return fail("metadata: %v", err)
			}
			continue
		}
		var t safetensor
		if err := json.Unmarshal(r, &t); err != nil {
			return fail("%q: %v", name, err)
		}
		count := uint64(1)
		for _, d := range t.Shape {
			if d < 1 || d > 1<<20 {
				return fail("%q has shape %v", name, t.Shape)
			}
			if count *= uint64(d); count > uint64(len(body)) {
				return fail("%q has more elements than the file has bytes", name)
			}
		}
		lo, hi := t.Offsets[0], t.Offsets[1]
		if t.DType != "F16" || hi > uint64(len(body)) || lo > hi || hi-lo != 2*count {
			return fail("%q is %s of shape %v in bytes %d to %d of %d", name, t.DType, t.Shape, lo, hi, len(body))
		}
		v := make([]float64, count)
		for i := range v {
			v[i] = float64(float16.Frombits(binary.LittleEndian.Uint16(body[lo+2*uint64(i):])).Float32())
			if math.IsNaN(v[i]) || math.IsInf(v[i], 0) {
				return fail("%q holds a value that is no number", name)
			}
		}
		heads[name], values[name] = t, v
	}
	return heads, values, meta, nil
}

func parseAdapter(data []byte) (*Adapter, error) {
	if len(data) > maxAdapter {
		return nil, fmt.Errorf("%w: %d bytes are more than an adapter has", ErrUnfit, len(data))
	}
	heads, values, meta, err := parseSafetensors(data)
	if err != nil {
		return nil, err
	}
	if meta["format"] != adapterFormat {
		return nil, fmt.Errorf("%w: its format is %q, not %q", ErrUnfit, meta["format"], adapterFormat)
	}
	a := &Adapter{Base: meta["base"], layers: map[string]lowRank{}}
	if a.Strength, err = strconv.ParseFloat(meta["strength"], 64); err != nil || !(a.Strength >= 0 && a.Strength <= 2) {
		return nil, fmt.Errorf("%w: its strength is %q", ErrUnfit, meta["strength"])
	}
	for name, h := range heads {
		layer, isA := strings.CutSuffix(name, ".a")
		if !isA {
			if layer, isB := strings.CutSuffix(name, ".b"); !isB || heads[layer+".a"].Shape == nil {
				return nil, fmt.Errorf("%w: tensor %q has no fellow", ErrUnfit, name)
			}
			continue
		}
		b, ok := heads[layer+".b"]
		if !ok || len(h.Shape) != 2 || len(b.Shape) != 2 || h.Shape[0] != b.Shape[1] || h.Shape[0] > maxRank {
			return nil, fmt.Errorf("%w: layer %q: shapes %v and %v do not go together", ErrUnfit, layer, h.Shape, b.Shape)
		}
		a.layers[layer] = lowRank{rank: h.Shape[0], inputs: h.Shape[1], outputs: b.Shape[0], a: values[name], b: values[layer+".b"]}
	}
	if len(a.layers) == 0 {
		return nil, fmt.Errorf("%w: it changes no layer", ErrUnfit)
	}
	return a, nil
}

// merge puts the adapter into the weights among list. Every layer of the adapter must be
// there, as a matrix of its shape.
func (a *Adapter) merge(list []tensor) error {
	left := len(a.layers)
	for i, t := range list {
		name, ok := strings.CutSuffix(t.name, ".weight")
		layer, changed := a.layers[name]
		if !ok || !changed {
			continue
		}
		if shape := t.from.Shape; len(shape) != 2 || shape[0] != layer.outputs || shape[1] != layer.inputs {
			return fmt.Errorf("weights: adapter: %w: %q is %v, not %d by %d", ErrUnfit, t.name, shape, layer.outputs, layer.inputs)
		}
		list[i].change, list[i].strength = &layer, a.Strength
		left--
	}
	if left > 0 {
		return fmt.Errorf("weights: adapter: %w: %d of its layers are not in the model", ErrUnfit, left)
	}
	return nil
}

// onto adds the change to a weight: the sum over the rank in order in float64, then
// rounded to typ. training/adapter.py does the same.
func (l lowRank) onto(w Variable, strength float64, typ Type) []byte {
	out := make([]byte, 0, w.Elements()*typ.size())
	row := make([]float64, l.inputs)
	for o := range l.outputs {
		clear(row)
		for r := range l.rank {
			b := l.b[o*l.rank+r]
			for i, a := range l.a[r*l.inputs : (r+1)*l.inputs] {
				row[i] += float64(b * a) // the conversion keeps the product from being fused into the sum
			}
		}
		for i, delta := range row {
			out = typ.append(out, w.at(o*l.inputs+i)+float64(strength*delta))
		}
	}
	return out
}
