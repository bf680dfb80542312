"""English for the Kokoro-82M speech model: espeak-ng's IPA in the model's letters, as the
misaki G2P documents them (diphthongs and affricates are one letter each)."""
import subprocess

AMERICAN = [
    ("eɪ", "A"), ("aɪ", "I"), ("ɔɪ", "Y"), ("oʊ", "O"), ("əʊ", "Q"), ("aʊ", "W"),
    ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ɚ", "əɹ"), ("ɝ", "ɜɹ"), ("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"), ("əl", "ᵊl"),
    ("r", "ɹ"), ("x", "k"), ("ɬ", "l"), ("ʔ", "t"), ("e", "A"), ("ɾ", "T"), ("ɐ", "ə"),
    ("o", "ɔ"), ("ː", ""),
]
BRITISH = [
    ("eɪ", "A"), ("aɪ", "I"), ("ɔɪ", "Y"), ("əʊ", "Q"), ("oʊ", "Q"), ("aʊ", "W"),
    ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ɚ", "ə"), ("r", "ɹ"), ("x", "k"), ("ɬ", "l"), ("ʔ", "t"),
    ("e", "ɛ"), ("ɐ", "ə"), ("o", "ɔ"),
]


def phonemes(text, accent):
    ipa = subprocess.run(["espeak-ng", "-q", "--ipa", "-v", accent], input=text, capture_output=True,
                         text=True, check=True).stdout
    ipa = ", ".join(line.strip() for line in ipa.splitlines() if line.strip())
    for old, new in BRITISH if accent.startswith("en-gb") else AMERICAN:
        ipa = ipa.replace(old, new)
    return ipa + "."
