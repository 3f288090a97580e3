"""Prints the integrated loudness of a sound file in LUFS, by pyloudnorm with the K filter of BS.1770
("DeMan"; its default is an approximation that reads 0.04 LU low).

usage: loudness.py FILE
"""
import sys

import pyloudnorm
import soundfile

x, rate = soundfile.read(sys.argv[1])
print(pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(x))
