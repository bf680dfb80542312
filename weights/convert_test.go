package weights

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The head of a file as whisper.cpp's models/convert-pt-to-ggml.py packs it: magic, the
// eleven dimensions in its order, the mel filters, the vocabulary, and the first tensor.
// Written by hand from that script.
func TestHeadIsThatOfTheConversionScript(t *testing.T) {
	_, file := writeTiny(t)
	want := "" +
		"lmgg" + // 0x67676d6c, little-endian
		"\xe8\x03\x00\x00" + // n_vocab 1000
		"\x06\x00\x00\x00\x04\x00\x00\x00\x02\x00\x00\x00\x02\x00\x00\x00" + // audio: ctx, state, head, layer
		"\x05\x00\x00\x00\x04\x00\x00\x00\x02\x00\x00\x00\x02\x00\x00\x00" + // text: ctx, state, head, layer
		"\x02\x00\x00\x00\x01\x00\x00\x00" + // n_mels, use_f16
		"\x02\x00\x00\x00\x03\x00\x00\x00" + // mel filters: 2 by 3
		"\x00\x00\x80\x3f\x00\x00\x00\x40\x00\x00\x40\x40\x00\x00\x80\x40\x00\x00\xa0\x40\x00\x00\xc0\x40" + // 1 to 6
		"\x03\x00\x00\x00" + "\x01\x00\x00\x00a" + "\x00\x00\x00\x00" + "\x03\x00\x00\x00 b\xff" + // vocabulary
		"\x02\x00\x00\x00\x1c\x00\x00\x00\x00\x00\x00\x00" + // 2 dimensions, a name of 28 bytes, float32
		"\x04\x00\x00\x00\x06\x00\x00\x00" + "encoder.positional_embedding" // innermost dimension first
	require.Greater(t, len(file), len(want))
	assert.Equal(t, want, string(file[:len(want)]))
}

// values gives a variable's elements as float32.
func values(v Variable) []float32 {
	b := recode(v, Float32)
	out := make([]float32, len(b)/4)
	for i := range out {
		out[i] = math.Float32frombits(uint32(b[4*i]) | uint32(b[4*i+1])<<8 | uint32(b[4*i+2])<<16 | uint32(b[4*i+3])<<24)
	}
	return out
}

func TestConvertPutsEveryValueInItsPlace(t *testing.T) {
	m, err := ReadCT2(tinyModel())
	require.NoError(t, err)
	_, file := writeTiny(t)
	g := readGGML(t, file)
	require.Len(t, g.tensors, 11+15*tinyLayers+24*tinyLayers)

	is := func(name, from string, at, n int, ftype int32, dims ...int32) {
		t.Helper()
		got, ok := g.tensors[name]
		require.True(t, ok, name)
		all := values(m.Variables[from])
		assert.Equal(t, all[at:at+n], got.values, "%s from %s", name, from)
		assert.Equal(t, dims, got.dims, name)
		assert.Equal(t, ftype, got.ftype, name)
	}
	const s, sq = tinyState, tinyState * tinyState
	is("encoder.conv1.weight", "encoder/conv1/weight", 0, s*tinyMels*3, 1, 3, tinyMels, s)
	is("encoder.conv1.bias", "encoder/conv1/bias", 0, s, 0, 1, s)
	is("encoder.positional_embedding", "encoder/position_encodings/encodings", 0, s*tinyAudio, 0, s, tinyAudio)
	is("decoder.positional_embedding", "decoder/position_encodings/encodings", 0, s*tinyText, 0, s, tinyText)
	is("decoder.token_embedding.weight", "decoder/embeddings/weight", 0, s*tinyVocab, 1, s, tinyVocab)
	is("encoder.ln_post.weight", "encoder/layer_norm/gamma", 0, s, 0, s)
	is("decoder.ln.bias", "decoder/layer_norm/beta", 0, s, 0, s)
	for l := range tinyLayers {
		for _, side := range []string{"encoder", "decoder"} {
			to, from := fmt.Sprintf("%s.blocks.%d.", side, l), fmt.Sprintf("%s/layer_%d/", side, l)
			for i, part := range []string{"query", "key", "value"} {
				is(to+"attn."+part+".weight", from+"self_attention/linear_0/weight", i*sq, sq, 1, s, s)
				if part != "key" {
					is(to+"attn."+part+".bias", from+"self_attention/linear_0/bias", i*s, s, 0, s)
				}
			}
			assert.NotContains(t, g.tensors, to+"attn.key.bias")
			is(to+"attn.out.weight", from+"self_attention/linear_1/weight", 0, sq, 1, s, s)
			is(to+"attn_ln.bias", from+"self_attention/layer_norm/beta", 0, s, 0, s)
			is(to+"mlp.0.weight", from+"ffn/linear_0/weight", 0, 4*sq, 1, s, 4*s)
			is(to+"mlp.2.weight", from+"ffn/linear_1/weight", 0, 4*sq, 1, 4*s, s)
			is(to+"mlp_ln.weight", from+"ffn/layer_norm/gamma", 0, s, 0, s)
		}
		to, from := fmt.Sprintf("decoder.blocks.%d.cross_attn", l), fmt.Sprintf("decoder/layer_%d/attention/", l)
		is(to+".query.bias", from+"linear_0/bias", 0, s, 0, s)
		is(to+".key.weight", from+"linear_1/weight", 0, sq, 1, s, s)
		is(to+".value.weight", from+"linear_1/weight", sq, sq, 1, s, s)
		is(to+".value.bias", from+"linear_1/bias", s, s, 0, s)
		is(to+".out.weight", from+"linear_2/weight", 0, sq, 1, s, s)
		is(to+"_ln.weight", from+"layer_norm/gamma", 0, s, 0, s)
	}
}

func TestConvertRefusesWhatDoesNotFit(t *testing.T) {
	for _, tt := range []struct {
		name  string
		spoil func(m *CT2, a *Assets)
		says  string
	}{
		{"another model", func(m *CT2, _ *Assets) { m.Spec = "TransformerSpec" }, "not a Whisper model"},
		{"a variable missing", func(m *CT2, _ *Assets) { delete(m.Variables, "decoder/layer_norm/beta") }, `"decoder/layer_norm/beta" is missing`},
		{"no layers", func(m *CT2, _ *Assets) { delete(m.Variables, "encoder/layer_0/ffn/linear_0/weight") }, "no layers"},
		{"quantised", func(m *CT2, _ *Assets) {
			v := m.Variables["encoder/conv1/weight"]
			m.Variables["encoder/conv1/weight"] = Variable{v.Shape, Int8, v.Data[:v.Elements()]}
		}, "not quantised"},
		{"a shape that differs", func(m *CT2, _ *Assets) {
			m.Variables["encoder/layer_1/ffn/linear_0/weight"] = m.Variables["encoder/layer_1/ffn/linear_1/weight"]
		}, "is 4 by 16, not 16 by 4"},
		{"a key bias", func(m *CT2, _ *Assets) {
			v := m.Variables["encoder/layer_0/self_attention/linear_0/bias"]
			v.Data = bytes.Repeat([]byte{0, 60}, v.Elements())
			m.Variables["encoder/layer_0/self_attention/linear_0/bias"] = v
		}, "key bias"},
		{"mel filters of another size", func(_ *CT2, a *Assets) { a.MelRows = 3 }, "wants 2 mel bands"},
		{"too many tokens", func(_ *CT2, a *Assets) { a.Tokens = make([][]byte, tinyVocab+1) }, "the vocabulary has 1001"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m, err := ReadCT2(tinyModel())
			require.NoError(t, err)
			a := tinyAssets()
			tt.spoil(m, &a)
			err = Convert(m, a, nil, Float16, io.Discard)
			require.ErrorIs(t, err, ErrUnfit)
			assert.Contains(t, err.Error(), tt.says)
		})
	}
}

func TestInspect(t *testing.T) {
	path, file := writeTiny(t)
	h, err := Inspect(path)
	require.NoError(t, err)
	assert.Equal(t, Header{tinyVocab, tinyAudio, tinyState, 2, tinyLayers, tinyText, tinyState, 2, tinyLayers, tinyMels, 1}, h)
	assert.False(t, h.Multilingual())
	for n := range len(file) {
		if n > 3000 && n%41 != 0 {
			continue
		}
		_, err := inspect(bytes.NewReader(file[:n]), int64(n))
		if n < 4 {
			require.ErrorIs(t, err, ErrNotGGML, "%d bytes", n)
		} else {
			require.ErrorIs(t, err, ErrDamaged, "%d bytes", n)
		}
	}
	_, err = Inspect(filepath.Join(t.TempDir(), "none"))
	assert.ErrorIs(t, err, os.ErrNotExist)
	_, err = Inspect(t.TempDir())
	assert.ErrorIs(t, err, ErrNotGGML)
}

func FuzzInspect(f *testing.F) {
	m, err := ReadCT2(tinyModel())
	if err != nil {
		f.Fatal(err)
	}
	var b bytes.Buffer
	if err := Convert(m, tinyAssets(), nil, Float16, &b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(b.Bytes()[:200])
	f.Fuzz(func(t *testing.T, data []byte) {
		if _, err := inspect(bytes.NewReader(data), int64(len(data))); err != nil {
			if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNotGGML) {
				t.Fatalf("unexpected kind of error: %v", err)
			}
		}
	})
}

func TestWriteFileIsWholeOrNot(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "deep", "model.bin")
	sum, err := WriteFile(path, "", func(w io.Writer) error {
		_, err := io.WriteString(w, "abc")
		return err
	})
	require.NoError(t, err)
	// SHA-256 of "abc": FIPS 180-2, appendix B.1.
	assert.Equal(t, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", sum)
	again, err := Sum(path)
	require.NoError(t, err)
	assert.Equal(t, sum, again)

	full := errors.New("no space left")
	_, err = WriteFile(path, "", func(w io.Writer) error {
		_, _ = io.WriteString(w, "half of")
		return full
	})
	assert.ErrorIs(t, err, full)
	_, err = WriteFile(path, sum, func(io.Writer) error { return nil })
	assert.ErrorIs(t, err, ErrDamaged, "another checksum")
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "abc", string(kept), "the old file stays")
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing half-written stays")

	_, err = WriteFile(filepath.Join(path, "under a file"), "", func(io.Writer) error { return nil })
	assert.Error(t, err)
}
