"""Runs a command in a pseudo-terminal and prints what it shows there.

usage: terminal.py COMMAND…
"""
import os
import pty
import sys

shown = bytearray()


def keep(fd):
    data = os.read(fd, 65536)
    shown.extend(data)
    # Nothing of it is passed on as it comes: a bar would draw over whatever stands here.
    return data if data == b"" else b"."


os.environ["TERM"] = "xterm"
status = pty.spawn(sys.argv[1:], keep)
sys.stdout.buffer.write(bytes(shown))
sys.exit(os.waitstatus_to_exitcode(status))
