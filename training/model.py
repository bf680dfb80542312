"""Whisper in PyTorch, read from the ggml file that callout loads, with low-rank adapters.

A weight W of a linear layer becomes W + strength * B A. On a GPU it works in bfloat16.
Everything else is the reference
implementation's: layer norms, learned positions, convolutions, GELU (openai-whisper,
model.py). The encoder may run over fewer than 1500 positions, as callout runs it.
"""
import math
import struct

import numpy as np
import torch
import torch.nn.functional as F

RATE = 16000


class Ggml:
    """The tensors, mel filters and vocabulary of a ggml Whisper file (float16 and float32)."""

    def __init__(self, path):
        data = open(path, "rb").read()
        self.at = 0

        def ints(n):
            v = struct.unpack_from(f"<{n}i", data, self.at)
            self.at += 4 * n
            return v

        magic, self.vocab, self.audio_ctx, self.audio_state, self.audio_head, self.audio_layer, self.text_ctx, \
            self.text_state, self.text_head, self.text_layer, self.mels, self.ftype = ints(12)
        if magic != 0x67676d6c:
            raise ValueError(f"{path}: not a ggml file")
        rows, cols = ints(2)
        self.filters = np.frombuffer(data, "<f4", rows * cols, self.at).reshape(rows, cols).copy()
        self.at += 4 * rows * cols
        self.tokens = []
        for _ in range(ints(1)[0]):
            n = ints(1)[0]
            self.tokens.append(data[self.at:self.at + n])
            self.at += n
        self.tensors = {}
        while self.at < len(data):
            dims, length, kind = ints(3)
            shape = ints(dims)[::-1]
            name = data[self.at:self.at + length].decode()
            self.at += length
            dtype = {0: "<f4", 1: "<f2"}[kind]
            count = int(np.prod(shape))
            self.tensors[name] = np.frombuffer(data, dtype, count, self.at).reshape(shape)
            self.at += count * np.dtype(dtype).itemsize


class Tokens:
    """Text to tokens and back, and the special tokens."""

    def __init__(self, g):
        import tiktoken
        ranks = {t: i for i, t in enumerate(g.tokens[:50256 if g.vocab < 51865 else 50257]) if t}
        # The reference implementation's split of text into pieces.
        self.code = tiktoken.Encoding("callout", pat_str=r"""'s|'t|'re|'ve|'m|'ll|'d| ?\p{L}+| ?\p{N}+| ?[^\s\p{L}\p{N}]+|\s+(?!\S)|\s+""",
                                      mergeable_ranks=ranks, special_tokens={})
        more = 0 if g.vocab < 51865 else 1
        self.eot, self.sot, self.transcribe = 50256 + more, 50257 + more, 50358 + more
        self.prev, self.nospeech, self.notimes = 50360 + more, 50361 + more, 50362 + more
        self.start = [self.sot] + ([self.sot + 1, self.transcribe] if more else []) + [self.notimes]
        self.text = list(g.tokens)

    def encode(self, s):
        return self.code.encode_ordinary(s)

    def decode(self, ids):
        return b"".join(self.text[i] for i in ids if i < self.eot).decode(errors="replace").strip()


def linear_names(g):
    """The linear layers, which the adapter changes."""
    names = []
    for side, layers in (("encoder", g.audio_layer), ("decoder", g.text_layer)):
        for i in range(layers):
            for attn in ["attn"] + (["cross_attn"] if side == "decoder" else []):
                names += [f"{side}.blocks.{i}.{attn}.{p}" for p in ("query", "key", "value", "out")]
            names += [f"{side}.blocks.{i}.mlp.0", f"{side}.blocks.{i}.mlp.2"]
    return names


class Whisper(torch.nn.Module):
    """The adapters of all layers of one shape are one parameter, so that a step takes few calls."""

    def __init__(self, g, rank=0):
        super().__init__()
        self.g, self.rank, self.strength = g, rank, 1.0
        for name, t in g.tensors.items():
            self.register_buffer(name.replace(".", "/"), torch.from_numpy(t.astype(np.float32)))
        self.groups = {}
        for name in linear_names(g):
            self.groups.setdefault(g.tensors[name + ".weight"].shape, []).append(name)
        self.a, self.b = torch.nn.ParameterList(), torch.nn.ParameterList()
        for (out, into), names in self.groups.items():
            self.register_buffer(f"stack{out}x{into}", torch.stack([self.w(n + ".weight") for n in names]))
            if rank:
                self.a.append(torch.nn.Parameter(torch.randn(len(names), rank, into) / math.sqrt(into)))
                self.b.append(torch.nn.Parameter(torch.zeros(len(names), out, rank)))
        self.ready = {}

    def w(self, name):
        return getattr(self, name.replace(".", "/"))

    def layers(self):
        """Name, a [rank, inputs] and b [outputs, rank] of each changed layer."""
        for names, a, b in zip(self.groups.values(), self.a, self.b):
            for i, n in enumerate(names):
                yield n, a[i], b[i]

    def prepare(self, strength):
        """Puts the weights together. It must come before a pass, and after each change of the adapter."""
        dtype = torch.bfloat16 if self.w("encoder.ln_post.bias").is_cuda else torch.float32
        if not self.ready:
            self.plain = {k: getattr(self, k).to(dtype) for k in dict(self.named_buffers())}
        self.ready = dict(self.plain)
        if self.rank and strength:
            for ((out, into), names), a, b in zip(self.groups.items(), self.a, self.b):
                w = (getattr(self, f"stack{out}x{into}") + strength * torch.bmm(b, a)).to(dtype)
                for n, x in zip(names, w.unbind(0)):
                    self.ready[n.replace(".", "/") + "/weight"] = x

    def linear(self, x, name, bias=True):
        key = name.replace(".", "/")
        return F.linear(x, self.ready[key + "/weight"], self.ready[key + "/bias"] if bias else None)

    def norm(self, x, name):
        key = name.replace(".", "/")
        return F.layer_norm(x, x.shape[-1:], self.ready[key + "/weight"], self.ready[key + "/bias"])

    def attend(self, q, k, v, heads, causal):
        split = lambda t: t.view(t.shape[0], t.shape[1], heads, -1).transpose(1, 2)
        q, k, v = split(q), split(k), split(v)
        if hasattr(F, "scaled_dot_product_attention"):
            y = F.scaled_dot_product_attention(q, k, v, is_causal=causal)
        else:
            s = q @ k.transpose(-1, -2) / math.sqrt(q.shape[-1])
            if causal:
                s = s + torch.full(s.shape[-2:], -1e9).triu(1)
            y = torch.softmax(s, -1) @ v
        return y.transpose(1, 2).flatten(2)

    def self_attention(self, x, name, heads, causal):
        q, k, v = self.linear(x, name + ".query"), self.linear(x, name + ".key", bias=False), self.linear(x, name + ".value")
        return self.linear(self.attend(q, k, v, heads, causal), name + ".out")

    def feed(self, x, block):
        return self.linear(F.gelu(self.linear(x, block + ".mlp.0")), block + ".mlp.2")

    def encode(self, mel):
        """mel [batch, bands, 2 n] to states [batch, n, width]."""
        r = self.ready
        x = F.gelu(F.conv1d(mel.to(r["encoder/conv1/weight"].dtype), r["encoder/conv1/weight"], r["encoder/conv1/bias"].flatten(), padding=1))
        x = F.gelu(F.conv1d(x, r["encoder/conv2/weight"], r["encoder/conv2/bias"].flatten(), stride=2, padding=1))
        x = x.transpose(1, 2)
        x = x + r["encoder/positional_embedding"][:x.shape[1]]
        for i in range(self.g.audio_layer):
            b = f"encoder.blocks.{i}"
            x = x + self.self_attention(self.norm(x, b + ".attn_ln"), b + ".attn", self.g.audio_head, False)
            x = x + self.feed(self.norm(x, b + ".mlp_ln"), b)
        return self.norm(x, "encoder.ln_post")

    def cross(self, states):
        """Keys and values of the states, for each decoder layer."""
        return [(self.linear(states, f"decoder.blocks.{i}.cross_attn.key", bias=False),
                 self.linear(states, f"decoder.blocks.{i}.cross_attn.value")) for i in range(self.g.text_layer)]

    def hidden(self, tokens, cross):
        x = self.ready["decoder/token_embedding/weight"][tokens] + self.ready["decoder/positional_embedding"][:tokens.shape[1]]
        for i in range(self.g.text_layer):
            b = f"decoder.blocks.{i}"
            x = x + self.self_attention(self.norm(x, b + ".attn_ln"), b + ".attn", self.g.text_head, True)
            q = self.linear(self.norm(x, b + ".cross_attn_ln"), b + ".cross_attn.query")
            x = x + self.linear(self.attend(q, *cross[i], self.g.text_head, False), b + ".cross_attn.out")
            x = x + self.feed(self.norm(x, b + ".mlp_ln"), b)
        return self.norm(x, "decoder.ln")

    def logits(self, hidden):
        return F.linear(hidden, self.ready["decoder/token_embedding/weight"])

    @torch.no_grad()
    def greedy(self, mel, tokens, prefix, most=44):
        """Greedy texts with their mean token log-probabilities and no-speech probabilities, as callout's free pass makes them."""
        if not hasattr(self, "blank"):
            bad = [i for i, t in enumerate(tokens.text[:tokens.eot]) if any(c in t.decode(errors="replace") for c in '"#()*+/:;<=>@[\\]^_`{|}~♪「」『』') or t in (b" -", b" '")]
            self.blank = torch.tensor(bad, device=mel.device)
        n = mel.shape[0]
        cross = self.cross(self.encode(mel))
        ids = torch.tensor([prefix], device=mel.device).repeat(n, 1)
        done = torch.zeros(n, dtype=torch.bool, device=mel.device)
        log = torch.zeros(n, device=mel.device)
        count = torch.zeros(n, device=mel.device)
        for step in range(most):
            h = self.hidden(ids, cross)
            if step == 0:
                nospeech = torch.softmax(self.logits(h[:, prefix.index(tokens.sot)]).float(), -1)[:, tokens.nospeech]
            p = torch.log_softmax(self.logits(h[:, -1]).float(), -1)
            q = p.clone()
            q[:, tokens.eot + 1:] = -1e9
            q[:, self.blank] = -1e9
            if step == 0:
                q[:, tokens.eot] = -1e9
                q[:, 220] = -1e9  # " "
            best = q.argmax(-1)
            best = torch.where(done, torch.full_like(best, tokens.eot), best)
            got = p.gather(1, best[:, None])[:, 0]
            log += torch.where(done, torch.zeros_like(got), got)
            count += (~done).float()
            done |= best == tokens.eot
            ids = torch.cat([ids, best[:, None]], 1)
            if bool(done.all()):
                break
        texts = [tokens.decode(row[len(prefix):]) for row in ids.tolist()]
        mean = (log / count).tolist()
        quiet = nospeech.tolist()
        # The reference implementation's rule for sound without speech.
        return ["" if q > 0.6 and m < -1 else t for t, m, q in zip(texts, mean, quiet)], mean, quiet


class Mel:
    """Log-mel spectra as the reference implementation makes them; a warp stretches the frequency axis, as a longer or shorter vocal tract does."""

    def __init__(self, filters, device, warps=(1.0,)):
        base = torch.tensor(filters)
        bins = torch.arange(base.shape[1], dtype=torch.float32)
        bank = []
        for w in warps:
            at = (bins * w).clamp(max=base.shape[1] - 1.001)
            low = at.floor().long()
            bank.append(base[:, low] * (1 - (at - low)) + base[:, low + 1] * (at - low))
        self.bank = torch.stack(bank).to(device)
        self.window = torch.hann_window(400, device=device)

    def __call__(self, x, which=None):
        """x [batch, samples], a multiple of 160, to [batch, bands, samples/160]."""
        power = torch.stft(x, 400, 160, window=self.window, return_complex=True)[..., :-1].abs() ** 2
        mel = self.bank[0] @ power if which is None else torch.bmm(self.bank[which], power)
        mel = mel.clamp(min=1e-10).log10()
        mel = torch.maximum(mel, mel.amax((1, 2), keepdim=True) - 8)
        return (mel + 4) / 4
