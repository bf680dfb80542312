package weights

import (
	"encoding/binary"
	"fmt"
	"io"
)

// Convert writes the CTranslate2 Whisper model m, with the vocabulary and mel filters in
// a and the adapter ad merged into the weights (nil: none), as a ggml file to w. The model
// must be float16 or float32. One-dimensional tensors, convolution biases and positional
// embeddings come out as float32, matrices as typ, which is Float16 or BFloat16, and
// convolutions, whose type the library doesn't leave open, as float16. Each value is
// rounded once, after the merge.
//
// CTranslate2 fuses projections: in self-attention linear_0 holds query, key and value
// one above the other and linear_1 the output; in cross-attention linear_0 is the
// query, linear_1 key and value, linear_2 the output. Whisper's key has no bias.
// Sources: CTranslate2's model specification (python/ctranslate2/specs); whisper.cpp's
// models/convert-pt-to-ggml.py.
func Convert(m *CT2, a Assets, ad *Adapter, typ Type, w io.Writer) error {
	h, err := headerOf(m, a)
	if err != nil {
		return err
	}
	switch typ {
	case Float16:
		h.FType = ggmlMostlyF16
	case BFloat16:
		h.FType = ggmlMostlyBF16
	default:
		return fmt.Errorf("weights: %w: a file's matrices are float16 or bfloat16, not type %d", ErrUnfit, typ)
	}
	c := &converter{m: m, matrices: typ}
	c.encoder(h)
	c.decoder(h)
	if c.err != nil {
		return c.err
	}
	if ad != nil {
		if err := ad.merge(c.out); err != nil {
			return err
		}
	}
	if err := writeGGML(w, h, a, c.out); err != nil {
		return fmt.Errorf("weights: write: %w", err)
	}
	return nil
}

// Needs tells which assets the model goes with: the multilingual vocabulary or the English
// one, and the number of mel bands.
func (m *CT2) Needs() (multilingual bool, mels int, err error) {
	c := &converter{m: m}
	emb, conv := c.get("decoder/embeddings/weight", 2), c.get("encoder/conv1/weight", 3)
	if c.err != nil {
		return false, 0, c.err
	}
	return emb.Shape[0] >= multilingualVocab, conv.Shape[1], nil
}

func headerOf(m *CT2, a Assets) (Header, error) {
	if m.Spec != "WhisperSpec" {
		return Header{}, fmt.Errorf("weights: %w: it is a %q, not a Whisper model", ErrUnfit, m.Spec)
	}
	c := &converter{m: m}
	emb := c.get("decoder/embeddings/weight", 2)
	encPos := c.get("encoder/position_encodings/encodings", 2)
	decPos := c.get("decoder/position_encodings/encodings", 2)
	conv := c.get("encoder/conv1/weight", 3)
	encHeads, decHeads := c.scalar("encoder/num_heads"), c.scalar("decoder/num_heads")
	if c.err != nil {
		return Header{}, c.err
	}
	h := Header{
		Vocab:    int32(emb.Shape[0]),
		AudioCtx: int32(encPos.Shape[0]), AudioState: int32(encPos.Shape[1]), AudioHead: encHeads,
		TextCtx: int32(decPos.Shape[0]), TextState: int32(decPos.Shape[1]), TextHead: decHeads,
		Mels: int32(conv.Shape[1]),
	}
	h.AudioLayer = c.layers("encoder")
	h.TextLayer = c.layers("decoder")
	if h.AudioLayer == 0 || h.TextLayer == 0 {
		return Header{}, fmt.Errorf("weights: %w: it has no layers", ErrUnfit)
	}
	if int(h.Mels) != a.MelRows || len(a.Mel) != a.MelRows*a.MelCols {
		return Header{}, fmt.Errorf("weights: %w: it wants %d mel bands, the assets have %d", ErrUnfit, h.Mels, a.MelRows)
	}
	if len(a.Tokens) > int(h.Vocab) {
		return Header{}, fmt.Errorf("weights: %w: it has %d tokens, the vocabulary has %d", ErrUnfit, h.Vocab, len(a.Tokens))
	}
	return h, nil
}

// converter collects the tensors of the ggml file and keeps the first error.
type converter struct {
	m        *CT2
	matrices Type
	out      []tensor
	err      error
}

func (c *converter) fail(format string, args ...any) {
	if c.err == nil {
		c.err = fmt.Errorf("weights: %w: %s", ErrUnfit, fmt.Sprintf(format, args...))
	}
}

func (c *converter) get(name string, rank int) Variable {
	if c.err != nil {
		return Variable{}
	}
	v, ok := c.m.Variables[name]
	switch {
	case !ok:
		c.fail("variable %q is missing", name)
	case len(v.Shape) != rank:
		c.fail("%q has %d dimensions, not %d", name, len(v.Shape), rank)
	case rank > 0 && v.Type != Float16 && v.Type != Float32:
		c.fail("%q is neither float16 nor float32 (type %d); take a model that is not quantised", name, v.Type)
	default:
		return v
	}
	return Variable{}
}

func (c *converter) scalar(name string) int32 {
	v := c.get(name, 0)
	switch {
	case c.err != nil:
		return 0
	case v.Type == Int8:
		return int32(int8(v.Data[0]))
	case v.Type == Int16:
		return int32(int16(binary.LittleEndian.Uint16(v.Data)))
	case v.Type == Int32:
		return int32(binary.LittleEndian.Uint32(v.Data))
	}
	c.fail("%q is not a whole number", name)
	return 0
}

func (c *converter) layers(side string) int32 {
	for n := int32(0); ; n++ {
		if _, ok := c.m.Variables[fmt.Sprintf("%s/layer_%d/ffn/linear_0/weight", side, n)]; !ok {
			return n
		}
	}
}

// add appends v under name, to be written as typ.
func (c *converter) add(name string, v Variable, typ Type) {
	if c.err == nil {
		c.out = append(c.out, tensor{name: name, from: v, typ: typ})
	}
}

// recode gives v's elements as the type typ, little-endian.
func recode(v Variable, typ Type) []byte {
	if v.Type == typ {
		return v.Data
	}
	n := v.Elements()
	out := make([]byte, 0, typ.size()*n)
	for i := range n {
		out = typ.append(out, v.at(i))
	}
	return out
}

// rows cuts n rows from row at out of a one- or two-dimensional v.
func rows(v Variable, at, n int) Variable {
	row := len(v.Data) / v.Shape[0]
	shape := append([]int{n}, v.Shape[1:]...)
	return Variable{Shape: shape, Type: v.Type, Data: v.Data[at*row : (at+n)*row]}
}

// matrix fetches a weight and checks its shape.
func (c *converter) matrix(name string, outer, inner int) Variable {
	v := c.get(name, 2)
	if c.err == nil && (v.Shape[0] != outer || v.Shape[1] != inner) {
		c.fail("%q is %d by %d, not %d by %d", name, v.Shape[0], v.Shape[1], outer, inner)
	}
	return v
}

func (c *converter) vector(name string, n int) Variable {
	v := c.get(name, 1)
	if c.err == nil && v.Shape[0] != n {
		c.fail("%q has %d elements, not %d", name, v.Shape[0], n)
	}
	return v
}

// linear adds a weight and its bias.
func (c *converter) linear(to, from string, outer, inner int) {
	c.add(to+".weight", c.matrix(from+"/weight", outer, inner), c.matrices)
	c.add(to+".bias", c.vector(from+"/bias", outer), Float32)
}

func (c *converter) norm(to, from string, n int) {
	c.add(to+".weight", c.vector(from+"/gamma", n), Float32)
	c.add(to+".bias", c.vector(from+"/beta", n), Float32)
}

// split adds the projections that linear holds one above the other.
func (c *converter) split(to, linear string, state int, parts ...string) {
	w := c.matrix(linear+"/weight", len(parts)*state, state)
	b := c.vector(linear+"/bias", len(parts)*state)
	for i, part := range parts {
		if c.err != nil {
			return
		}
		c.add(to+"."+part+".weight", rows(w, i*state, state), c.matrices)
		bias := rows(b, i*state, state)
		if part != "key" {
			c.add(to+"."+part+".bias", bias, Float32)
			continue
		}
		for _, x := range recode(bias, Float32) {
			if x&0x7f != 0 { // the sign of a zero may be set
				c.fail("%q has a key bias, which Whisper does not", linear)
				return
			}
		}
	}
}

func (c *converter) selfAttention(to, from string, state int) {
	c.split(to+".attn", from+"/self_attention/linear_0", state, "query", "key", "value")
	c.linear(to+".attn.out", from+"/self_attention/linear_1", state, state)
	c.norm(to+".attn_ln", from+"/self_attention/layer_norm", state)
}

func (c *converter) crossAttention(to, from string, state int) {
	c.split(to+".cross_attn", from+"/attention/linear_0", state, "query")
	c.split(to+".cross_attn", from+"/attention/linear_1", state, "key", "value")
	c.linear(to+".cross_attn.out", from+"/attention/linear_2", state, state)
	c.norm(to+".cross_attn_ln", from+"/attention/layer_norm", state)
}

func (c *converter) feedForward(to, from string, state int) {
	c.linear(to+".mlp.0", from+"/ffn/linear_0", 4*state, state)
	c.linear(to+".mlp.2", from+"/ffn/linear_1", state, 4*state)
	c.norm(to+".mlp_ln", from+"/ffn/layer_norm", state)
}

func (c *converter) convolution(to, from string, outer, inner int) {
	w := c.get(from+"/weight", 3)
	if c.err == nil && (w.Shape[0] != outer || w.Shape[1] != inner || w.Shape[2] != 3) {
		c.fail("%q has shape %v, not %d by %d by 3", from, w.Shape, outer, inner)
	}
	c.add(to+".weight", w, Float16)
	b := c.vector(from+"/bias", outer)
	b.Shape = []int{outer, 1} // the file holds convolution biases as columns
	c.add(to+".bias", b, Float32)
}

func (c *converter) encoder(h Header) {
	state := int(h.AudioState)
	c.add("encoder.positional_embedding", c.matrix("encoder/position_encodings/encodings", int(h.AudioCtx), state), Float32)
	c.convolution("encoder.conv1", "encoder/conv1", state, int(h.Mels))
	c.convolution("encoder.conv2", "encoder/conv2", state, state)
	for i := range h.AudioLayer {
		to, from := fmt.Sprintf("encoder.blocks.%d", i), fmt.Sprintf("encoder/layer_%d", i)
		c.selfAttention(to, from, state)
		c.feedForward(to, from, state)
	}
	c.norm("encoder.ln_post", "encoder/layer_norm", state)
}

func (c *converter) decoder(h Header) {
	state := int(h.TextState)
	c.add("decoder.positional_embedding", c.matrix("decoder/position_encodings/encodings", int(h.TextCtx), state), Float32)
	c.add("decoder.token_embedding.weight", c.matrix("decoder/embeddings/weight", int(h.Vocab), state), c.matrices)
	for i := range h.TextLayer {
		to, from := fmt.Sprintf("decoder.blocks.%d", i), fmt.Sprintf("decoder/layer_%d", i)
		c.selfAttention(to, from, state)
		c.crossAttention(to, from, state)
		c.feedForward(to, from, state)
	}
	c.norm("decoder.ln", "decoder/layer_norm", state)
}
