"""Loads a VST3 bundle in a foreign host library and runs a signal through it.

usage: vst3_host.py BUNDLE FOLDER RATE CHANNELS

Reads FOLDER/input (planar little-endian f32) and FOLDER/settings (JSON: [[name, position 0..1], ...]);
writes FOLDER/output, FOLDER/restored (a second instance that was given the first one's state) and
FOLDER/latency (frames, as the plugin reported them to the host).
"""

import json
import sys
from pathlib import Path

import numpy as np
import pedalboard

bundle, folder, rate, channels = sys.argv[1], Path(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])
signal = np.frombuffer((folder / "input").read_bytes(), "<f4").reshape(channels, -1)


def load():
    # The library makes attribute names of the plugin's parameter names; go by the names themselves.
    plugin = pedalboard.load_plugin(bundle)
    return plugin, {parameter.name: parameter for parameter in plugin.parameters.values()}


def run(plugin):
    # The library takes the reported latency off the beginning and lets the end run out.
    return plugin.process(signal, rate, buffer_size=512, reset=True)


first, parameters = load()
for name, position in json.loads((folder / "settings").read_text()):
    parameters[name].raw_value = position
(folder / "output").write_bytes(run(first).astype("<f4").tobytes())
(folder / "latency").write_text(str(first.reported_latency_samples))

second, _ = load()
second.raw_state = first.raw_state
(folder / "restored").write_bytes(run(second).astype("<f4").tobytes())
