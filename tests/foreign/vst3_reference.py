"""Renders a signal with and without a reference inside of a foreign VST3 host library, which renders offline.

usage: vst3_reference.py BUNDLE FOLDER RATE

Reads FOLDER/input (planar little-endian f32, two channels), FOLDER/settings (JSON: [[name, position 0..1],
...]) and FOLDER/reference (the path of a sound file); writes FOLDER/without and FOLDER/with.
"""

import json
import struct
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pedalboard

bundle, folder, rate = sys.argv[1], Path(sys.argv[2]), float(sys.argv[3])
signal = np.frombuffer((folder / "input").read_bytes(), "<f4").reshape(2, -1)

# The library keeps a plugin's state as XML behind a head of eight bytes; in it the state's own bytes, six bits a
# character, the lowest bits first, behind their number and a point.
DIGITS = ".ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+"


def decoded(text):
    size, digits = text.split(".", 1)
    value = sum(DIGITS.index(digit) << (6 * place) for place, digit in enumerate(digits))
    return value.to_bytes(len(digits), "little")[: int(size)]


def encoded(data):
    value = int.from_bytes(data, "little")
    digits = -(-8 * len(data) // 6)
    return f"{len(data)}." + "".join(DIGITS[(value >> (6 * place)) & 63] for place in range(digits))


def with_reference(raw, path):
    magic, size = raw[:4], struct.unpack("<I", raw[4:8])[0]
    root = ElementTree.fromstring(raw[8 : 8 + size].decode())
    part = root.find("IComponent")
    state = decoded(part.text)
    whole = json.loads(state)
    whole["fields"]["window"] = json.dumps(json.dumps({"reference": path}))
    part.text = encoded(json.dumps(whole).encode())
    xml = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return magic + struct.pack("<I", len(xml)) + xml + b"\0"


def render(reference):
    plugin = pedalboard.load_plugin(bundle)
    parameters = {parameter.name: parameter for parameter in plugin.parameters.values()}
    for name, position in json.loads((folder / "settings").read_text()):
        parameters[name].raw_value = position
    state = with_reference(plugin.raw_state, reference)
    plugin.raw_state = state
    # It came through: the state that the plugin gives back names the file.
    kept = ElementTree.fromstring(bytes(plugin.raw_state[8:]).rstrip(b"\0").decode()).find("IComponent")
    assert json.loads(json.loads(json.loads(decoded(kept.text))["fields"]["window"]))["reference"] == reference
    time.sleep(1.0 if reference else 0.0)
    return plugin.process(signal, rate, buffer_size=512, reset=False)


reference = (folder / "reference").read_text()
(folder / "without").write_bytes(np.ascontiguousarray(render("")).astype("<f4").tobytes())
(folder / "with").write_bytes(np.ascontiguousarray(render(reference)).astype("<f4").tobytes())
