package weights

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/x448/float16"
)

// lines gives the fields of a golden file that testdata/bfloat16.py made.
func lines(t *testing.T, path string) [][]string {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	var out [][]string
	for _, l := range strings.Split(strings.TrimSpace(string(raw)), "\n") {
		out = append(out, strings.Split(l, "\t"))
	}
	return out
}

// Rounding is PyTorch's, and that of exact fractions where a float32 between would spoil it.
func TestBFloat16IsThatOfOthers(t *testing.T) {
	golden := lines(t, "testdata/bfloat16.tsv")
	require.Greater(t, len(golden), 500)
	for _, l := range golden {
		bits, err := strconv.ParseUint(l[0], 16, 64)
		require.NoError(t, err)
		want, err := strconv.ParseUint(l[1], 16, 16)
		require.NoError(t, err)
		v := math.Float64frombits(bits)
		assert.Equal(t, uint16(want), bfloat16(v), "%s = %g", l[0], v)
	}
}

func wideOf(b uint16) float64 { return float64(math.Float32frombits(uint32(b) << 16)) }

// No other bfloat16 is nearer, in exact arithmetic; of two as near the even one is taken.
func TestBFloat16IsTheNearest(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	exact := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	for range 20000 {
		v := math.Ldexp(r.NormFloat64(), r.IntN(300)-150)
		if r.IntN(2) == 0 { // a value of a few bits, so that ties come up
			v = math.Ldexp(float64(r.IntN(1<<10)-1<<9), r.IntN(200)-150)
		}
		if math.Abs(v) > wideOf(0x7f7f) {
			continue
		}
		b := bfloat16(v)
		require.Equal(t, math.Signbit(v), b&0x8000 != 0, "%g", v)
		away := func(b uint16) *big.Rat {
			d := new(big.Rat).Sub(exact(v), exact(wideOf(b)))
			return d.Abs(d)
		}
		for _, other := range []uint16{b - 1, b + 1} {
			if other&0x7fff > 0x7f7f { // infinite, or below zero of either sign
				continue
			}
			c := away(b).Cmp(away(other))
			require.True(t, c < 0 || c == 0 && b&1 == 0, "%g: %04x, not %04x", v, b, other)
		}
	}
}

func TestBFloat16KeepsWhatItHas(t *testing.T) {
	for b := range 1 << 16 {
		v := wideOf(uint16(b))
		if got := bfloat16(v); math.IsNaN(v) {
			require.True(t, math.IsNaN(wideOf(got)), "%04x", b)
		} else {
			require.Equal(t, uint16(b), got)
		}
	}
}

// The merge into bfloat16 is NumPy's, rounded once.
func TestMergeIntoBFloat16(t *testing.T) {
	a, err := ReadAdapter(golden(t, "adapter"))
	require.NoError(t, err)
	heads, base, _, err := parseSafetensors(golden(t, "base"))
	require.NoError(t, err)
	twice := 0
	for _, l := range lines(t, "testdata/adapter/merged-bf16.tsv") {
		list := []tensor{matrix(l[0], heads[l[0]].Shape, base[l[0]])}
		list[0].typ = BFloat16
		name := strings.TrimSuffix(l[0], ".weight")
		one := &Adapter{Strength: a.Strength, layers: map[string]lowRank{name: a.layers[name]}}
		require.NoError(t, one.merge(list))
		var want []byte
		for _, f := range strings.Fields(l[1]) {
			b, err := strconv.ParseUint(f, 16, 16)
			require.NoError(t, err)
			want = binary.LittleEndian.AppendUint16(want, uint16(b))
		}
		got := list[0].data()
		assert.Equal(t, want, got, name)

		list[0].typ = Float16
		for i, half := 0, list[0].data(); i < len(half); i += 2 {
			v := float16.Frombits(binary.LittleEndian.Uint16(half[i:])).Float32()
			if bfloat16(float64(v)) != binary.LittleEndian.Uint16(got[i:]) {
				twice++
			}
		}
	}
	assert.Positive(t, twice, "values that rounding to float16 first would spoil")
}

// A file of bfloat16 differs from one of float16 in its head and in its matrices alone.
func TestConvertToBFloat16(t *testing.T) {
	m, err := ReadCT2(tinyModel())
	require.NoError(t, err)
	var half, brain bytes.Buffer
	require.NoError(t, Convert(m, tinyAssets(), nil, Float16, &half))
	require.NoError(t, Convert(m, tinyAssets(), nil, BFloat16, &brain))
	h, err := inspect(bytes.NewReader(brain.Bytes()), int64(brain.Len()))
	require.NoError(t, err)
	assert.Equal(t, "bf16", h.Type())
	assert.EqualValues(t, 24, h.FType)

	a, b := readGGML(t, half.Bytes()), readGGML(t, brain.Bytes())
	require.Len(t, b.tensors, len(a.tensors))
	matrices := 0
	for name, x := range a.tensors {
		y := b.tensors[name]
		assert.Equal(t, x.dims, y.dims, name)
		if len(x.dims) != 2 || x.ftype == 0 {
			assert.Equal(t, x, y, name)
			continue
		}
		matrices++
		require.EqualValues(t, 30, y.ftype, name)
		for i, v := range x.values {
			require.Equal(t, wideOf(bfloat16(float64(v))), float64(y.values[i]), name)
		}
	}
	assert.Equal(t, 1+tinyLayers*6+tinyLayers*10, matrices, "embedding, and of each layer its projections")
	assert.ErrorIs(t, Convert(m, tinyAssets(), nil, Int8, &brain), ErrUnfit)
}

func TestParseType(t *testing.T) {
	for name, want := range map[string]Type{"f16": Float16, "bf16": BFloat16} {
		got, err := ParseType(name)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	for _, name := range []string{"", "F16", "q8_0"} {
		_, err := ParseType(name)
		assert.ErrorIs(t, err, ErrUnfit)
	}
}
