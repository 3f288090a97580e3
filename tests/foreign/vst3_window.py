"""Opens and closes the window of a VST3 bundle in a foreign host library, on the display that there is.

usage: vst3_window.py BUNDLE TIMES

Before, between and after, the same sound is made; prints "same" when it never changed.
"""

import ctypes
import os
import sys
import threading

import numpy as np
import pedalboard

# The library reads a property of a window that a display without a desktop does not have, and does not
# care; the X library's own handler would end the process.
x11 = ctypes.CDLL("libX11.so.6")
ignore = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p)(lambda display, event: 0)

plugin = pedalboard.load_plugin(sys.argv[1])
signal = (0.5 * np.sin(np.arange(24000) * 0.05)).astype(np.float32)
signal = np.stack([signal, signal])


def sound():
    return plugin.process(signal, 48000.0, buffer_size=64, reset=True)


before = sound()
for _ in range(int(sys.argv[2])):
    close = threading.Event()
    threading.Timer(0.8, close.set).start()
    x11.XSetErrorHandler(ignore)
    plugin.show_editor(close)
    assert np.array_equal(sound(), before), "the sound has changed"
print("same", flush=True)
# Some drivers crash while the process tears itself down; that is not what is asked here.
os._exit(0)
