"""Opens and closes the window of a VST3 bundle in a foreign host library, on the display that there is.

usage: vst3_window.py BUNDLE TIMES

Before, between and after, the same sound is made; prints "same" when it never changed.
"""

import sys
import threading

import numpy as np
import pedalboard

plugin = pedalboard.load_plugin(sys.argv[1])
signal = (0.5 * np.sin(np.arange(24000) * 0.05)).astype(np.float32)
signal = np.stack([signal, signal])


def sound():
    return plugin.process(signal, 48000.0, buffer_size=64, reset=True)


before = sound()
for _ in range(int(sys.argv[2])):
    close = threading.Event()
    threading.Timer(0.8, close.set).start()
    plugin.show_editor(close)
    assert np.array_equal(sound(), before), "the sound has changed"
print("same")
