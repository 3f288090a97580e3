"""Loads a VST3 bundle in a second foreign host library and runs a signal through it.

usage: vst3_second.py BUNDLE FOLDER RATE

Reads FOLDER/input (planar little-endian f32, two channels), FOLDER/settings (JSON: [[name, position 0..1],
...]) and FOLDER/moves (JSON: [[name, frame, position before, position after], ...]); writes FOLDER/output,
FOLDER/moved (the same signal with the moves as automation), FOLDER/restored (another instance that was
given the first one's saved state) and FOLDER/latency (frames).
"""

import json
import sys
from pathlib import Path

import dawdreamer
import numpy as np

bundle, folder, rate = sys.argv[1], Path(sys.argv[2]), int(float(sys.argv[3]))
BLOCK = 512
signal = np.frombuffer((folder / "input").read_bytes(), "<f4").reshape(2, -1)


def load(name):
    engine = dawdreamer.RenderEngine(rate, BLOCK)
    plugin = engine.make_plugin_processor(name, bundle)
    return engine, plugin, {entry["name"]: entry["index"] for entry in plugin.get_parameters_description()}


def run(engine, plugin):
    # This library leaves the latency in; let it run out, and take it off.
    latency = plugin.get_latency_samples()
    frames = signal.shape[1] + latency
    padded = np.pad(signal, ((0, 0), (0, latency)))
    engine.load_graph([(engine.make_playback_processor("signal", padded), []), (plugin, ["signal"])])
    engine.render(frames / rate)
    out = engine.get_audio()
    assert out.shape[1] >= frames - 1, (out.shape, frames)
    out = np.pad(out, ((0, 0), (0, max(0, frames - out.shape[1]))))
    return out[:, latency:frames].astype("<f4")


engine, plugin, index = load("first")
for name, position in json.loads((folder / "settings").read_text()):
    plugin.set_parameter(index[name], position)
(folder / "output").write_bytes(run(engine, plugin).tobytes())
(folder / "latency").write_text(str(plugin.get_latency_samples()))
plugin.save_state(str(folder / "state"))

engine, plugin, index = load("second")
plugin.load_state(str(folder / "state"))
(folder / "restored").write_bytes(run(engine, plugin).tobytes())

engine, plugin, index = load("third")
for name, frame, before, after in json.loads((folder / "moves").read_text()):
    way = np.full(signal.shape[1] + 4096, after, np.float32)
    way[:frame] = before
    plugin.set_automation(index[name], way)
(folder / "moved").write_bytes(run(engine, plugin).tobytes())
