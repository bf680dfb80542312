"""The adapter file, and the merge that cmd/weights makes again in Go.

The file is safetensors: for each changed layer NAME.a [rank, inputs] and NAME.b
[outputs, rank] in float16, and metadata: format "callout-adapter-1", base (the model's
name), strength. Merged, a weight is float16(W + strength * B A); the sum over the rank is
taken in order in float64, then rounded to float32 and to float16.

usage: adapter.py merge MODEL.bin ADAPTER.safetensors OUT.bin
       adapter.py strength ADAPTER.safetensors STRENGTH OUT.safetensors
           STRENGTH of both sides, or ENCODER/DECODER: the encoder's tensors are scaled then
       adapter.py mean OUT.safetensors RANK ADAPTER.safetensors ADAPTER.safetensors ...
       adapter.py golden FOLDER
"""
import json
import os
import struct
import sys

import numpy as np

FORMAT = "callout-adapter-1"


def write(path, tensors, metadata):
    header, at = {"__metadata__": metadata}, 0
    for name in sorted(tensors):
        t = tensors[name]
        header[name] = {"dtype": {"float16": "F16", "float32": "F32"}[str(t.dtype)], "shape": list(t.shape), "data_offsets": [at, at + t.nbytes]}
        at += t.nbytes
    head = json.dumps(header, sort_keys=True, separators=(",", ":")).encode()
    head += b" " * (-len(head) % 8)
    with open(path, "wb") as f:
        f.write(struct.pack("<Q", len(head)) + head)
        for name in sorted(tensors):
            f.write(np.ascontiguousarray(tensors[name]).tobytes())


def read(path):
    data = open(path, "rb").read()
    n = struct.unpack_from("<Q", data)[0]
    header = json.loads(data[8:8 + n])
    metadata = header.pop("__metadata__", {})
    out = {}
    for name, t in header.items():
        lo, hi = t["data_offsets"]
        out[name] = np.frombuffer(data[8 + n + lo:8 + n + hi], {"F16": "<f2", "F32": "<f4"}[t["dtype"]]).reshape(t["shape"])
    return out, metadata


def name_of(g):
    return {4: "tiny", 6: "base"}[g.audio_layer] + (".en" if g.vocab < 51865 else "")


def save(path, m, options, step):
    tensors = {}
    for name, a, b in m.layers():
        tensors[name + ".a"] = a.detach().float().cpu().numpy().astype("<f2")
        tensors[name + ".b"] = b.detach().float().cpu().numpy().astype("<f2")
    kept = {k: v for k, v in vars(options).items() if k not in ("model", "clips", "out", "device", "hard")}
    kept["start"] = os.path.basename(kept["start"])
    write(path, tensors, {"format": FORMAT, "base": name_of(m.g), "strength": "1", "licence": "MIT, as the model it was made for", "recipe": "training/README.md", "step": str(step), "options": json.dumps(kept, sort_keys=True)})


def fill(m, path):
    """Puts an adapter file into a model of its rank."""
    import torch
    tensors, metadata = read(path)
    with torch.no_grad():
        for name, a, b in m.layers():
            a.copy_(torch.from_numpy(tensors[name + ".a"].astype(np.float32)))
            b.copy_(torch.from_numpy(tensors[name + ".b"].astype(np.float32)))
    return float(metadata["strength"])


def rank(path):
    tensors, _ = read(path)
    return next(t.shape[0] for n, t in tensors.items() if n.endswith(".a"))


def merged(w, a, b, strength):
    """float16 weight with the adapter in it."""
    delta = np.zeros(w.shape, np.float64)
    for r in range(a.shape[0]):
        delta += np.outer(b[:, r].astype(np.float64), a[r].astype(np.float64))
    return (w.astype(np.float64) + strength * delta).astype(np.float32).astype(np.float16)


def merge(model, path, out):
    """A ggml file with the adapter merged into its float16 weights."""
    import model as whisper
    g = whisper.Ggml(model)
    tensors, metadata = read(path)
    data = bytearray(open(model, "rb").read())
    strength = float(metadata["strength"])
    for name, t in g.tensors.items():
        if not name.endswith(".weight") or name[:-7] + ".a" not in tensors:
            continue
        new = merged(t, tensors[name[:-7] + ".a"], tensors[name[:-7] + ".b"], strength)
        key = name.encode()
        at = data.index(struct.pack("<3i", t.ndim, len(key), 1) + struct.pack(f"<{t.ndim}i", *t.shape[::-1]) + key) + 12 + 4 * t.ndim + len(key)
        data[at:at + t.nbytes] = new.tobytes()
    open(out, "wb").write(data)


def mean(out, rank, *paths):
    """The mean of several adapters' changes, each layer's cut to its RANK largest singular values."""
    read_all = [read(p) for p in paths]
    tensors, lost, all_ = {}, 0.0, 0.0
    for key in (k for k in read_all[0][0] if k.endswith(".a")):
        a = np.concatenate([t[key].astype(np.float64) for t, _ in read_all])
        b = np.concatenate([t[key[:-1] + "b"].astype(np.float64) for t, _ in read_all], 1) / len(paths)
        qa, ra = np.linalg.qr(a.T)
        qb, rb = np.linalg.qr(b)
        u, s, v = np.linalg.svd(rb @ ra.T)
        n = min(int(rank), len(s))
        root = np.sqrt(s[:n])
        tensors[key] = (root[:, None] * (v[:n] @ qa.T)).astype("<f2")
        tensors[key[:-1] + "b"] = (qb @ u[:, :n] * root).astype("<f2")
        lost, all_ = lost + (s[n:] ** 2).sum(), all_ + (s ** 2).sum()
    metadata = dict(read_all[0][1], step=" ".join(m["step"] for _, m in read_all), options=json.dumps([json.loads(m["options"]) for _, m in read_all], sort_keys=True))
    write(out, tensors, metadata)
    print(f"{lost / all_:.1%} of the squared change is cut off")


def golden(folder):
    """A small tensor set with its merge, for the test in Go."""
    r = np.random.default_rng(20261125)
    tensors, adapter, want = {}, {}, {}
    for name, (out, into) in {"encoder.blocks.0.attn.query": (6, 4), "encoder.blocks.0.mlp.0": (8, 4), "decoder.blocks.0.cross_attn.value": (4, 4)}.items():
        w = r.normal(0, 0.3, (out, into)).astype("<f2")
        a, b = r.normal(0, 0.5, (3, into)).astype("<f2"), r.normal(0, 0.5, (out, 3)).astype("<f2")
        tensors[name + ".weight"], adapter[name + ".a"], adapter[name + ".b"] = w, a, b
        want[name + ".weight"] = merged(w, a, b, 0.75)
    write(f"{folder}/base.safetensors", tensors, {})
    write(f"{folder}/adapter.safetensors", adapter, {"format": FORMAT, "base": "tiny.en", "strength": "0.75"})
    write(f"{folder}/merged.safetensors", want, {})


if __name__ == "__main__":
    if sys.argv[1] == "merge":
        merge(*sys.argv[2:5])
    elif sys.argv[1] == "golden":
        golden(sys.argv[2])
    elif sys.argv[1] == "mean":
        mean(*sys.argv[2:])
    elif sys.argv[1] == "strength":
        tensors, metadata = read(sys.argv[2])
        encoder, _, decoder = sys.argv[3].partition("/")
        metadata["strength"] = decoder or encoder
        if decoder:
            scaled = {k: (v * np.float32(float(encoder) / float(decoder))).astype("<f2") for k, v in tensors.items() if k.startswith("encoder.") and k.endswith(".b")}
            tensors.update(scaled)
        write(sys.argv[4], tensors, metadata)
    else:
        sys.exit(__doc__)
