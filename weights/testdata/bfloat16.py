"""Golden values of rounding to bfloat16, with none of the code that they test.

usage, in the root of the tree: python3 weights/testdata/bfloat16.py

weights/testdata/bfloat16.tsv: bits of a float64, bits of the bfloat16 for it. What is a
float32 is rounded by PyTorch, and every finite one by exact fractions too.
weights/testdata/adapter/merged-bf16.tsv: the merge of adapter/*.safetensors in float64
by NumPy (training/adapter.py), each value rounded by exact fractions.

Needs NumPy and PyTorch (made with 1.24 and 1.13).
"""
import struct
import sys
from bisect import bisect
from fractions import Fraction

import numpy as np
import torch

sys.path.insert(0, "training")
import adapter  # noqa: E402

# Every finite bfloat16 from zero up, and where the next would be: halfway to it and beyond is infinite.
UP = [Fraction(struct.unpack("<f", struct.pack("<I", b << 16))[0]) for b in range(0x7f80)] + [Fraction(2) ** 128]


def nearest(v):
    """Bits of the bfloat16 nearest to a finite v, ties to even."""
    x = abs(Fraction(v))
    i = min(bisect(UP, x) - 1, 0x7f7f)
    low, high = x - UP[i], UP[i + 1] - x
    i += low > high or low == high and i & 1
    return i | (0x8000 if np.signbit(v) else 0)


def by_torch(v):
    return int(torch.tensor([v], dtype=torch.float32).to(torch.bfloat16).view(torch.int16)[0]) & 0xffff


def bits64(v):
    return struct.unpack("<Q", struct.pack("<d", v))[0]


r = np.random.default_rng(20261125)
singles = [0.0, -0.0, 1.0, -1.0, 65504.0, float("inf"), float("-inf")]
for b in list(range(0x3f800000, 0x3f830000, 0x4000)) + [0x7f7f7fff, 0x7f7f8000, 0x7f7fffff, 1, 0x7fff, 0x8000, 0x8001, 0x18000, 0x7fffff, 0x800000]:
    for near in (b - 1, b, b + 1):
        if 0 <= near < 0x7f800000:
            singles += [struct.unpack("<f", struct.pack("<I", near | s))[0] for s in (0, 0x80000000)]
singles += [float(x) for x in r.normal(0, 0.3, 150).astype("<f4")]
singles += [float(x) for x in r.integers(0, 0x7f800000, 150, dtype=np.uint32).view("<f4")]
doubles = []
for b in r.integers(0, 0x7f7f, 60):  # halfway, and nearer to it than a float32 can be
    half = (float(UP[b]) + float(UP[b + 1])) / 2
    doubles += [half, np.nextafter(half, 0), np.nextafter(half, np.inf), -np.nextafter(half, 0)]
doubles += [5e-324, -1e-300, 1e300, -1e39, float(2 ** 128 - 2 ** 119), np.nextafter(float(2 ** 128 - 2 ** 119), 0)]

with open("weights/testdata/bfloat16.tsv", "w") as f:
    for v in singles:
        assert np.isinf(v) or nearest(v) == by_torch(v), v
        f.write(f"{bits64(v):016x}\t{by_torch(v):04x}\n")
    for v in doubles:
        f.write(f"{bits64(v):016x}\t{nearest(v):04x}\n")

base, _ = adapter.read("weights/testdata/adapter/base.safetensors")
low, metadata = adapter.read("weights/testdata/adapter/adapter.safetensors")
with open("weights/testdata/adapter/merged-bf16.tsv", "w") as f:
    for name, w in sorted(base.items()):
        a, b = (low[name[:-7] + s].astype(np.float64) for s in (".a", ".b"))
        delta = np.zeros(w.shape)
        for i in range(a.shape[0]):
            delta += np.outer(b[:, i], a[i])
        merged = w.astype(np.float64) + float(metadata["strength"]) * delta
        f.write(name + "\t" + " ".join(f"{nearest(v):04x}" for v in merged.flat) + "\n")
