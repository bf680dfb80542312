"""Noise of many kinds and a microphone around the clips, in PyTorch, mixed afresh each time.

The families are wider than the outdoor units of the program's own benches, and share no
constant with them: broadband rush of any colour, swelling or beating; stacks of tones from
slow machines to whistles; knocks, rattles and clicks; insects; wind; talk of several
people. Levels, colour, distance, echo, overload and a second talker are drawn each time.
"""
import math

import numpy as np
import torch

RATE = 16000


class Dice:
    """Random numbers of one device from one seed."""

    def __init__(self, seed, device):
        self.g = torch.Generator(device=device)
        self.g.manual_seed(seed)
        self.device = device

    def unit(self, *shape):
        return torch.rand(*shape, generator=self.g, device=self.device)

    def between(self, lo, hi, *shape):
        return lo + (hi - lo) * self.unit(*shape)

    def log(self, lo, hi, *shape):
        return lo * (hi / lo) ** self.unit(*shape)

    def normal(self, *shape):
        return torch.randn(*shape, generator=self.g, device=self.device)

    def chance(self, p, *shape):
        return (self.unit(*shape) < p).float()

    def index(self, most, *shape):
        return torch.randint(most, shape, generator=self.g, device=self.device)


def curve(dice, rows, samples, lo_db, hi_db, tilt_lo, tilt_hi, knots=9):
    """Random smooth gains over the frequencies of an FFT of so many samples, [rows, samples/2+1]."""
    f = torch.linspace(0, RATE / 2, samples // 2 + 1, device=dice.device).clamp(min=20)
    octave = torch.log2(f / 30)
    at = (octave / math.log2(8000 / 30) * (knots - 1)).clamp(0, knots - 1.001)
    low = at.floor().long()
    db = dice.between(lo_db, hi_db, rows, knots)
    shape = db[:, low] * (1 - (at - low)) + db[:, low + 1] * (at - low)
    shape = shape + dice.between(tilt_lo, tilt_hi, rows, 1) * octave
    return 10 ** (shape / 20)


def slow(dice, rows, samples, hertz):
    """Smooth random signals of about RMS 1 that change about so many times a second, [rows, samples]."""
    points = max(4, int(samples / RATE * 12) + 2)
    x = dice.normal(rows, 1, points)
    y = torch.nn.functional.interpolate(x, size=samples, mode="linear", align_corners=True)[:, 0]
    t = torch.arange(samples, device=dice.device) / RATE
    return 0.6 * y + torch.sin(2 * math.pi * hertz * t + 6.28 * dice.unit(rows, 1))


def level(x):
    return x / x.pow(2).mean(-1, keepdim=True).sqrt().clamp(min=1e-9)


def high_pass(x, cut=70.0):
    n = x.shape[-1]
    f = torch.linspace(0, RATE / 2, n // 2 + 1, device=x.device)
    return torch.fft.irfft(torch.fft.rfft(x) * ((f / cut) ** 2 / (1 + (f / cut) ** 4).sqrt()), n)


def noises(dice, rows, samples):
    """Noises of RMS 1 above 70 Hz, [rows, samples]."""
    t = torch.arange(samples, device=dice.device) / RATE
    rush = torch.fft.irfft(torch.fft.rfft(dice.normal(rows, samples)) * curve(dice, rows, samples, -9, 9, -8, 0.5), samples)
    swell = (1 + dice.between(0, 0.8, rows, 1) * slow(dice, rows, samples, dice.log(0.1, 3, rows, 1))).abs()
    beat = 1 + dice.between(0, 0.6, rows, 1) * dice.chance(0.4, rows, 1) * torch.sin(2 * math.pi * dice.log(6, 60, rows, 1) * t)
    out = level(rush * swell * beat) * dice.log(0.2, 1, rows, 1)
    for lowest, highest, count, p in ((22, 130, 24, 0.6), (70, 900, 10, 0.5), (900, 3500, 2, 0.15)):
        pitch = dice.log(lowest, highest, rows, 1) * (1 + dice.between(0, 0.02, rows, 1) * slow(dice, rows, samples, dice.log(0.1, 2, rows, 1)))
        phase = 2 * math.pi * torch.cumsum(pitch, -1) / RATE
        fall = dice.between(0.2, 1.6, rows, 1)
        tones = torch.zeros(rows, samples, device=dice.device)
        for k in range(1, count + 1):
            gain = dice.unit(rows, 1) * k ** -fall * (pitch.mean(-1, keepdim=True) * k < 7500)
            tones += gain * torch.sin(k * phase + 6.28 * dice.unit(rows, 1))
        tones *= 1 + dice.between(0, 0.7, rows, 1) * slow(dice, rows, samples, dice.log(0.2, 8, rows, 1))
        out += level(tones) * dice.log(0.05, 0.9, rows, 1) * dice.chance(p, rows, 1)
    for lowest, highest, short, long, many in ((150, 1500, 0.01, 0.15, 1.5), (500, 6000, 0.002, 0.08, 4.0), (30, 300, 0.02, 0.2, 1.0)):
        train = (dice.unit(rows, samples) < dice.log(0.05, many, rows, 1) / RATE).float() * dice.between(0.3, 1, rows, samples)
        ring = torch.exp(-t / dice.log(short, long, rows, 1)) * torch.sin(2 * math.pi * dice.log(lowest, highest, rows, 1) * t) * (1 + 0.5 * dice.normal(rows, samples))
        hits = torch.fft.irfft(torch.fft.rfft(train, 2 * samples) * torch.fft.rfft(ring, 2 * samples), 2 * samples)[:, :samples]
        hits = hits / hits.abs().amax(-1, keepdim=True).clamp(min=1e-6)
        out += hits * dice.log(0.5, 5, rows, 1) * dice.chance(0.25, rows, 1)
    chirp = torch.sin(2 * math.pi * dice.log(2000, 6500, rows, 1) * t) * (torch.sin(2 * math.pi * dice.log(4, 70, rows, 1) * t) > dice.between(-0.5, 0.8, rows, 1))
    out += level(chirp + 1e-4 * dice.normal(rows, samples)) * dice.log(0.05, 0.6, rows, 1) * dice.chance(0.15, rows, 1)
    gust = torch.fft.irfft(torch.fft.rfft(dice.normal(rows, samples)) * curve(dice, rows, samples, -3, 3, -14, -9), samples)
    out += level(gust * slow(dice, rows, samples, dice.log(0.2, 2, rows, 1)).clamp(min=0)) * dice.log(0.1, 1, rows, 1) * dice.chance(0.3, rows, 1)
    return level(high_pass(out))


def active(x):
    """RMS of the parts of x that are speech: 20 ms frames within 30 dB of the loudest, [rows, 1]."""
    power = x.unfold(-1, 320, 320).pow(2).mean(-1)
    on = power > power.amax(-1, keepdim=True) * 1e-3
    return ((power * on).sum(-1, keepdim=True) / on.sum(-1, keepdim=True).clamp(min=1)).sqrt().clamp(min=1e-6)


class Bank:
    """All clips end to end in memory, cut out at any speed."""

    def __init__(self, clips, device):
        self.flat = torch.from_numpy(np.concatenate([*clips, np.zeros(16, np.int16)])).to(device)
        self.n = torch.tensor([len(c) for c in clips], device=device)
        self.at = torch.cumsum(self.n, 0) - self.n

    def cut(self, which, speed, lead, samples):
        """Clips which [rows], faster by speed [rows], after lead samples [rows] of silence: [rows, samples]."""
        t = torch.arange(samples, device=self.flat.device)[None] - lead[:, None]
        at = t * speed[:, None]
        inside = (t >= 0) & (at < self.n[which][:, None] - 2)
        low = at.clamp(min=0).floor()
        i = (self.at[which][:, None] + torch.minimum(low.long(), self.n[which][:, None] - 2))
        frac = (at - low).clamp(0, 1)
        x = self.flat[i].float() * (1 - frac) + self.flat[i + 1].float() * frac
        return x / 32768 * inside


def echo(dice, x, share):
    """x in rooms and yards of many sizes."""
    rows, n = x.shape
    length = RATE // 2
    t = torch.arange(length, device=x.device) / RATE
    tail = dice.normal(rows, length) * torch.exp(-6.9 * t / dice.log(0.05, 0.7, rows, 1))
    tail = tail * (t > 0.002) * ((dice.unit(rows, length) < 0.05) | (t > 0.03))
    tail = tail / tail.pow(2).sum(-1, keepdim=True).sqrt().clamp(min=1e-6) * 10 ** (-dice.between(-2, 16, rows, 1) / 20)
    tail[:, 0] = 1
    size = -(-(n + length) // 8192) * 8192
    wet = torch.fft.irfft(torch.fft.rfft(x, size) * torch.fft.rfft(tail, size), size)[:, :n]
    return torch.where(dice.unit(rows, 1) < share, wet, x)


def microphone(dice, x):
    """Colour, band limits, level, overload."""
    rows, n = x.shape
    f = torch.linspace(0, RATE / 2, n // 2 + 1, device=x.device)
    gain = curve(dice, rows, n, -5, 5, -1.2, 1.2, knots=7)
    low = dice.log(40, 400, rows, 1) * dice.chance(0.4, rows, 1) + 20
    high = torch.where(dice.unit(rows, 1) < 0.3, dice.log(2800, 7500, rows, 1), torch.full((rows, 1), 9000.0, device=x.device))
    gain = gain * (f / low).pow(2) / (1 + (f / low).pow(4)).sqrt() / (1 + (f / high).pow(8)).sqrt()
    x = torch.fft.irfft(torch.fft.rfft(x) * gain, n)
    x = x / x.abs().amax(-1, keepdim=True).clamp(min=1e-6)
    over = torch.where(dice.unit(rows, 1) < 0.08, dice.log(1.3, 5, rows, 1), torch.ones(rows, 1, device=x.device))
    return (x * over).clamp(-1, 1) * 10 ** (-dice.between(0, 28, rows, 1) / 20)


def mix(dice, speech, noise, snr):
    """Speech at its active level, so many dB [rows, 1] above a noise of RMS 1."""
    return speech / active(speech) + noise * 10 ** (-snr / 20)
