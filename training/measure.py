"""Measures adapters beside the untouched model on voices that were not trained on.

usage: measure.py MODEL.bin CLIPS OUT.json ADAPTER.safetensors=STRENGTH[,STRENGTH...] ...

A plain check, without callout's search and certainty: the numbers and the words of the
text, in order, against those spoken. exact: all right. wrong: other numbers than were
said. chatter: talk that comes out with a trade quantity and a number that was not said.
"""
import json
import random
import re
import sys

import adapter
import clips as clipping
import model as whisper
import torch
import train

LEVELS = {"clean": 50.0, "10": 10.0, "5": 5.0, "0": 0.0}
TRADE = re.compile(r"\b(amps?|amperes|lra|rla|fla|mca|volts?|voltage|ohms?|microfarads?|capacit\w+|herm|suction|liquid|head|pressure|degrees|psi|superheat|subcool\w*|common|resistance)\b", re.I)


def numbers(text):
    text = re.sub(r"(\d),(\d{3})\b", r"\1\2", text)
    return [float(x) for x in re.findall(r"\d+(?:\.\d+)?|\.\d+", text)]


def plain(text):
    return re.findall(r"[a-z']+|\d+(?:\.\d+)?", re.sub(r"(\d),(\d{3})\b", r"\1\2", text.lower().replace("-", " ")))


def sets(rows, seconds, each):
    rng = random.Random(11)
    out = {}
    for family in ("natural", "robot"):
        for kind in ("callout", "talk", "prose"):
            ids = [i for i, r in enumerate(rows) if (r["kind"] if clipping.talks(r) else "callout") == kind
                   and ("/" in r["voice"] and not r["voice"].startswith(("espeak", "flite"))) == (family == "natural") and seconds[i] <= 8]
            rng.shuffle(ids)
            out[family, kind] = ids[:each if kind == "callout" else each // 2]
    return out


def main():
    path, folder, out = sys.argv[1:4]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    each = 200 if device == "cuda" else 6
    g = whisper.Ggml(path)
    tokens = whisper.Tokens(g)
    rows, sounds = clipping.load(folder)
    keep = [i for i, r in enumerate(rows) if r["dev"]]
    studio = clipping.Studio([rows[i] for i in keep], [sounds[i] for i in keep], g.filters, device, 977, 400 if device == "cuda" else 8)
    groups = sets(studio.rows, studio.seconds, each)
    systems = [("untouched", None, 0.0)]
    for arg in sys.argv[4:]:
        file, strengths = arg.split("=")
        systems += [(f"{file.split('/')[-1][:-12]} {s}", file, float(s)) for s in strengths.split(",")]
    prime = [tokens.prev] + tokens.encode(" " + train.PRIME) + tokens.start
    results = []
    for name, file, strength in systems:
        m = whisper.Whisper(g, adapter.rank(file) if file else 0).to(device)
        if file:
            adapter.fill(m, file)
        m.prepare(strength)
        for prompt in (False, True):
            if prompt and strength:
                continue
            for level, db in LEVELS.items():
                studio.dice.g.manual_seed(1000 + int(db))
                for (family, kind), ids in groups.items():
                    if prompt and kind == "prose":
                        continue
                    tally = {"n": 0, "exact": 0, "right": 0, "wrong": 0, "empty": 0, "chatter": 0, "errors": 0, "words": 0, "log": 0.0}
                    for size in (clipping.SHORT, clipping.LONG):
                        part = [i for i in ids if (studio.seconds[i] <= 3.9) == (size == clipping.SHORT)]
                        if not part:
                            continue
                        at = torch.tensor(part, device=device)
                        one = torch.ones(len(part), device=device)
                        mel = studio.mixed(at, one, (one * 3200).long(), size * 320, snr=torch.full((len(part), 1), db, device=device))
                        got, logs, _ = m.greedy(mel, tokens, prime if prompt else tokens.start)
                        for i, text, log in zip(part, got, logs):
                            r = studio.rows[i]
                            tally["n"] += 1
                            tally["log"] += log
                            tally["empty"] += not text
                            if kind == "callout":
                                tally["exact"] += plain(text) == plain(r["written"])
                                right = numbers(text) == numbers(r["written"])
                                tally["right"] += right
                                tally["wrong"] += bool(text) and not right
                            else:
                                tally["chatter"] += bool(numbers(text)) and bool(TRADE.search(text)) and not TRADE.search(r["spoken"])
                                if kind == "prose":
                                    tally["errors"] += min(len(plain(r["spoken"])), train.distance(plain(r["spoken"]), plain(text)))
                                    tally["words"] += len(plain(r["spoken"]))
                    results.append({"system": name, "prompt": prompt, "level": level, "family": family, "kind": kind, **tally})
        show(results, name)
        json.dump(results, open(out, "w"))


def show(results, name):
    for prompt in sorted({x["prompt"] for x in results if x["system"] == name}):
        for family in ("natural", "robot"):
            cells = []
            for level in LEVELS:
                r = {x["kind"]: x for x in results if x["system"] == name and x["prompt"] == prompt and x["level"] == level and x["family"] == family}
                c, t, p = r["callout"], r["talk"], r.get("prose", {"chatter": 0, "n": 0, "errors": 0, "words": 0})
                pc = lambda a, b: round(100 * a / max(1, b))
                cells.append(f"{level}: exact {pc(c['exact'], c['n'])} nums {pc(c['right'], c['n'])} wrong {pc(c['wrong'], c['n'])} chat {pc(t['chatter'] + p['chatter'], t['n'] + p['n'])} wer {pc(p['errors'], p['words'])}")
            print(f"{name:24} {'prompt' if prompt else '      '} {family:8} " + " | ".join(cells), flush=True)


if __name__ == "__main__":
    main()
