"""The spoken clips, and the training batches made of them."""
import glob
import json
import random

import model as whisper
import numpy as np
import sound
import torch

RATE = sound.RATE
WARPS = [0.88, 0.91, 0.94, 0.97, 1.0, 1.03, 1.06, 1.09, 1.12]
PLAIN = WARPS.index(1.0)
# Encoder positions, 50 a second: callout takes the same. The untouched model repeats
# itself in tight windows, so where it teaches it gets a wide one.
SHORT, LONG, WIDE = 256, 512, 768
# Seconds of speech that go into each.
FITS = {SHORT: (0, 3.6), LONG: (2.6, 8.0), WIDE: (8.0, 14.3)}


def load(folder):
    """All whole clips in a folder: their texts, and their samples as int16 arrays."""
    rows, clips = [], []
    for path in sorted(glob.glob(f"{folder}/*.jsonl")):
        data = np.fromfile(path[:-6] + ".bin", "<i2")
        for line in open(path, encoding="utf-8"):
            if not line.endswith("\n"):
                break
            r = json.loads(line)
            if r["at"] + r["n"] <= len(data):
                rows.append(r)
                clips.append(data[r["at"]:r["at"] + r["n"]])
    return rows, clips


def talks(row):
    """Whether a clip is no callout: it is held to what the untouched model writes."""
    return row["kind"] in ("talk", "prose")


def joined(rows, clips, many, seed):
    """Longer clips of two to four of one voice, or of a like one, with pauses between: callouts
    with callouts, talk and prose with talk and prose."""
    rng, out, sounds = random.Random(seed), [], []
    order = sorted(range(len(rows)), key=lambda i: (rows[i]["voice"], talks(rows[i]), i))
    for _ in range(many):
        at, want = rng.randrange(len(order)), rng.uniform(FITS[WIDE][0], FITS[WIDE][1] - 1.5)
        first = rows[order[at]]
        part, n = [], 0
        for i in order[at:at + 12]:
            if talks(rows[i]) == talks(first) and rows[i]["dev"] == first["dev"] and n + len(clips[i]) < FITS[WIDE][1] * RATE:
                part.append(i)
                n += len(clips[i]) + int(rng.uniform(0.2, 1.0) * RATE)
            if n >= want * RATE:
                break
        if len(part) < 2 or n < FITS[WIDE][0] * RATE:
            continue
        pause = (n - sum(len(clips[i]) for i in part)) // len(part)
        x = np.concatenate([y for i in part for y in (clips[i], np.zeros(pause, np.int16))])[:-pause or None]
        text = lambda key, part=part: " ".join(rows[i][key] for i in part)
        out.append(dict(first, n=len(x), spoken=text("spoken"), written=text("written")))
        sounds.append(x)
    return out, sounds


class Studio:
    """Clips, noises and the microphone, on one device."""

    def __init__(self, rows, clips, filters, device, seed, noise_rows=1600, loud=0.6):
        self.device, self.loud = device, loud
        self.rows = rows
        self.bank = sound.Bank(clips, device)
        self.seconds = [len(c) / RATE for c in clips]
        self.dice = sound.Dice(seed, device)
        self.mel = whisper.Mel(filters, device, WARPS)
        size = LONG * 320
        step = 64 if device.startswith("cuda") else 8
        self.noise = torch.cat([sound.noises(self.dice, step, size).half().cpu() for _ in range(max(1, noise_rows // step))]).to(device)
        self.babble()

    def babble(self):
        """A twelfth of the noises is talk of several people."""
        many = max(1, len(self.noise) // 12)
        size = self.noise.shape[1]
        for i in range(many):
            k = 3 + int(self.dice.index(4, 1))
            x = sum(self.bank.cut(self.dice.index(len(self.rows), 1), self.dice.between(0.9, 1.1, 1), -self.dice.between(0, 3000, 1).long() + j * 16000, size)
                    for j in range(k) for _ in range(2))
            self.noise[i] = sound.level(x + 0.02 * self.dice.normal(1, size))[0].half()

    def noises(self, n, samples):
        i = self.dice.index(len(self.noise), n)
        at = self.dice.index(self.noise.shape[1], n)
        t = (torch.arange(samples, device=self.device)[None] + at[:, None]) % self.noise.shape[1]
        return self.noise[i[:, None], t].float()

    def clean(self, which, speed, lead, samples):
        x = self.bank.cut(which, speed, lead, samples)
        return self.mel(x / x.abs().amax(-1, keepdim=True).clamp(min=1e-6) * 0.6)

    def mixed(self, which, speed, lead, samples, snr=None, silent=None):
        """What a microphone hears of the clips; without their speech where silent."""
        n = len(which)
        d = self.dice
        x = self.bank.cut(which, speed, lead, samples)
        x = sound.echo(d, x, 0.5 if snr is None else 0.3)
        other = self.bank.cut(d.index(len(self.rows), n), d.between(0.9, 1.1, n), d.between(0, samples / 2, n).long(), samples)
        second = 10 ** (-d.between(9, 22, n, 1) / 20) * d.chance(0.12, n, 1)
        x = x / sound.active(x) + second * other / sound.active(other)
        if snr is None:
            snr = torch.where(d.unit(n, 1) < self.loud, d.between(-3, 10, n, 1), d.between(-4, 30, n, 1))
            snr = torch.where(d.unit(n, 1) < 0.12, torch.full_like(snr, 50), snr)
        if silent is not None:
            x = x * (~silent)[:, None]
        x = x + self.noises(n, samples) * 10 ** (-snr / 20)
        x = sound.microphone(d, x)
        warp = torch.where(d.unit(n) < 0.3, torch.full((n,), PLAIN, device=self.device), d.index(len(WARPS), n))
        return self.mel(x, warp)


class Batches:
    """Draws batches: clips of one length class, at random speeds and places."""

    def __init__(self, studio, kinds, seed, natural=0.4, long=0.0):
        self.s, self.rng, self.natural, self.long = studio, random.Random(seed), natural, long
        self.pools = {}
        for size, (lo, hi) in FITS.items():
            for kind in kinds:
                pool = [i for i, r in enumerate(studio.rows) if r["kind"] == kind and lo < studio.seconds[i] <= hi]
                for natural in (False, True):
                    part = [i for i in pool if (studio.rows[i]["voice"][2] == "_") == natural]
                    self.pools[size, kind, natural] = part or pool
        self.kinds = kinds

    def draw(self, n):
        """Positions, clip numbers, speeds, leads, samples."""
        size = WIDE if self.rng.random() < self.long else SHORT if self.rng.random() < 0.6 else LONG
        names, shares = zip(*self.kinds.items())
        which = []
        for kind in self.rng.choices(names, shares, k=n):
            natural = self.rng.random() < self.natural
            which.append(self.rng.choice(next(p for p in (self.pools[s, kind, natural] for s in (size, LONG, SHORT)) if p)))
        room = (size - 40) / 50
        speed, lead = [], []
        for i in which:
            v = self.rng.uniform(0.88, 1.16)
            v = max(v, self.s.seconds[i] / (room - 0.1))
            speed.append(v)
            lead.append(int(self.rng.uniform(0.03, max(0.04, min(0.9, room - self.s.seconds[i] / v))) * RATE))
        to = lambda x: torch.tensor(x, device=self.s.device)
        return size, which, to(which), to(speed), to(lead), size * 320
