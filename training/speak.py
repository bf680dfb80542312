"""Speaks the training texts: many synthetic voices, as raw 16 kHz clips.

usage: speak.py PARTS TEXTS OUT WORKER WORKERS natural|robot SECONDS

PARTS has kokoro-int8.onnx, vocab.json, styles.npz, libflite's parts, Pico's library and
voices and, on the path, espeak-ng. Each worker appends clips to OUT/NAME-WORKER.bin
(int16) and their texts to OUT/NAME-WORKER.jsonl, and stops after SECONDS. Another DRAW in the environment is another
draw of texts and voices, another STOPPED another share of speakers without a "th".

Voices that the hearing bench or strangers' tests use are never spoken here: of the neural
model its five Japanese styles, of espeak-ng the accents and variants listed in KEPT, of
flite every voice but slt. A share of the other voices (DEV) speaks only what training is
stopped on.
"""
import ctypes
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time

import numpy as np

sys.path.append(os.path.join(os.path.dirname(os.path.abspath(__file__)), "../bench/hearing"))
from phonemes import phonemes  # noqa: E402

RATE = 16000

KEPT_STYLES = {"jf_alpha", "jf_gongitsune", "jf_nezumi", "jf_tebukuro", "jm_kumo", "am_liam", "af_nova", "am_puck", "af_sky", "bf_emma", "bm_fable"}
UNCLEAR = {"if_sara", "zf_xiaoxiao", "zm_yunxia", "zm_yunyang"}  # in English hard to understand, also for the recogniser
KEPT = {"m1", "m2", "m3", "m7", "f2", "f4"}  # of the bench, with en-us-nyc, en-029, gbclan, gbcwmd
ACCENTS = ["en-us", "en-us", "en-gb"]  # never en-gb-scotland, en-gb-x-rp
UNUSED = {"whisper", "whisperf", "fast", "UniRobot", "Demonic", "announcer", "croak"}  # not like people at all

STOPPED = float(os.environ.get("STOPPED", "0.1"))  # share spoken with a stop for each "th", as in many accents: "tirty tree"

DEV_STYLES = ["af_kore", "am_onyx", "bf_lily", "bm_daniel", "am_eric", "im_nicola"]
DEV_VARIANTS = ["f5", "m6", "travis", "linda", "Andy", "steph2", "klatt4", "max"]


def to16k(x, rate):
    """Resamples through the Fourier transform of the whole clip, with silence around it."""
    pad = rate // 20
    x = np.concatenate([np.zeros(pad, np.float32), x.astype(np.float32), np.zeros(pad, np.float32)])
    if rate == RATE:
        return x
    n = int(round(len(x) * RATE / rate))
    f = np.fft.rfft(x)
    keep = min(len(f), n // 2 + 1)
    g = np.zeros(n // 2 + 1, np.complex128)
    g[:keep] = f[:keep]
    return np.fft.irfft(g, n).astype(np.float32) * (n / len(x))


def read_wav(path):
    import wave
    with wave.open(path) as w:
        x = np.frombuffer(w.readframes(w.getnframes()), "<i2").astype(np.float32) / 32768
        return x, w.getframerate()


class Natural:
    name = "kokoro"

    def __init__(self, parts, rng):
        import neural
        import torch
        torch.set_num_threads(1)
        many = torch.cuda.device_count()
        self.model = neural.Graph(f"{parts}/kokoro-int8.onnx", f"cuda:{os.getpid() % many}" if many else "cpu")
        self.vocab = json.load(open(f"{parts}/vocab.json", encoding="utf-8"))["vocab"]
        self.styles = {k: v.astype(np.float32) for k, v in np.load(f"{parts}/styles.npz").items() if k not in KEPT_STYLES | UNCLEAR}
        train = sorted(k for k in self.styles if k not in DEV_STYLES)
        self.english = [k for k in train if k[0] in "ab"]
        self.foreign = [k for k in train if k[0] not in "ab"]
        self.rng = rng

    def speak(self, text, dev):
        r = self.rng
        pick = lambda: r.choice(self.english if r.random() < 0.75 else self.foreign)
        if dev:
            a = b = r.choice(DEV_STYLES)
            how = "pure"
        else:
            a, b = pick(), pick()
            how = r.choices(["pure", "blend", "halves"], [50, 32, 18])[0]
        accent = "en-gb" if a[0] == "b" else "en-us"
        spelt = phonemes(text, accent)
        if not dev and r.random() < STOPPED:
            spelt = spelt.replace("θ", "t").replace("ð", "d")
        ids = [self.vocab[c] for c in spelt if c in self.vocab][:180]
        at = min(len(ids), 190) - 1
        x, y = self.styles[a][at], self.styles[b][at]
        if how == "blend":
            w = r.uniform(-0.25, 1.25)  # beyond the two as well: more unlike voices
            style = w * x + (1 - w) * y
        elif how == "halves":  # one voice's timbre with another's manner
            style = np.concatenate([x[:128], y[128:]])
        else:
            style = x
        sound = self.model(
            tokens=np.array([[0, *ids, 0]], dtype=np.int64),
            style=style.astype(np.float32).reshape(1, 256),
            speed=np.array([r.uniform(0.82, 1.3)], dtype=np.float32),
        )[0].ravel().cpu().numpy()
        return to16k(sound, 24000), f"{a}/{b}/{how}"


class Pico:
    """The SVOX Pico synthesiser's two English voices."""

    # Whose sound this is, its rate, format and channels, the sound, its bytes, whether it is the last.
    HEAR = ctypes.CFUNCTYPE(ctypes.c_bool, ctypes.c_void_p, ctypes.c_uint32, ctypes.c_uint32, ctypes.c_int, ctypes.c_void_p, ctypes.c_uint32, ctypes.c_bool)

    def __init__(self, parts):
        self.lib, self.sound = ctypes.CDLL(f"{parts}/lib/libpico.so"), []
        self.hear = self.HEAR(self.heard)  # kept, or it is freed while the library calls it
        self.lib.TtsEngine_Create.restype = ctypes.c_void_p
        self.voices = {v: ctypes.c_void_p(self.lib.TtsEngine_Create(f"{parts}/pico/".encode(), v.encode(), self.hear)) for v in ("en-US", "en-GB")}

    def heard(self, user, rate, kind, channels, sound, n, last):
        self.sound.append(ctypes.string_at(sound, n) if n else b"")
        return True

    def speak(self, text, rng):
        voice = rng.choice(sorted(self.voices))
        at, self.sound = self.voices[voice], []
        self.lib.TtsEngine_SetRate(at, rng.randint(80, 135))
        self.lib.TtsEngine_SetPitch(at, rng.randint(60, 120))
        if not self.lib.TtsEngine_Speak(at, text.encode(), None):
            raise OSError(f"pico does not speak: {text}")
        return np.frombuffer(b"".join(self.sound), "<i2").astype(np.float32) / 32768, f"pico/{voice}"


class Robot:
    name = "robot"

    def __init__(self, parts, rng):
        self.rng = rng
        out = subprocess.run(["espeak-ng", "--voices=variant"], capture_output=True, text=True, check=True).stdout
        files = [line.split("!v/")[1].rstrip() for line in out.splitlines() if "!v/" in line]
        files = [f.split("  ")[0].strip() for f in files]
        self.variants = [f for f in files if f not in KEPT | UNUSED | set(DEV_VARIANTS) and " " not in f]
        self.pico = Pico(parts)
        self.flite = None
        lib = f"{parts}/lib/libflite_cmu_us_slt.so.1"
        if os.path.exists(lib):
            for dep in ["libasound.so.2", "libflite.so.1", "libflite_usenglish.so.1", "libflite_cmulex.so.1"]:
                ctypes.CDLL(f"{parts}/lib/{dep}", mode=ctypes.RTLD_GLOBAL)
            self.flite = ctypes.CDLL(f"{parts}/lib/libflite.so.1")
            self.flite.flite_init()
            slt = ctypes.CDLL(lib)
            slt.register_cmu_us_slt.restype = ctypes.c_void_p
            self.slt = slt.register_cmu_us_slt(None)
            self.features = ctypes.cast(self.slt + 8, ctypes.POINTER(ctypes.c_void_p)).contents.value

    def speak(self, text, dev):
        r = self.rng
        with tempfile.NamedTemporaryFile(suffix=".wav") as f:
            if not dev and self.flite and r.random() < 0.15:
                rate, pitch = r.uniform(0.8, 1.25), r.uniform(110, 210)
                setf = self.flite.flite_feat_set_float
                setf(ctypes.c_void_p(self.features), b"duration_stretch", ctypes.c_float(rate))
                setf(ctypes.c_void_p(self.features), b"int_f0_target_mean", ctypes.c_float(pitch))
                self.flite.flite_text_to_speech(text.lower().encode(), ctypes.c_void_p(self.slt), f.name.encode())
                x, rate = read_wav(f.name)
                return to16k(x, rate), "flite/slt"
            if not dev and r.random() < 0.15:
                x, voice = self.pico.speak(text, r)
                return to16k(x, RATE), voice
            voice = r.choice(ACCENTS)
            if not dev and r.random() < STOPPED:
                text = re.sub(r"\bth(ree|irteen|irty|ousand)", r"t\1", text)
            if dev or r.random() < 0.95:
                voice += "+" + r.choice(DEV_VARIANTS if dev else self.variants)
            subprocess.run(["espeak-ng", "-v", voice, "-s", str(r.randint(125, 205)), "-p", str(r.randint(20, 80)), "-w", f.name, text],
                           check=True, capture_output=True)
            x, rate = read_wav(f.name)
            return to16k(x, rate), "espeak-ng/" + voice


def choose(texts, rng):
    """Callouts, talk and prose in their shares."""
    shares = {k: n for k, n in {"callout": 76, "talk": 12, "prose": 12}.items() if texts[k]}
    kind = rng.choices(list(shares), list(shares.values()))[0]
    return kind, rng.choice(texts[kind])


def main():
    parts, listing, out, worker, workers, family, seconds = sys.argv[1:8]
    end = time.time() + float(seconds)
    rng = random.Random(f"{family}{worker}{os.environ.get('DRAW', '')}")
    texts = {"callout": [], "talk": [], "prose": []}
    for line in open(listing, encoding="utf-8"):
        t = json.loads(line)
        texts[t["kind"] if t["kind"] in texts else "callout"].append(t)
    # The last tenth of each list is never trained on.
    cut = {k: int(len(v) * 0.9) for k, v in texts.items()}
    train = {k: v[:cut[k]] for k, v in texts.items()}
    held = {k: v[cut[k]:] for k, v in texts.items()}
    speaker = (Natural if family == "natural" else Robot)(parts, rng)
    clips = open(f"{out}/{speaker.name}-{worker}.bin", "ab")
    index = open(f"{out}/{speaker.name}-{worker}.jsonl", "a", encoding="utf-8")
    dev_wanted, n = int(os.environ.get("DEV", "640")) // int(workers) + 1, 0
    while time.time() < end:
        dev = n < dev_wanted
        kind, t = choose(held if dev else train, rng)
        n += 1
        try:
            x, voice = speaker.speak(t["spoken"], dev)
        except (subprocess.CalledProcessError, OSError, EOFError):
            continue
        peak = float(np.abs(x).max()) if len(x) else 0
        loud = np.flatnonzero(np.abs(x) > 0.01 * peak)
        if len(loud):
            x = x[max(0, loud[0] - RATE // 20):loud[-1] + RATE // 10]
        if len(x) < RATE // 3 or len(x) > 9.1 * RATE or peak < 1e-3 or not np.isfinite(peak):
            continue
        clips.write((x / peak * 30000).astype("<i2").tobytes())
        clips.flush()
        index.write(json.dumps({"at": clips.tell() // 2 - len(x), "n": len(x), "kind": kind, "spoken": t["spoken"],
                                "written": t.get("written", ""), "voice": voice, "dev": dev}) + "\n")
        index.flush()


if __name__ == "__main__":
    main()
