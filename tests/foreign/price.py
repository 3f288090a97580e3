"""Times a VST3 bundle in a foreign host library beside that library's own built-in chain of five bands,
compressor and limiter, on the same sound, block size and thread. Both take turns, so that whatever else
the machine does meets both.

usage: price.py BUNDLE WAV SETTINGS

SETTINGS is a JSON file: [[name, text], ...]. Prints JSON, each for both in ns a frame: the least time of the
thread that processes ("built_in", "plugin") and the least of the whole process, its other threads included
("built_in_process", "plugin_process"); and the medians of the ratios turn by turn.
"""

import json
import statistics
import sys
import time
from pathlib import Path

import pedalboard
import soundfile

TURNS = 15
BLOCK = 512

bundle, wav, settings = sys.argv[1], sys.argv[2], json.loads(Path(sys.argv[3]).read_text())
sound, rate = soundfile.read(wav, dtype="float32", always_2d=True)
sound = sound.T.copy()

plugin = pedalboard.load_plugin(bundle)
parameters = {parameter.name: parameter for parameter in plugin.parameters.values()}
for name, text in settings:
    parameters[name].raw_value = parameters[name].get_raw_value_for_text(text)

# Without oversampling, without look-ahead, without meters.
built_in = pedalboard.Pedalboard(
    [
        pedalboard.LowShelfFilter(cutoff_frequency_hz=90, gain_db=1.0, q=0.71),
        pedalboard.PeakFilter(cutoff_frequency_hz=240, gain_db=-2.0, q=1.0),
        pedalboard.PeakFilter(cutoff_frequency_hz=900, gain_db=0.5, q=1.0),
        pedalboard.PeakFilter(cutoff_frequency_hz=3200, gain_db=1.0, q=1.0),
        pedalboard.HighShelfFilter(cutoff_frequency_hz=9500, gain_db=1.5, q=0.71),
        pedalboard.Compressor(threshold_db=-20, ratio=2, attack_ms=30, release_ms=150),
        pedalboard.Limiter(threshold_db=-1, release_ms=120),
    ]
)


def turn(what):
    thread, process = time.thread_time(), time.process_time()
    what.process(sound, rate, buffer_size=BLOCK, reset=False)
    spent = time.thread_time() - thread, time.process_time() - process
    return [seconds * 1e9 / sound.shape[1] for seconds in spent]


turn(built_in), turn(plugin)
pairs = [(turn(built_in), turn(plugin)) for _ in range(TURNS)]
print(
    json.dumps(
        {
            "built_in": min(own[0] for own, _ in pairs),
            "plugin": min(ours[0] for _, ours in pairs),
            "ratio": statistics.median(ours[0] / own[0] for own, ours in pairs),
            "built_in_process": min(own[1] for own, _ in pairs),
            "plugin_process": min(ours[1] for _, ours in pairs),
            "process_ratio": statistics.median(ours[1] / own[1] for own, ours in pairs),
            "host": pedalboard.__version__,
        }
    )
)
