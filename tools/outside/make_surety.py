#!/usr/bin/env python3
"""How sure it is that a true value lies beyond a limit, by SciPy:  make_surety.py OUT.json

`stats.norm`: the quantiles of the three sureties, and for values with an error and a limit the
probability that the truth is above it; for several pushes the error of their mean, whose shared
part stays (`stats.multivariate_normal` of readings with a common error, conditioned on their mean).
"""
import json
import sys

import numpy as np
import scipy
from scipy import stats

rng = np.random.default_rng(19)
quantiles = [dict(percent=p, z=float(stats.norm.ppf(p / 100))) for p in (80, 90, 95)]
cases = []
for _ in range(24):
    value, limit = rng.normal(120, 15), 120.0
    sd = rng.uniform(0.5, 12)
    cases.append(dict(value=value, limit=limit, sd=sd, above=float(stats.norm.sf(limit, loc=value, scale=sd))))
means = []
for n in (1, 2, 3, 5, 12):
    shared, random = rng.uniform(0.5, 6), rng.uniform(0.5, 6)
    cov = np.full((n, n), shared**2) + np.eye(n) * random**2
    ones = np.ones(n) / n
    means.append(dict(n=n, shared=shared, random=random, sd=float(np.sqrt(ones @ cov @ ones))))
passes = []
for _ in range(24):
    n = int(rng.integers(1, 7))
    shared, random = rng.uniform(0.5, 6, n), rng.uniform(0.5, 6, n)
    values, limit = rng.normal(124, 2 * shared.max(), n), 120.0
    # Errors that a person has in all pushes go up and down together.
    cov = np.outer(shared, shared) + np.diag(random**2)
    sd = float(np.sqrt(cov.sum()) / n)
    passes.append(dict(pushes=[[float(v), float(s), float(r)] for v, s, r in zip(values, shared, random)], limit=limit, sd=sd,
                       mean_above=float(stats.norm.sf(limit, values.mean(), sd)), median_above=float(stats.norm.sf(limit, np.median(values), sd))))
json.dump(dict(scipy=scipy.__version__, quantiles=quantiles, cases=cases, means=means, passes=passes), open(sys.argv[1], "w"), separators=(",", ":"))
print("SciPy", scipy.__version__, quantiles)
