"""Prints what mutagen finds in the tags of a sound file, one field a line, and its markers.

usage: fields.py FILE
"""
import struct
import sys

import mutagen

path = sys.argv[1]
file = mutagen.File(path)
for key in sorted(file.tags.keys() if file.tags else []):
    value = file.tags[key]
    texts = value if isinstance(value, list) else getattr(value, "text", [value])
    print(f"{key}={'; '.join(str(text) for text in texts)}")
if path.endswith(".wav"):
    # RIFF 1.0: cue points of 24 bytes, the frame in the last four.
    data = open(path, "rb").read()
    at = 12
    while at + 8 <= len(data):
        size = struct.unpack("<I", data[at + 4 : at + 8])[0]
        if data[at : at + 4] == b"cue ":
            points = data[at + 12 : at + 8 + size]
            print("cue", *[struct.unpack("<I", points[i + 20 : i + 24])[0] for i in range(0, len(points), 24)])
        at += 8 + size + size % 2
