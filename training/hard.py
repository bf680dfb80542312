"""Picks the texts that finish.py is to teach: numbers that the ear hears right and writes wrong.

usage: hard.py noughts|th TEXTS.jsonl ... > HARD.jsonl

noughts: two noughts in a row, thousands, numbers said digit by digit, "nothing", and, fewer,
hundreds without their word ("one eighty"). th: three, thirteen, thirty, thousand, which many
speakers begin with a stop. A text comes as often as it weighs, its copies one after the other,
for speak.py keeps the list's end apart; talk and prose go through.
"""
import json
import random
import re
import sys

DIGIT = "(zero|oh|one|two|three|four|five|six|seven|eight|nine)"
TENS = "(ten|eleven|twelve|(thir|four|fif|six|seven|eigh|nine)teen|twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)"
SETS = {
    "noughts": ([(r"\b(zero|oh) (zero|oh)\b", 3), (r"\bthousand\b", 2), (rf"\b{DIGIT} (oh|zero)\b(?! {DIGIT})", 1.2),
                 (rf"\b{DIGIT} {DIGIT} {DIGIT}\b", 0.7), (r"\bnothing\b", 1), (rf"\b{DIGIT} {TENS}\b(?! {DIGIT})", 0.25)], 16),
    "th": ([(r"\b(three|thirteen|thirty|thousand)\b", 1)], 12),
}


def main():
    if len(sys.argv) < 3 or sys.argv[1] not in SETS:
        sys.exit(__doc__)
    weights, longest = SETS[sys.argv[1]]
    rng, seen, out = random.Random(3), set(), []
    for path in sys.argv[2:]:
        for line in open(path, encoding="utf-8"):
            r = json.loads(line)
            if r["kind"] in ("talk", "prose"):
                out.append([line])
                continue
            if r["spoken"] in seen or len(r["spoken"].split()) > longest:
                continue
            seen.add(r["spoken"])
            w = max((x for p, x in weights if re.search(p, r["spoken"])), default=0)
            out.append([line] * (int(w) + (rng.random() < w - int(w))))
    rng.shuffle(out)
    for copies in out:
        sys.stdout.writelines(copies)


if __name__ == "__main__":
    main()
