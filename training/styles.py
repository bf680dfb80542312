"""Packs the neural model's styles, less those kept for tests.

usage: styles.py FOLDER OUT.npz    FOLDER: the voices of the kokoro-js package
"""
import glob
import os
import sys

import numpy as np
import speak

styles = {}
for path in sorted(glob.glob(f"{sys.argv[1]}/*.bin")):
    name = os.path.basename(path)[:-4]
    if name not in speak.KEPT_STYLES:
        styles[name] = np.fromfile(path, "<f4").reshape(510, 256)[:190].astype("<f2")
np.savez_compressed(sys.argv[2], **styles)
print(len(styles), "styles")
