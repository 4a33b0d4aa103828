#!/usr/bin/env python3
"""The mean that readings astray cannot pull, by SciPy:  make_huber_mean.py OUT.json

Huber's estimate of a location with weights: the value that makes the weighted sum of `scipy.special.huber` of the distances least.
"""
import json
import sys

import numpy as np
import scipy
from scipy.optimize import minimize_scalar
from scipy.special import huber

rng = np.random.default_rng(11)
cases = []
for n, astray, far in ((8, 5.0, 0), (8, 5.0, 2), (17, 5.0, 5), (17, 2.0, 3), (3, 1.0, 1), (40, 3.0, 15)):
    values = rng.normal(100, 2, n)
    values[:far] += rng.choice([-1, 1], far) * rng.uniform(8, 60, far)
    weights = rng.uniform(0.3, 1, n)
    found = minimize_scalar(lambda m: (weights * huber(astray, values - m)).sum(), bounds=(values.min(), values.max()), method="bounded",
                            options=dict(xatol=1e-10))
    cases.append(dict(astray=astray, values=values.tolist(), weights=weights.tolist(), mean=found.x))
json.dump(dict(scipy=scipy.__version__, cases=cases), open(sys.argv[1], "w"), separators=(",", ":"))
print("SciPy", scipy.__version__, [round(c["mean"], 3) for c in cases])
