"""Goes on with an adapter's decoder alone, on a plain processor: what the ear hears right and writes wrong.

usage: finish.py MODEL.bin CLIPS ADAPTER.safetensors OUT.safetensors HARD.jsonl [--seconds 1200] [--batch 24] ...

HARD lists the texts to be learnt (as texts/ makes them): their clips are taught as written.
Every other clip of CLIPS is held to what the model with the adapter makes of it already (a
divergence from its distribution), so that nothing else moves, its certainty neither. The
encoder stays as it is: each clip is mixed and encoded once, and its states are kept. The
best of the checkpoints on voices and texts apart is saved.
"""
import argparse
import json
import math
import random
import time

import adapter
import clips as clipping
import model as whisper
import torch
import torch.nn.functional as F
import train


class Set:
    """Clips with their encoder states, by the window's size."""

    def __init__(self, rows, sounds, hard, m, g, tokens, o, seed):
        self.rng = random.Random(seed)
        s = clipping.Studio(rows, sounds, g.filters, "cpu", seed, o.noises, o.loud)
        self.clips, begun = {}, time.time()
        for size in (clipping.SHORT, clipping.LONG):
            ids = [i for i in range(len(rows)) if (s.seconds[i] <= clipping.FITS[clipping.SHORT][1]) == (size == clipping.SHORT) and s.seconds[i] < 8]
            out = []
            for at in range(0, len(ids), 16):
                part = torch.tensor(ids[at:at + 16])
                one = torch.ones(len(part))
                with torch.no_grad():
                    states = m.encode(s.mixed(part, one, torch.tensor([self.rng.randint(800, 5600) for _ in part]), size * 320)).half()
                for i, x in zip(part.tolist(), states):
                    r = rows[i]
                    callout = not clipping.talks(r)
                    text = r["written"] if callout else r["spoken"][:1].upper() + r["spoken"][1:] + "."
                    out.append({"states": x, "hard": callout and r["spoken"] in hard, "ids": tokens.encode(" " + text), "teach": None})
            self.clips[size] = out
        print(f"{sum(map(len, self.clips.values()))} clips, {sum(c['hard'] for l in self.clips.values() for c in l)} of them to learn, encoded in {time.time() - begun:.0f} s", flush=True)

    def batch(self, n, share):
        size = clipping.SHORT if self.rng.random() < 0.6 else clipping.LONG
        hard, rest = ([c for c in self.clips[size] if c["hard"] == h] for h in (True, False))
        k = round(n * share)
        return self.rng.choices(hard, k=k) + self.rng.choices(rest, k=n - k)

    def batches(self, n):
        for list_ in self.clips.values():
            for at in range(0, len(list_), n):
                yield list_[at:at + n]


def logits(m, part, ids, tokens):
    with torch.no_grad():  # keys and values of the sound stay as they are
        cross = m.cross(torch.stack([c["states"] for c in part]).float())
    return m.logits(m.hidden(ids, cross)[:, len(tokens.start) - 1:])


def teach(m, first, part, ids, tokens):
    """Puts what the model wrote at first beside each clip that is held to it."""
    todo = [i for i, c in enumerate(part) if not c["hard"] and c["teach"] is None]
    if not todo:
        return
    now, m.ready = m.ready, first
    with torch.no_grad():
        p = torch.log_softmax(logits(m, [part[i] for i in todo], ids[todo], tokens), -1)
    m.ready = now
    for i, x in zip(todo, p):
        part[i]["teach"] = x[:len(part[i]["ids"]) + 1].half()


def losses(m, first, part, tokens):
    """Cross-entropy a token of what is learnt, divergence a token of what is held, and which clips' tokens are all the likeliest."""
    ids, goal = train.lay([c["ids"] for c in part], [tokens.start] * len(part), tokens.eot)
    teach(m, first, part, ids, tokens)
    q = torch.log_softmax(logits(m, part, ids, tokens), -1)
    hard = [i for i, c in enumerate(part) if c["hard"]]
    ce = F.nll_loss(q[hard].flatten(0, 1), goal[hard].flatten(), ignore_index=-100) if hard else torch.zeros(())
    kl, n = torch.zeros(()), 0
    for i, c in enumerate(part):
        if not c["hard"]:
            p = c["teach"].float()
            kl = kl + (p.exp() * (p - q[i, :len(p)])).sum()
            n += len(p)
    exact = ((q.argmax(-1) == goal) | (goal == -100)).all(-1)
    return ce, kl / max(1, n), exact


def main():
    a = argparse.ArgumentParser()
    a.add_argument("model"), a.add_argument("clips"), a.add_argument("start"), a.add_argument("out"), a.add_argument("hard")
    a.add_argument("--seconds", type=float, default=1200)
    a.add_argument("--batch", type=int, default=24)
    a.add_argument("--share", type=float, default=0.6, help="of a batch, to learn")
    a.add_argument("--rate", type=float, default=3e-4)
    a.add_argument("--anchor", type=float, default=2.0)
    a.add_argument("--loud", type=float, default=0.35, help="share of the clips at -3 to 10 dB")
    a.add_argument("--noises", type=int, default=96)
    a.add_argument("--most", type=int, default=3000, help="clips to train on")
    a.add_argument("--every", type=int, default=40)
    a.add_argument("--seed", type=int, default=31)
    o = a.parse_args()
    torch.manual_seed(o.seed)
    g = whisper.Ggml(o.model)
    tokens = whisper.Tokens(g)
    m = whisper.Whisper(g, adapter.rank(o.start))
    strength = adapter.fill(m, o.start)
    if strength != 1:
        raise SystemExit(f"{o.start}: its strength is {strength}; write it as one of 1 first: adapter.py strength {o.start} ENCODER/1 OUT")
    with torch.no_grad():
        m.prepare(1)
    first = dict(m.ready)
    hard = {r["spoken"] for r in map(json.loads, open(o.hard, encoding="utf-8")) if not clipping.talks(r)}
    rows, sounds = clipping.load(o.clips)
    rng, sets = random.Random(o.seed), []
    for dev in (False, True):
        ids = [i for i, r in enumerate(rows) if r["dev"] == dev]
        rng.shuffle(ids)
        # The neural voices first: there are few of them, and people are nearer to them.
        ids = sorted(ids, key=lambda i: rows[i]["voice"][2] != "_")[:o.most if not dev else 300]
        sets.append(Set([rows[i] for i in ids], [sounds[i] for i in ids], hard, m, g, tokens, o, o.seed + dev))
    taught, apart = sets
    decoder = {n for n in whisper.linear_names(g) if n.startswith("decoder.") and not n.endswith(("cross_attn.key", "cross_attn.value"))}
    masks = [torch.tensor([float(n in decoder) for n in names])[:, None, None] for names in m.groups.values()]
    parameters = list(m.a) + list(m.b)
    step = torch.optim.AdamW(parameters, lr=o.rate, weight_decay=0.0, betas=(0.9, 0.98))
    begun, lowest = time.time(), 1e9
    for i in range(100000):
        done = (time.time() - begun) / o.seconds
        if i % o.every == 0 or done >= 1:
            with torch.no_grad():
                m.prepare(1)
                n, sums, right, hards = 0, [0.0, 0.0], 0, 0
                for part in apart.batches(24):
                    ce, kl, exact = losses(m, first, part, tokens)
                    sums, n = [sums[0] + float(ce), sums[1] + float(kl)], n + 1
                    right += sum(bool(e) for e, c in zip(exact, part) if c["hard"])
                    hards += sum(c["hard"] for c in part)
            score, mark = sums[0] / n + o.anchor * sums[1] / n, ""
            if score < lowest:
                lowest, mark = score, " kept"
                adapter.save(o.out, m, o, i)
            print(f"step {i} {time.time() - begun:.0f} s  apart {sums[0] / n:.4f} kl {sums[1] / n:.4f} whole {right} of {hards}{mark}", flush=True)
        if done >= 1:
            break
        for group in step.param_groups:
            group["lr"] = o.rate * min(1, (i + 1) / 20) * max(0.02, 0.5 * (1 + math.cos(math.pi * done)))
        m.prepare(1)
        ce, kl, _ = losses(m, first, taught.batch(o.batch, o.share), tokens)
        step.zero_grad(set_to_none=True)
        (ce + o.anchor * kl).backward()
        for p, mask in zip(parameters, masks + masks):
            if p.grad is not None:
                p.grad.mul_(mask)
        torch.nn.utils.clip_grad_norm_(parameters, 1.0)
        step.step()
        if i % 10 == 0:
            print(f"  {i} {time.time() - begun:.0f} s  {float(ce.detach()):.4f} kl {float(kl.detach()):.4f}", flush=True)


if __name__ == "__main__":
    main()
