"""Writes one signal in every kind of file that a bounce may come in, and prints their names.

usage: write_kinds.py FOLDER
"""
import sys

import numpy as np
import soundfile as sf

folder = sys.argv[1]
rng = np.random.default_rng(3)
# On the 16-bit grid, so that every kind holds the same values; not at −1, so that float to
# integer conversion has nothing to clip.
x = rng.integers(-32767, 32768, (20011, 2)) / 32768
x.astype("<f8").tofile(f"{folder}/wanted.raw")
kinds = [("WAV", s) for s in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")]
kinds += [("WAVEX", s) for s in ("PCM_16", "PCM_24", "FLOAT")]
kinds += [("RF64", s) for s in ("PCM_16", "PCM_24", "FLOAT")]
kinds += [("FLAC", s) for s in ("PCM_16", "PCM_24")]
for kind, subtype in kinds:
    name = f"{kind}-{subtype}.{'flac' if kind == 'FLAC' else 'wav'}"
    sf.write(f"{folder}/{name}", x, 96000, subtype=subtype, format=kind)
    print(name)
