"""Prints what libsndfile finds in a sound file and compares its samples with raw 64-bit floats.

usage: read_back.py FILE WANTED
"""
import ctypes
import sys

import numpy as np
import soundfile as sf

path, wanted = sys.argv[1:]
with sf.SoundFile(path) as f:
    print("format", f.format)
    print("subtype", f.subtype)
    print("title", f.title)
    print("artist", f.artist)
    got = f.read(dtype="float64", always_2d=True)
    want = np.fromfile(wanted, dtype="<f8").reshape(got.shape)
    print("largest difference", f"{np.abs(got - want).max():g}")

    # SF_BROADCAST_INFO of sndfile.h, read by command SFC_GET_BROADCAST_INFO (0x10F0).
    class Bext(ctypes.Structure):
        _fields_ = [
            ("description", ctypes.c_char * 256),
            ("originator", ctypes.c_char * 32),
            ("originator_reference", ctypes.c_char * 32),
            ("origination_date", ctypes.c_char * 10),
            ("origination_time", ctypes.c_char * 8),
            ("time_reference_low", ctypes.c_uint32),
            ("time_reference_high", ctypes.c_uint32),
            ("version", ctypes.c_short),
            ("umid", ctypes.c_char * 64),
            ("loudness", ctypes.c_int16 * 5),
            ("reserved", ctypes.c_char * 180),
            ("coding_history_size", ctypes.c_uint32),
            ("coding_history", ctypes.c_char * 256),
        ]

    bext = Bext()
    buffer = sf._ffi.cast("void *", ctypes.addressof(bext))
    if sf._snd.sf_command(f._file, 0x10F0, buffer, ctypes.sizeof(bext)):
        print("bext version", bext.version, "loudness", *bext.loudness)
        print("originator", bext.originator.decode())
        print("history", bext.coding_history.decode().strip())
