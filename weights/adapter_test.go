package weights

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/x448/float16"
)

// golden reads a file of testdata/adapter, which training/adapter.py made (golden).
func golden(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/adapter/" + name + ".safetensors")
	require.NoError(t, err)
	return b
}

func halves(v []float64) []byte {
	out := make([]byte, 0, 2*len(v))
	for _, x := range v {
		out = binary.LittleEndian.AppendUint16(out, float16.Fromfloat32(float32(x)).Bits())
	}
	return out
}

// matrix is a float16 tensor of a model.
func matrix(name string, shape []int, v []float64) tensor {
	return tensor{name: name, from: Variable{Shape: shape, Type: Float16, Data: halves(v)}, typ: Float16}
}

// The merge is the one that NumPy makes in training/adapter.py, bit for bit.
func TestMergeIsThatOfTheTraining(t *testing.T) {
	a, err := ReadAdapter(golden(t, "adapter"))
	require.NoError(t, err)
	assert.Equal(t, "tiny.en", a.Base)
	assert.Equal(t, 0.75, a.Strength)

	heads, base, _, err := parseSafetensors(golden(t, "base"))
	require.NoError(t, err)
	_, want, _, err := parseSafetensors(golden(t, "merged"))
	require.NoError(t, err)
	require.Len(t, want, 3)
	var list []tensor
	for name, h := range heads {
		list = append(list, matrix(name, h.Shape, base[name]))
	}
	require.NoError(t, a.merge(list))
	for _, got := range list {
		assert.Equal(t, halves(want[got.name]), got.data(), got.name)
		assert.NotEqual(t, halves(base[got.name]), got.data(), got.name)
	}
}

// A change of one weight, worked by hand: 1 + 0.5 * (2*3 + 4*0.25) = 4.5.
func TestMergeByHand(t *testing.T) {
	l := lowRank{rank: 2, inputs: 1, outputs: 1, a: []float64{3, 0.25}, b: []float64{2, 4}}
	one := matrix("", []int{1, 1}, []float64{1}).from
	assert.Equal(t, halves([]float64{4.5}), l.onto(one, 0.5, Float16))
	assert.Equal(t, []byte{0x90, 0x40}, l.onto(one, 0.5, BFloat16)) // 4.5 = 1.125 * 2^2: 0 10000001 0010000
}

func TestAdapterOfAnotherModelIsRefused(t *testing.T) {
	a, err := ReadAdapter(golden(t, "adapter"))
	require.NoError(t, err)
	assert.ErrorIs(t, a.merge(nil), ErrUnfit, "layers missing")
	list := []tensor{matrix("encoder.blocks.0.attn.query.weight", []int{4, 6}, make([]float64, 24))}
	assert.ErrorIs(t, a.merge(list), ErrUnfit, "other shape")

	m, err := ReadCT2(tinyModel())
	require.NoError(t, err)
	assert.ErrorIs(t, Convert(m, Assets{Mel: make([]float32, 6), MelRows: 2, MelCols: 3}, a, Float16, &bytes.Buffer{}), ErrUnfit)
}

// file makes a safetensors file of a header and its data.
func file(header string, data ...byte) []byte {
	out := binary.LittleEndian.AppendUint64(nil, uint64(len(header)))
	return append(append(out, header...), data...)
}

func TestDamagedAdapters(t *testing.T) {
	meta := `"__metadata__":{"format":"callout-adapter-1","base":"tiny.en","strength":"1"}`
	pair := `"x.a":{"dtype":"F16","shape":[1,2],"data_offsets":[0,4]},"x.b":{"dtype":"F16","shape":[1,1],"data_offsets":[4,6]}`
	whole := file("{"+meta+","+pair+"}", 0, 0, 0, 0, 0, 0)
	_, err := ReadAdapter(whole)
	require.NoError(t, err)
	nan := append([]byte(nil), whole...)
	binary.LittleEndian.PutUint16(nan[len(nan)-2:], float16.NaN().Bits())

	for name, c := range map[string]struct {
		data []byte
		want error
	}{
		"empty":            {nil, ErrDamaged},
		"cut":              {whole[:len(whole)-1], ErrDamaged},
		"long header":      {binary.LittleEndian.AppendUint64(nil, math.MaxUint64), ErrDamaged},
		"no JSON":          {file("{"), ErrDamaged},
		"no number":        {nan, ErrDamaged},
		"other type":       {file("{" + meta + "," + strings.ReplaceAll(pair, "F16", "BF16") + "}"), ErrDamaged},
		"huge shape":       {file("{" + meta + `,"x.a":{"dtype":"F16","shape":[1048576,1048576],"data_offsets":[0,4]}}`), ErrDamaged},
		"backward offsets": {file("{"+meta+`,"x.a":{"dtype":"F16","shape":[1],"data_offsets":[4,2]}}`, 0, 0, 0, 0), ErrDamaged},
		"other format":     {file(`{` + strings.Replace(meta, "adapter-1", "adapter-9", 1) + `}`), ErrUnfit},
		"strength":         {file(`{` + strings.Replace(meta, `"1"`, `"NaN"`, 1) + `}`), ErrUnfit},
		"no layers":        {file(`{` + meta + `}`), ErrUnfit},
		"half a layer":     {file("{"+meta+`,"x.b":{"dtype":"F16","shape":[1,1],"data_offsets":[0,2]}}`, 0, 0), ErrUnfit},
		"ranks differ":     {file("{"+meta+","+strings.Replace(strings.Replace(pair, "[1,1]", "[1,2]", 1), "[4,6]", "[4,8]", 1)+"}", make([]byte, 8)...), ErrUnfit},
		"too large":        {make([]byte, maxAdapter+1), ErrUnfit},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadAdapter(c.data)
			assert.ErrorIs(t, err, c.want)
		})
	}
}

func FuzzReadAdapter(f *testing.F) {
	whole, err := os.ReadFile("testdata/adapter/adapter.safetensors")
	require.NoError(f, err)
	f.Add(whole)
	f.Add(file(`{"__metadata__":{"format":"callout-adapter-1","strength":"1"}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := ReadAdapter(data)
		if err != nil {
			return
		}
		for name, l := range a.layers { // what was read can be merged
			if l.outputs*l.inputs > 1<<20 {
				continue
			}
			list := []tensor{matrix(name+".weight", []int{l.outputs, l.inputs}, make([]float64, l.outputs*l.inputs))}
			one := &Adapter{Strength: a.Strength, layers: map[string]lowRank{name: l}}
			require.NoError(t, one.merge(list), fmt.Sprint(name))
			require.Len(t, list[0].data(), 2*l.outputs*l.inputs)
		}
	})
}
