"""Runs the neural voices' ONNX model in PyTorch, on a GPU, without its 8-bit rounding.

The model's weights are 8-bit; the graph also rounds what flows between its layers to 8
bits, anew for each clip, which most processors and GPUs do slowly. Here the weights are
widened once and nothing else is rounded: DynamicQuantizeLinear passes its input on with
scale 1, and the integer products become float ones. Shapes stay on the processor.
Operators: ONNX 1.17, and of com.microsoft those of ONNX Runtime's contrib operators.
"""
import numpy as np
import onnx
import torch
import torch.nn.functional as F
from onnx import numpy_helper

KINDS = {1: torch.float32, 2: torch.uint8, 3: torch.int8, 6: torch.int32, 7: torch.int64, 9: torch.bool, 10: torch.float32, 11: torch.float32}


def ints(x):
    return [int(v) for v in (x.tolist() if x.dim() else [x.item()])]


def axes_of(attrs, given):
    return ints(given) if given is not None else list(attrs.get("axes", []))


def together(xs):
    """Small tensors of the processor follow the others to their device; single numbers need not."""
    on = next((x.device for x in xs if x.is_cuda), None)
    return xs if on is None else [x if x.is_cuda or not x.dim() else x.to(on) for x in xs]


def elementwise(f):
    def make(attrs):
        def run(a, b):
            if a.is_cuda != b.is_cuda:
                a, b = together((a, b))
            if a.dtype != b.dtype:
                b = b.to(a.dtype)
            return f(a, b)
        return run
    return make


def divide(a, b):
    return torch.div(a, b) if a.is_floating_point() else torch.div(a, b, rounding_mode="trunc")


def same(f):
    return lambda attrs: f


def cast(attrs):
    kind = KINDS[attrs["to"]]
    return lambda x: x if x.is_floating_point() and kind == torch.int32 else x.to(kind)  # ints of 8 bits are floats here


def gather(attrs):
    axis = attrs.get("axis", 0)

    def run(x, at):
        if at.dim() == 0:
            return x.select(axis, int(at))
        axis_ = axis % x.dim()
        flat = x.index_select(axis_, at.reshape(-1).to(x.device))
        return flat.reshape(x.shape[:axis_] + at.shape + x.shape[axis_ + 1:])
    return run


def reshape(attrs):
    def run(x, shape):
        to = ints(shape)
        return x.reshape([x.shape[i] if n == 0 else n for i, n in enumerate(to)])
    return run


def unsqueeze(attrs):
    def run(x, axes=None):
        for a in sorted(axes_of(attrs, axes)):
            x = x.unsqueeze(a)
        return x
    return run


def squeeze(attrs):
    def run(x, axes=None):
        for a in sorted((a % x.dim() for a in axes_of(attrs, axes)), reverse=True):
            x = x.squeeze(a)
        return x
    return run


def reduce(f):
    def make(attrs):
        keep = bool(attrs.get("keepdims", 1))

        def run(x, axes=None):
            at = axes_of(attrs, axes) or list(range(x.dim()))
            return f(x, at, keep)
        return run
    return make


def split(attrs):
    axis, many = attrs.get("axis", 0), attrs.get("num_outputs")

    def run(x, sizes=None):
        if sizes is not None:
            return torch.split(x, ints(sizes), axis)
        return torch.split(x, -(-x.shape[axis] // many), axis)
    return run


def slices(attrs):
    def run(x, starts, ends, axes=None, steps=None):
        at = ints(axes) if axes is not None else range(len(starts))
        by = ints(steps) if steps is not None else [1] * len(starts)
        for a, lo, hi, step in zip(at, ints(starts), ints(ends), by):
            n = x.shape[a]
            if step < 0:
                lo, hi = min(lo + n * (lo < 0), n - 1), max(hi + n * (hi < 0), -1)
                x = x.index_select(a, torch.arange(lo, hi, step, device=x.device))
                continue
            lo, hi = max(0, lo + n * (lo < 0)), min(n, hi + n * (hi < 0))
            x = x.narrow(a, lo, max(0, hi - lo)) if step == 1 else x.index_select(a, torch.arange(lo, hi, step, device=x.device))
        return x
    return run


def norm(attrs):
    eps = attrs.get("epsilon", 1e-5)
    return lambda x, w, b=None: F.layer_norm(x, x.shape[-1:], w, b, eps)


def skip_norm(attrs):
    eps = attrs.get("epsilon", 1e-5)

    def run(x, skip, w, b=None, more=None):
        y = x + skip if more is None else x + skip + more
        return F.layer_norm(y, y.shape[-1:], w, b, eps)
    return run


def fast_gelu(attrs):
    def run(x, bias=None):
        return F.gelu(x if bias is None else x + bias, approximate="tanh")
    return run


def conv(attrs):
    pads, group = attrs.get("pads", [0, 0]), attrs.get("group", 1)
    stride, dilation = attrs.get("strides", [1]), attrs.get("dilations", [1])

    def run(x, w, b=None):
        if pads[0] != pads[1]:
            x = F.pad(x, pads)
        return F.conv1d(x, w, b, stride, 0 if pads[0] != pads[1] else pads[0], dilation, group)
    return run


def conv_transpose(attrs):
    pads, group, stride = attrs.get("pads", [0, 0]), attrs.get("group", 1), attrs.get("strides", [1])
    more, dilation = attrs.get("output_padding", [0]), attrs.get("dilations", [1])
    return lambda x, w, b=None: F.conv_transpose1d(x, w, b, stride, pads[0], more, group, dilation)


def integer(product):
    """A product of 8-bit numbers as one of floats; the zero points of the weights are taken off once."""
    def make(attrs):
        f, wide = product(attrs), {}

        def run(x, w, x0=None, w0=None):
            if id(w) not in wide:
                y = w.float()
                if w0 is not None:
                    z = w0.float()
                    y = y - (z.reshape(-1, *[1] * (y.dim() - 1)) if z.numel() > 1 and product is conv else z)
                wide[id(w)] = y
            return f(x.float(), wide[id(w)])
        return run
    return make


def matmul(attrs):
    def run(a, b):
        return torch.matmul(*together((a, b)))
    return run


def fused_matmul(attrs):
    def run(a, b):
        a = a.transpose(-1, -2) if attrs.get("transA") else a
        b = b.transpose(-1, -2) if attrs.get("transB") else b
        return attrs.get("alpha", 1.0) * torch.matmul(a, b)
    return run


def lstm(attrs):
    hidden, both = attrs["hidden_size"], attrs.get("direction", b"forward") == b"bidirectional"
    ready = {}

    def order(w):  # gates i o f c to i f c o
        i, o, f, c = w.split(hidden, 0)
        return torch.cat([i, f, c, o])

    def run(x, w, r, b, lengths, h0, c0, peep, ws, wz, rs, rz):
        if not ready:
            wide = lambda q, s, z: (q.float() - z.float().reshape(-1, 1, 1)) * s.float().reshape(s.shape[0] if s.dim() else -1, 1, -1)
            ww, rr, flat = wide(w, ws, wz), wide(r, rs, rz), []
            for d in range(2 if both else 1):
                wb, rb = b[d].split(4 * hidden)
                flat += [order(ww[d].t().contiguous()), order(rr[d].t().contiguous()), order(wb), order(rb)]
            m = torch.nn.LSTM(ww.shape[1], hidden, bidirectional=both).to(x.device)
            for p, v in zip(m.parameters(), flat):
                p.data.copy_(v)
            m.flatten_parameters()
            ready["m"] = m
        y, (h, c) = ready["m"](x, (h0.to(x.device), c0.to(x.device)))
        return y.reshape(y.shape[0], y.shape[1], -1, hidden).transpose(1, 2), h, c
    return run


def resize(attrs):
    mode = attrs["mode"].decode()

    def run(x, roi, scales):
        by = scales.tolist()[-1]
        if mode == "nearest":
            return x.repeat_interleave(int(by), -1)
        return F.interpolate(x, scale_factor=by, mode="linear", align_corners=False, recompute_scale_factor=False)
    return run


def pad(attrs):
    mode = attrs.get("mode", b"constant").decode()

    def run(x, pads, value=None, axes=None):
        p, n = ints(pads), x.dim()
        flat = []
        for i in reversed(range(n)):
            flat += [p[i], p[n + i]]
        while len(flat) > 2 and flat[-2:] == [0, 0]:
            flat = flat[:-2]
        return F.pad(x, flat, mode)
    return run


def stft(attrs):
    def run(x, step, window=None, length=None):
        n = int(length) if length is not None else window.shape[0]
        y = x.reshape(x.shape[0], -1).unfold(-1, n, int(step))
        return torch.view_as_real(torch.fft.rfft(y if window is None else y * window.to(y.device)))
    return run


def cumsum(attrs):
    return lambda x, axis: torch.cumsum(x, int(axis)).to(x.dtype)


def constant_of_shape(attrs):
    v = torch.from_numpy(np.array(numpy_helper.to_array(attrs["value"]))) if "value" in attrs else torch.zeros(1)
    return lambda shape: v.reshape(1).expand(ints(shape)).clone()


def scatter_nd(attrs):
    def run(x, at, new):
        y = x.clone()
        y[tuple(at.to(x.device).unbind(-1))] = new.to(x.device)
        return y
    return run


def clip(attrs):
    def run(x, lo=None, hi=None):
        return x.clamp(None if lo is None else lo.item(), None if hi is None else hi.item())
    return run


def where(attrs):
    def run(c, a, b):
        return torch.where(*together((c, a, b)))
    return run


OPERATORS = {
    "Mul": elementwise(torch.mul), "Add": elementwise(torch.add), "Sub": elementwise(torch.sub), "Div": elementwise(divide),
    "Pow": elementwise(torch.pow), "Equal": elementwise(torch.eq), "Greater": elementwise(torch.gt), "Less": elementwise(torch.lt),
    "GreaterOrEqual": elementwise(torch.ge), "And": elementwise(torch.logical_and),
    "Sqrt": same(torch.sqrt), "Floor": same(torch.floor), "Sin": same(torch.sin), "Cos": same(torch.cos), "Exp": same(torch.exp),
    "Tanh": same(torch.tanh), "Sigmoid": same(torch.sigmoid), "Atan": same(lambda x: torch.atan(torch.nan_to_num(x))), "Round": same(torch.round),
    "LeakyRelu": lambda a: lambda x: F.leaky_relu(x, a.get("alpha", 0.01)), "Softmax": lambda a: lambda x: torch.softmax(x, a.get("axis", -1)),
    "Cast": cast, "Gather": gather, "Reshape": reshape, "Unsqueeze": unsqueeze, "Squeeze": squeeze, "Split": split, "Slice": slices,
    "Shape": lambda a: lambda x: torch.tensor(x.shape[a.get("start", 0):a.get("end")], dtype=torch.int64),
    "Transpose": lambda a: lambda x: x.permute(a["perm"]), "Concat": lambda a: lambda *xs: torch.cat(together(xs), a["axis"]),
    "Expand": lambda a: lambda x, shape: x.expand(torch.broadcast_shapes(x.shape, tuple(ints(shape)))),
    "Range": lambda a: lambda lo, hi, step: torch.arange(lo.item(), hi.item(), step.item(), dtype=lo.dtype),
    "NonZero": lambda a: lambda x: torch.nonzero(x).t(), "ConstantOfShape": constant_of_shape, "ScatterND": scatter_nd, "Where": where,
    "CumSum": cumsum, "Clip": clip, "Pad": pad, "Resize": resize, "STFT": stft,
    "ReduceMean": reduce(lambda x, at, keep: x.mean(at, keepdim=keep)), "ReduceSum": reduce(lambda x, at, keep: x.sum(at, keepdim=keep)),
    "MatMul": matmul, "FusedMatMul": fused_matmul, "Conv": conv, "ConvTranspose": conv_transpose,
    "LayerNormalization": norm, "SkipLayerNormalization": skip_norm, "FastGelu": fast_gelu,
    "DynamicQuantizeLinear": lambda a: lambda x: (x, torch.ones(()), torch.zeros(())),
    "DequantizeLinear": lambda a: lambda x, s, z=None: (x.float() - (0 if z is None else z.float())) * s,
    "ConvInteger": integer(conv), "MatMulInteger": integer(matmul), "DynamicQuantizeLSTM": lstm,
}
# What only says how much or where stays on the processor, wherever it is used.
SHAPES = {"Reshape": [1], "Unsqueeze": [1], "Squeeze": [1], "Split": [1], "Slice": [1, 2, 3, 4], "Expand": [1], "Range": [0, 1, 2], "ConstantOfShape": [0],
          "Resize": [1, 2], "Pad": [1, 2], "CumSum": [1], "Clip": [1, 2], "ReduceMean": [1], "ReduceSum": [1], "STFT": [1, 3]}


class Graph:
    """A model whose nodes are run one after the other, each value forgotten after its last use."""

    def __init__(self, path, device):
        model = onnx.load(path)
        self.device, self.inputs = device, [i.name for i in model.graph.input]
        self.outputs = [o.name for o in model.graph.output]
        raw = {t.name: torch.from_numpy(np.array(numpy_helper.to_array(t))) for t in model.graph.initializer}
        nodes = []
        for n in model.graph.node:
            attrs = {a.name: onnx.helper.get_attribute_value(a) for a in n.attribute}
            if n.op_type == "Constant":
                raw[n.output[0]] = torch.from_numpy(np.array(numpy_helper.to_array(attrs["value"])))
                continue
            if n.op_type not in OPERATORS:
                raise ValueError(f"{path}: no operator {n.op_type}")
            nodes.append((OPERATORS[n.op_type](attrs), list(n.input), list(n.output), n.op_type, n.name))
        self.held = {}
        for _, names, _, kind, _ in nodes:
            for i, name in enumerate(names):
                if name in raw and name not in self.held:
                    x = raw[name]
                    x = x.float() if x.dtype in (torch.float16, torch.float64) else x
                    small = i in SHAPES.get(kind, []) or x.dtype == torch.int64
                    self.held[name] = x if small else x.to(device)
        self.held[""] = None
        last = {n: k for k, (_, names, _, _, _) in enumerate(nodes) for n in names}
        self.nodes = [(f, names, outs, [n for n in set(names) if n not in self.held and last[n] == k and n not in self.outputs], label)
                      for k, (f, names, outs, _, label) in enumerate(nodes)]

    @torch.no_grad()
    def __call__(self, **given):
        values = dict(self.held)
        for name, x in given.items():
            values[name] = torch.as_tensor(x).to(self.device)
        for f, names, outs, gone, label in self.nodes:
            try:
                y = f(*[values[n] for n in names])
            except Exception as e:
                raise RuntimeError(f"{label}: {[None if values[n] is None else (tuple(values[n].shape), values[n].dtype, str(values[n].device)) for n in names]}") from e
            if isinstance(y, (tuple, list)):
                for o, v in zip(outs, y):
                    values[o] = v
            else:
                values[outs[0]] = y
            for n in gone:
                values.pop(n, None)
        return [values[o] for o in self.outputs]
