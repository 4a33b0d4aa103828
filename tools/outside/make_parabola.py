#!/usr/bin/env python3
"""Parabolas through points, by NumPy:  make_parabola.py OUT.json

`numpy.polyfit` of the second degree: the factor of the square and the root mean square of what is left.
"""
import json
import sys

import numpy as np

rng = np.random.default_rng(12)
cases = []
for n, start, step, noise in ((3, 0, 1, 1), (5, -0.1, 0.04, 0.01), (9, 1234.5, 1 / 60, 0.02), (12, 7, 0.5, 3), (40, -2, 0.1, 0)):
    x = start + step * np.arange(n) + rng.uniform(-0.2, 0.2, n) * step
    y = rng.normal(0, 2) + rng.normal(0, 3) * (x - x.mean()) + rng.normal(0, 5) * (x - x.mean()) ** 2 + rng.normal(0, noise, n)
    factors = np.polyfit(x - x.mean(), y, 2)
    off = np.sqrt(np.mean((y - np.polyval(factors, x - x.mean())) ** 2))
    cases.append(dict(points=np.stack([x, y], 1).tolist(), curvature=factors[0], off=off))
json.dump(dict(numpy=np.__version__, cases=cases), open(sys.argv[1], "w"), separators=(",", ":"))
print("NumPy", np.__version__, [round(c["curvature"], 3) for c in cases])
