"""Trains the adapter.

usage: train.py MODEL.bin CLIPS OUT [--rank 16] [--steps 2400] [--batch 256] [--rate 8e-4] ...

Callouts are taught as written (cross-entropy). Talk and prose are taught as the untouched
model writes them from the clean clip, with a divergence from its distribution (the anchor
that keeps other speech as it was); noise alone is taught as nothing. Part of the batches
has a prompt before the text. Stopping: the best of the checkpoints on voices apart.
"""
import argparse
import math
import pathlib
import random
import re
import time

import adapter
import clips as clipping
import model as whisper
import torch
import torch.nn.functional as F

# What the program primes its recogniser with.
PRIME = (pathlib.Path(__file__).parent.parent / "intents/hearing/data/prime.txt").read_text(encoding="utf-8").strip()


def words(text):
    return re.findall(r"[a-z']+|\d+(?:\.\d+)?", text.lower())


def distance(a, b):
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return row[-1]


def texts_of_talk(m, tokens, studio, batch=512):
    """What the untouched model writes for talk and prose, clean; a clip that it does not understand is left out."""
    m.prepare(0)
    number = set("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen "
                 "twenty thirty forty fifty sixty seventy eighty ninety hundred thousand oh point half quarter a and o'clock clock".split())
    content = lambda s: [w for w in words(s) if w not in number and not w[0].isdigit()]
    kept = lost = 0
    todo = [i for i, r in enumerate(studio.rows) if clipping.talks(r)]
    for at in range(0, len(todo), batch):
        ids = todo[at:at + batch]
        one = torch.ones(len(ids), device=studio.device)
        mel = studio.clean(torch.tensor(ids, device=studio.device), one, (one * 3200).long(), clipping.WIDE * 320)
        got, _, _ = m.greedy(mel, tokens, tokens.start)
        for i, t in zip(ids, got):
            want, have = content(studio.rows[i]["spoken"]), content(t)
            ok = t and distance(want, have) <= 0.3 * max(1, len(want)) and abs(len(words(t)) - len(words(studio.rows[i]["spoken"]))) < 6
            studio.rows[i]["written"] = t if ok else ""
            kept, lost = kept + bool(ok), lost + (not ok)
    print(f"talk and prose: {kept} clips kept, {lost} not understood clean", flush=True)


def lay(texts, starts, eot):
    """Token ids of texts after their starts, which are of one length, with their goals, both padded."""
    longest = max(map(len, texts))
    ids = torch.full((len(texts), len(starts[0]) + longest), eot)
    goal = torch.full((len(texts), longest + 1), -100)
    for i, (start, x) in enumerate(zip(starts, texts)):
        ids[i, :len(start) + len(x)] = torch.tensor(start + x)
        goal[i, :len(x) + 1] = torch.tensor(x + [eot])
    return ids, goal


class Course:
    def __init__(self, o, g, tokens, studio, device):
        self.o, self.tokens, self.studio, self.device = o, tokens, studio, device
        self.rng = random.Random(o.seed)
        self.callouts = [r["written"] for r in studio.rows if not clipping.talks(r)]
        self.prime = tokens.encode(" " + PRIME)

    def prefixes(self, n):
        """Prompt tokens for a batch, all of one length; none in most batches."""
        x = self.rng.random()
        if x >= self.o.prompted:
            return [[] for _ in range(n)]
        if x < self.o.prompted / 2:
            return [self.prime for _ in range(n)]
        size = self.rng.randint(8, 100)
        out = []
        for _ in range(n):
            ids = []
            while len(ids) < size:
                ids += self.tokens.encode(" " + self.rng.choice(self.callouts))
            out.append(ids[-size:])
        return out

    def step(self, m, batches, n, blur=0.0):
        t, dev = self.tokens, self.device
        size, which, at, speed, lead, samples = batches.draw(n)
        rows = [self.studio.rows[i] for i in which]
        silent = torch.tensor([self.rng.random() < self.o.silence for _ in rows], device=dev)
        prompts = self.prefixes(n)
        start = ([t.prev] + prompts[0] if prompts[0] else [])
        texts = [[] if s else t.encode(" " + r["written"]) for r, s in zip(rows, silent.tolist())]
        ids, goal = (x.to(dev) for x in lay(texts, [([t.prev] + p if p else []) + t.start for p in prompts], t.eot))
        first = len(start) + len(t.start) - 1  # where the first text token is foretold
        sot = len(start)
        keep = torch.tensor([clipping.talks(r) for r in rows], device=dev) & ~silent
        if blur:  # what was written before is not always to be trusted: the sound is
            text = (goal[:, :-1] >= 0) & ~keep[:, None]
            other = ids.roll(1, 0)[:, first + 1:]
            swap = text & (self.studio.dice.unit(*text.shape) < blur) & (other != t.eot)
            ids[:, first + 1:] = torch.where(swap, other, ids[:, first + 1:])
        with torch.no_grad():
            mel = self.studio.mixed(at, speed, lead, samples, silent=silent)
        teach = None
        if bool(keep.any()):
            k = keep.nonzero()[:, 0]
            with torch.no_grad():
                m.prepare(0)
                clean = self.studio.clean(at[k], speed[k], lead[k], clipping.WIDE * 320)
                teach = m.logits(m.hidden(ids[k], m.cross(m.encode(clean)))[:, first:])
        m.prepare(1)
        hidden = m.hidden(ids, m.cross(m.encode(mel)))
        text = m.logits(hidden[:, first:])
        begin = m.logits(hidden[:, sot])
        weight = torch.where(keep, self.o.talk_weight, 1.0)[:, None].expand_as(goal)
        loss = F.cross_entropy(text.float().flatten(0, 1), goal.flatten(), reduction="none", ignore_index=-100, label_smoothing=self.o.smooth)
        on = (goal != -100).float()
        ce = (loss.view_as(goal) * weight * on).sum() / on.sum()
        quiet = torch.log_softmax(begin.float(), -1)[:, t.nospeech]
        gate = torch.where(silent, -quiet, -torch.log1p(-quiet.exp().clamp(max=0.9999))).mean()
        total = ce + self.o.gate * gate
        kl = torch.zeros((), device=dev)
        if teach is not None:
            p, q = torch.log_softmax(teach.float(), -1), torch.log_softmax(text[k].float(), -1)
            kl = ((p.exp() * (p - q)).sum(-1) * on[k]).sum() / on[k].sum()
            total = total + self.o.anchor * kl
        return total, ce.detach(), kl.detach(), gate.detach()


@torch.no_grad()
def held_out(course, m, batches, rounds, n):
    """Mean losses over voices apart, always the same draws."""
    studio = course.studio
    keep = course.rng.getstate(), batches.rng.getstate(), studio.dice.g.get_state()
    course.rng.seed(7), batches.rng.seed(7), studio.dice.g.manual_seed(7)
    sums = [0.0, 0.0, 0.0]
    for _ in range(rounds):
        _, ce, kl, gate = course.step(m, batches, n)
        sums = [a + float(b) / rounds for a, b in zip(sums, (ce, kl, gate))]
    course.rng.setstate(keep[0]), batches.rng.setstate(keep[1]), studio.dice.g.set_state(keep[2])
    return sums


def main():
    a = argparse.ArgumentParser()
    a.add_argument("model"), a.add_argument("clips"), a.add_argument("out")
    a.add_argument("--rank", type=int, default=16)
    a.add_argument("--steps", type=int, default=2400)
    a.add_argument("--seconds", type=float, default=1e9)
    a.add_argument("--batch", type=int, default=256)
    a.add_argument("--rate", type=float, default=8e-4)
    a.add_argument("--anchor", type=float, default=1.0)
    a.add_argument("--talk-weight", type=float, default=0.5)
    a.add_argument("--silence", type=float, default=0.06)
    a.add_argument("--gate", type=float, default=0.2)
    a.add_argument("--smooth", type=float, default=0.0)
    a.add_argument("--prompted", type=float, default=0.0, help="share of the batches with a prompt before the text")
    a.add_argument("--callouts", type=float, default=0.6, help="share of a batch")
    a.add_argument("--natural", type=float, default=0.4, help="share of the neural voices in a batch")
    a.add_argument("--noises", type=int, default=1000)
    a.add_argument("--loud", type=float, default=0.6, help="share of the clips at -3 to 10 dB")
    a.add_argument("--long", type=float, default=0.0, help="share of the batches with clips joined to 8 to 14 s")
    a.add_argument("--blur", type=float, default=0.0, help="share of the tokens read before a callout's next one that are another text's")
    a.add_argument("--start", default="", help="adapter of the same rank to go on from")
    a.add_argument("--every", type=int, default=300)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--device", default="cuda")
    o = a.parse_args()
    torch.manual_seed(o.seed)
    torch.set_num_threads(2)  # the voices have the other processors
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    begun = time.time()
    g = whisper.Ggml(o.model)
    tokens = whisper.Tokens(g)
    rows, sounds = clipping.load(o.clips)
    if o.long:
        more = clipping.joined(rows, sounds, len(rows) // 4, 1)
        rows, sounds = rows + more[0], sounds + more[1]
    m = whisper.Whisper(g, o.rank).to(o.device)
    if o.start:
        adapter.fill(m, o.start)
    studios = []
    for dev in (False, True):
        keep = [i for i, r in enumerate(rows) if r["dev"] == dev]
        s = clipping.Studio([rows[i] for i in keep], [sounds[i] for i in keep], g.filters, o.device, o.seed + 100 * dev, o.noises if not dev else max(8, o.noises // 8), o.loud)
        texts_of_talk(m, tokens, s)
        for r in s.rows:
            r["kind"] = r["kind"] if clipping.talks(r) else "callout"
            if not r["written"]:
                r["kind"] = "lost"
        studios.append(s)
    kinds = {"callout": o.callouts, "talk": (1 - o.callouts) / 2, "prose": (1 - o.callouts) / 2}
    train, dev = Course(o, g, tokens, studios[0], o.device), Course(o, g, tokens, studios[1], o.device)
    batches, dev_batches = clipping.Batches(studios[0], kinds, o.seed, o.natural, o.long), clipping.Batches(studios[1], kinds, o.seed, 0.5, o.long)
    voices = len({r["voice"] for r in studios[0].rows})
    print(f"{len(studios[0].rows)} clips of {voices} voices, {sum(studios[0].seconds) / 3600:.1f} h; {len(studios[1].rows)} to stop on; ready in {time.time() - begun:.0f} s", flush=True)
    parameters = list(m.a.parameters()) + list(m.b.parameters())
    best = torch.optim.AdamW(parameters, lr=o.rate, weight_decay=0.01, betas=(0.9, 0.98))
    begun, lowest = time.time(), 1e9
    seen = [0.0, 0.0, 0.0]
    for i in range(1, o.steps + 1):
        done = max(i / o.steps, (time.time() - begun) / o.seconds)
        rate = o.rate * min(1, i / 100) * max(0.02, 0.5 * (1 + math.cos(3.14159 * min(1, done))))
        for p in best.param_groups:
            p["lr"] = rate
        total, ce, kl, gate = train.step(m, batches, o.batch, o.blur)
        best.zero_grad(set_to_none=True)
        total.backward()
        torch.nn.utils.clip_grad_norm_(parameters, 1.0)
        best.step()
        if i % 20 == 0:
            seen = [0.8 * s + 0.2 * float(x) if i > 20 else float(x) for s, x in zip(seen, (ce, kl, gate))]
        end = i == o.steps or done >= 1
        if i % o.every == 0 or end or i == 1:
            held = held_out(dev, m, dev_batches, 6, min(o.batch, 128))
            score = held[0] + o.anchor * held[1]
            mark = ""
            if score < lowest:
                lowest, mark = score, " kept"
                adapter.save(f"{o.out}.safetensors", m, o, i)
            print(f"step {i} {time.time() - begun:.0f} s  train {seen[0]:.4f} kl {seen[1]:.4f} gate {seen[2]:.4f}  apart {held[0]:.4f} kl {held[1]:.4f} gate {held[2]:.4f}{mark}", flush=True)
        if end:
            break
    adapter.save(f"{o.out}-last.safetensors", m, o, i)


if __name__ == "__main__":
    main()
