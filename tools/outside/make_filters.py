#!/usr/bin/env python3
"""A noisy curve before and after SciPy's zero-phase Butterworth:  make_filters.py OUT.json

Two passes of a second-order filter; the design frequency is raised on the tan-warped axis so that both together are 3 dB down
where wanted. The edges are extended by 18 samples, odd, as the program does.
"""
import json
import sys

import numpy as np
import scipy
from scipy.signal import butter, filtfilt

rng = np.random.default_rng(6)
cases = []
for rate, wanted, n in ((60, 6.0, 240), (30, 6.0, 120), (30, 4.0, 45), (120, 10.0, 300), (30, 6.0, 8)):
    t = np.arange(n) / rate
    x = 120 + 35 * np.sin(2 * np.pi * 1.25 * t) + 8 * np.sin(2 * np.pi * 3.1 * t + 1) + rng.normal(0, 3, n)
    warped = np.tan(np.pi * wanted / rate) / (2 ** 0.5 - 1) ** 0.25
    design = np.arctan(warped) * rate / np.pi
    b, a = butter(2, design, fs=rate)
    y = filtfilt(b, a, x, padtype="odd", padlen=min(18, n - 1))
    cases.append(dict(rate_hz=rate, wanted_hz=wanted, design_hz=design, x=x.tolist(), y=y.tolist()))
json.dump(dict(scipy=scipy.__version__, cases=cases), open(sys.argv[1], "w"), separators=(",", ":"))
print("SciPy", scipy.__version__, [round(c["design_hz"], 4) for c in cases])
