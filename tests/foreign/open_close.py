"""Opens and closes the plugin's window in a foreign host library and counts what stays behind.

usage: open_close.py BUNDLE OPENINGS SECONDS

Prints one JSON line for the state after a tenth of the openings and one for the state at the end:
file descriptors, threads, and bytes that the C allocator has handed out and not got back.
"""

import ctypes
import json
import os
import re
import sys
import tempfile
import threading

import pedalboard

bundle, openings, seconds = sys.argv[1], int(sys.argv[2]), float(sys.argv[3])

# The library reads a property of a window that a display without a desktop does not have, and does
# not care; the X library's own handler would end the process.
x11 = ctypes.CDLL("libX11.so.6")
ignore = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p)(lambda display, event: 0)

libc = ctypes.CDLL(None)
libc.fopen.restype = ctypes.c_void_p
libc.fclose.argtypes = [ctypes.c_void_p]
libc.malloc_info.argtypes = [ctypes.c_int, ctypes.c_void_p]


def heap():
    """Bytes in use over all arenas: what the system gave, without what lies free."""
    with tempfile.NamedTemporaryFile() as file:
        handle = libc.fopen(file.name.encode(), b"w")
        libc.malloc_info(0, handle)
        libc.fclose(handle)
        text = open(file.name).read()
    total = text[text.rindex("</heap>") :]
    read = lambda pattern: int(re.search(pattern, total).group(1))
    free = sum(read(rf'type="{kind}" count="\d+" size="(\d+)"') for kind in ("fast", "rest"))
    return read(r'type="mmap" count="\d+" size="(\d+)"') + read(r'"current" size="(\d+)"') - free


def count():
    state = {"fds": len(os.listdir("/proc/self/fd")), "threads": len(os.listdir("/proc/self/task"))}
    print(json.dumps({**state, "heap": heap()}), flush=True)


plugin = pedalboard.load_plugin(bundle)
for opening in range(1, openings + 1):
    close = threading.Event()
    threading.Timer(seconds, close.set).start()
    x11.XSetErrorHandler(ignore)
    plugin.show_editor(close)
    if opening in (openings // 10, openings):
        count()
# Some drivers crash while the process tears itself down; that is not what is asked here.
os._exit(0)
