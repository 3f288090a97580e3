"""Grades pairs of WAV files by odg.py, the project's tool, and prints name and grade of each.

usage: grades.py FOLDER (NAME.reference.wav and NAME.test.wav of each pair)
"""

import sys
from pathlib import Path

import soundfile

import odg

for path in sorted(Path(sys.argv[1]).glob("*.reference.wav")):
    name = path.name.removesuffix(".reference.wav")
    reference, rate = soundfile.read(path, always_2d=True)
    test, _ = soundfile.read(path.with_name(name + ".test.wav"), always_2d=True)
    print("%s\t%.4f" % (name, odg.odg(reference, test, rate)["odg"]))
