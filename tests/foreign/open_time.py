"""How long the plugin's window takes, from the host's call to the first picture on the display.

usage: open_time.py BUNDLE OPENINGS

Looks at the display every two milliseconds until the day sheet's colour is on it; prints the time of
each opening in milliseconds. Needs an X display that shows nothing else.
"""

import ctypes
import os
import sys
import threading
import time

import pedalboard

DESK = 0xECE5D5

bundle, openings = sys.argv[1], int(sys.argv[2])
x11 = ctypes.CDLL("libX11.so.6")
x11.XOpenDisplay.restype = ctypes.c_void_p
x11.XDefaultRootWindow.argtypes = [ctypes.c_void_p]
x11.XDefaultRootWindow.restype = ctypes.c_ulong
x11.XGetImage.argtypes = [ctypes.c_void_p, ctypes.c_ulong] + [ctypes.c_int] * 2 + [ctypes.c_uint] * 2 + [
    ctypes.c_ulong,
    ctypes.c_int,
]
x11.XGetImage.restype = ctypes.c_void_p
x11.XGetPixel.argtypes = [ctypes.c_void_p, ctypes.c_int, ctypes.c_int]
x11.XGetPixel.restype = ctypes.c_ulong
x11.XDestroyImage.argtypes = [ctypes.c_void_p]
ignore = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p)(lambda display, event: 0)
x11.XInitThreads()
display = x11.XOpenDisplay(None)
root = x11.XDefaultRootWindow(display)


def shown():
    """Whether the sheet's colour is on a line across the display."""
    image = x11.XGetImage(display, root, 0, 300, 1200, 1, 0xFFFFFFFF, 2)
    found = any(x11.XGetPixel(image, x, 0) & 0xFFFFFF == DESK for x in range(0, 1200, 8))
    x11.XDestroyImage(image)
    return found


plugin = pedalboard.load_plugin(bundle)
for _ in range(openings):
    close, seen = threading.Event(), []

    def watch():
        while not shown() and time.perf_counter() - start < 10:
            time.sleep(0.002)
        seen.append(time.perf_counter() - start)
        close.set()

    x11.XSetErrorHandler(ignore)
    start = time.perf_counter()
    threading.Thread(target=watch).start()
    plugin.show_editor(close)
    print(f"{1000 * seen[0]:.0f} ms", flush=True)
    while shown():
        time.sleep(0.05)
os._exit(0)
