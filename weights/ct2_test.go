package weights

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/x448/float16"
)

// The smallest shape that the ggml reader of this package takes for a model.
const (
	tinyState  = 4
	tinyVocab  = 1000
	tinyAudio  = 6
	tinyText   = 5
	tinyMels   = 2
	tinyLayers = 2
)

// builder writes a CTranslate2 file, byte by byte after its layout.
type builder struct {
	bytes.Buffer
	count int
	next  float32 // every element of the model has a value of its own, so far as float16 allows
}

func (b *builder) u32(v uint32) { b.Write(binary.LittleEndian.AppendUint32(nil, v)) }

func (b *builder) name(s string) {
	b.Write(binary.LittleEndian.AppendUint16(nil, uint16(len(s)+1)))
	b.WriteString(s + "\x00")
}

func (b *builder) variable(name string, typ Type, data []byte, shape ...int) {
	b.name(name)
	b.WriteByte(byte(len(shape)))
	for _, d := range shape {
		b.u32(uint32(d))
	}
	b.WriteByte(byte(typ))
	b.u32(uint32(len(data)))
	b.Write(data)
	b.count++
}

func (b *builder) floats(name string, zeroFrom, zeroTo int, shape ...int) {
	n := 1
	for _, d := range shape {
		n *= d
	}
	var data []byte
	for i := range n {
		b.next++
		v := float16.Fromfloat32(b.next)
		if i >= zeroFrom && i < zeroTo {
			v = 0
		}
		data = binary.LittleEndian.AppendUint16(data, v.Bits())
	}
	b.variable(name, Float16, data, shape...)
}

// tinyModel is a whole Whisper model in CTranslate2's format, its biases of keys zero.
func tinyModel() []byte {
	var v builder
	linear := func(name string, outer, inner int) {
		v.floats(name+"/bias", 0, 0, outer)
		v.floats(name+"/weight", 0, 0, outer, inner)
	}
	norm := func(name string) {
		v.floats(name+"/beta", 0, 0, tinyState)
		v.floats(name+"/gamma", 0, 0, tinyState)
	}
	fused := func(name string, parts, key int) {
		v.floats(name+"/bias", key*tinyState, (key+1)*tinyState, parts*tinyState)
		v.floats(name+"/weight", 0, 0, parts*tinyState, tinyState)
	}
	for _, side := range []string{"encoder", "decoder"} {
		for l := range tinyLayers {
			at := fmt.Sprintf("%s/layer_%d/", side, l)
			fused(at+"self_attention/linear_0", 3, 1)
			linear(at+"self_attention/linear_1", tinyState, tinyState)
			norm(at + "self_attention/layer_norm")
			if side == "decoder" {
				linear(at+"attention/linear_0", tinyState, tinyState)
				fused(at+"attention/linear_1", 2, 0)
				linear(at+"attention/linear_2", tinyState, tinyState)
				norm(at + "attention/layer_norm")
			}
			linear(at+"ffn/linear_0", 4*tinyState, tinyState)
			linear(at+"ffn/linear_1", tinyState, 4*tinyState)
			norm(at + "ffn/layer_norm")
		}
		norm(side + "/layer_norm")
		v.variable(side+"/num_heads", Int16, []byte{2, 0})
	}
	v.floats("encoder/position_encodings/encodings", 0, 0, tinyAudio, tinyState)
	v.floats("decoder/position_encodings/encodings", 0, 0, tinyText, tinyState)
	v.floats("decoder/embeddings/weight", 0, 0, tinyVocab, tinyState)
	for i, inner := range []int{tinyMels, tinyState} {
		v.floats(fmt.Sprintf("encoder/conv%d/bias", i+1), 0, 0, tinyState)
		v.floats(fmt.Sprintf("encoder/conv%d/weight", i+1), 0, 0, tinyState, inner, 3)
	}
	var file builder
	file.u32(6)
	file.name("WhisperSpec")
	file.u32(3)
	file.u32(uint32(v.count))
	file.Write(v.Bytes())
	file.u32(1)
	file.name("decoder/projection/weight")
	file.name("decoder/embeddings/weight")
	return file.Bytes()
}

func tinyAssets() Assets {
	return Assets{Mel: []float32{1, 2, 3, 4, 5, 6}, MelRows: tinyMels, MelCols: 3, Tokens: [][]byte{[]byte("a"), nil, []byte(" b\xff")}}
}

func TestReadCT2(t *testing.T) {
	m, err := ReadCT2(tinyModel())
	require.NoError(t, err)
	assert.Equal(t, "WhisperSpec", m.Spec)
	assert.EqualValues(t, 3, m.Revision)
	v := m.Variables["encoder/conv1/weight"]
	assert.Equal(t, []int{tinyState, tinyMels, 3}, v.Shape)
	assert.Equal(t, Float16, v.Type)
	assert.Len(t, v.Data, 2*v.Elements())
	assert.Equal(t, m.Variables["decoder/embeddings/weight"], m.Variables["decoder/projection/weight"], "alias")
}

func TestReadCT2Damage(t *testing.T) {
	whole := tinyModel()
	for n := range len(whole) {
		if n > 2000 && n%97 != 0 { // every length at first, then many
			continue
		}
		_, err := ReadCT2(whole[:n])
		require.Error(t, err, "%d of %d bytes", n, len(whole))
		require.True(t, strings.HasPrefix(err.Error(), "weights: "), "%v", err)
	}
	_, err := ReadCT2(append(bytes.Clone(whole), 0))
	assert.ErrorIs(t, err, ErrDamaged)
	for _, b := range [][]byte{nil, {6, 0}, []byte("PK\x03\x04 a wheel"), {5, 0, 0, 0, 1, 2, 3}} {
		_, err := ReadCT2(b)
		assert.ErrorIs(t, err, ErrNotCT2)
	}
}

func FuzzReadCT2(f *testing.F) {
	whole := tinyModel()
	f.Add(whole)
	f.Add(whole[:300])
	var b builder
	b.u32(6)
	b.name("X")
	b.u32(1)
	b.u32(1)
	b.variable("v", Float32, []byte{1, 2, 3, 4}, 1, 1)
	b.u32(0)
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ReadCT2(data)
		if err != nil {
			return
		}
		for name, v := range m.Variables {
			if len(v.Data) != v.Elements()*v.Type.size() {
				t.Fatalf("%q: %d bytes for %d elements", name, len(v.Data), v.Elements())
			}
		}
		_ = Convert(m, tinyAssets(), nil, BFloat16, &bytes.Buffer{}) // an error or not, but no panic
	})
}

// ggmlFile is a ggml Whisper file, read back by a reader of its own for these tests.
type ggmlFile struct {
	header  [12]int32
	mel     []float32
	tokens  [][]byte
	tensors map[string]ggmlTensor
}

type ggmlTensor struct {
	dims   []int32 // innermost first, as in the file
	values []float32
	ftype  int32
}

func readGGML(t *testing.T, b []byte) ggmlFile {
	t.Helper()
	i32 := func() int32 {
		v := int32(binary.LittleEndian.Uint32(b))
		b = b[4:]
		return v
	}
	g := ggmlFile{tensors: make(map[string]ggmlTensor)}
	for i := range g.header {
		g.header[i] = i32()
	}
	rows, cols := i32(), i32()
	for range rows * cols {
		g.mel = append(g.mel, math.Float32frombits(uint32(i32())))
	}
	for range i32() {
		n := i32()
		g.tokens = append(g.tokens, b[:n:n])
		b = b[n:]
	}
	for len(b) > 0 {
		n, length := i32(), i32()
		ten := ggmlTensor{ftype: i32()}
		elements := int32(1)
		for range n {
			d := i32()
			ten.dims = append(ten.dims, d)
			elements *= d
		}
		name := string(b[:length])
		b = b[length:]
		for range elements {
			switch ten.ftype {
			case 1:
				ten.values = append(ten.values, float16.Frombits(binary.LittleEndian.Uint16(b)).Float32())
				b = b[2:]
			case 30:
				ten.values = append(ten.values, math.Float32frombits(uint32(binary.LittleEndian.Uint16(b))<<16))
				b = b[2:]
			default:
				ten.values = append(ten.values, math.Float32frombits(uint32(i32())))
			}
		}
		_, twice := g.tensors[name]
		require.False(t, twice, "%s is there twice", name)
		g.tensors[name] = ten
	}
	return g
}

func writeTiny(t *testing.T) (path string, file []byte) {
	t.Helper()
	m, err := ReadCT2(tinyModel())
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, Convert(m, tinyAssets(), nil, Float16, &b))
	path = filepath.Join(t.TempDir(), "ggml-tiny.bin")
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o600))
	return path, b.Bytes()
}
