"""Plain English for the anchor: the example sentences of WordNet 3.0 (WordNet licence).

usage: prose.py FOLDER N > prose.jsonl
FOLDER holds WordNet's data.noun, data.verb, data.adj and data.adv (Debian: wordnet-base).
"""
import json
import random
import re
import sys

found: set[str] = set()
for part in ("noun", "verb", "adj", "adv"):
    for line in open(f"{sys.argv[1]}/data.{part}", encoding="latin1"):
        for quoted in re.findall(r'"([^"]+)"', line.partition("|")[2]):
            text = quoted.strip().rstrip(";,")
            if 4 <= len(text.split()) <= 16 and re.fullmatch(r"[A-Za-z ,.'?!-]+", text):
                found.add(text)
texts = sorted(found)
random.Random(3).shuffle(texts)
for text in texts[:int(sys.argv[2])]:
    print(json.dumps({"kind": "prose", "spoken": text}))
