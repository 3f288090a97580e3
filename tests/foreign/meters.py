"""Measures a WAV file with other people's meters and prints what they say as JSON.

usage: meters.py FILE

pyloudnorm (its filter after De Man, see its documentation) and libebur128 (through pyebur128) give
loudness; a 16-fold polyphase interpolation by scipy gives the true peak. Where there is an ffmpeg,
its ebur128 filter is asked, too.
"""

import json
import shutil
import subprocess
import sys

import numpy as np
import pyebur128
import pyloudnorm
import soundfile
from scipy.signal import resample_poly

path = sys.argv[1]
samples, rate = soundfile.read(path, always_2d=True)
mode = pyebur128.MeasurementMode
state = pyebur128.R128State(samples.shape[1], rate, mode.MODE_I | mode.MODE_LRA | mode.MODE_TRUE_PEAK)
state.add_frames(samples.astype("<f4").ravel(), len(samples))
said = {
    "pyloudnorm": pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(samples),
    "libebur128": pyebur128.get_loudness_global(state),
    "libebur128_peak": 20 * np.log10(max(pyebur128.get_true_peak(state, c) for c in range(samples.shape[1]))),
    "true_peak": 20 * np.log10(np.abs(resample_poly(samples, 16, 1, axis=0, window=("kaiser", 12.0))).max()),
    "sample_peak": 20 * np.log10(np.abs(samples).max()),
    "ffmpeg": None,
    "ffmpeg_peak": None,
}
if shutil.which("ffmpeg"):
    filters = "ebur128=peak=true:framelog=verbose"
    command = ["ffmpeg", "-nostats", "-hide_banner", "-i", path, "-filter_complex", filters, "-f", "null", "-"]
    text = subprocess.run(command, capture_output=True, text=True, check=True).stderr.rsplit("Summary:", 1)[1]
    said["ffmpeg"] = float(text.split("I:")[1].split()[0])
    said["ffmpeg_peak"] = float(text.split("Peak:")[1].split()[0])
print(json.dumps(said))
