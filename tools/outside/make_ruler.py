#!/usr/bin/env python3
"""Differences between readings and references of several persons, by statsmodels:  make_ruler.py OUT.json

`MixedLM`, restricted maximum likelihood: an intercept (and a slope on the centred reference) common to
all, a random intercept for each person, and what is left from hold to hold. And by SciPy: what a Student's t
with 3 degrees of freedom that was known before and a normal measurement give together (`integrate.quad`).
"""
import json
import sys
import warnings

import numpy as np
import scipy
import statsmodels
import statsmodels.api as sm
from scipy import integrate, stats

warnings.filterwarnings("ignore")
rng = np.random.default_rng(2019)
cases = []
for persons, holds, offset, slope, between, within, sloped in (
    (3, 4, 3.0, 0.0, 4.0, 2.0, False),
    (6, 4, -2.0, 0.0, 3.0, 2.5, False),
    (4, 4, 5.0, 0.10, 4.0, 1.5, True),
    (6, 8, 1.0, -0.15, 2.0, 2.0, True),
    (2, 4, 8.0, 0.0, 5.0, 1.0, False),
    (5, 3, 0.0, 0.0, 0.0, 3.0, False),
):
    rows = []
    for person in range(persons):
        own = rng.normal(0, between)
        for hold in range(holds - (person % 2)):
            reference = (178.0, 150.0, 120.0, 100.0)[hold % 4]
            rows.append((person, reference, offset + slope * (reference - 130) + own + rng.normal(0, within)))
    who, reference, off = (np.array(c) for c in zip(*rows))
    centre = reference.mean()
    x = np.column_stack([np.ones(len(rows)), reference - centre]) if sloped else np.ones((len(rows), 1))
    best = None
    for method in ("bfgs", "lbfgs", "powell", "nm"):
        try:
            fit = sm.MixedLM(off, x, groups=who).fit(reml=True, method=method, maxiter=2000)
        except np.linalg.LinAlgError:
            continue
        if best is None or fit.llf > best.llf:
            best = fit
    cases.append(dict(
        rows=[[int(p), float(r), float(o)] for p, r, o in rows], sloped=sloped, centre=float(centre),
        offset=float(best.fe_params[0]), slope=float(best.fe_params[1]) if sloped else 0.0,
        offset_se=float(best.bse_fe[0]), slope_se=float(best.bse_fe[1]) if sloped else 0.0, between=float(np.sqrt(max(best.cov_re[0, 0], 0))), within=float(np.sqrt(best.scale))))
together = []
for middle, scale, mean, sd in (
    (1.2, 3.1, 9.0, 2.4), (1.2, 3.1, 2.0, 2.4), (0.0, 3.5, -12.0, 1.0), (0.0, 0.0177, 0.011, 0.006),
    (-1.2, 3.1, 12.0, 4.0), (0.0, 0.0289, 0.0, 0.002), (1.2, 3.1, 1.2, 8.0),
):
    weight = lambda x: stats.t.pdf(x, 3, middle, scale) * stats.norm.pdf(x, mean, sd)
    low, high = min(middle - 12 * scale, mean - 12 * sd), max(middle + 12 * scale, mean + 12 * sd)
    moment = lambda k: integrate.quad(lambda x: x**k * weight(x), low, high, points=(middle, mean), epsabs=0, epsrel=1e-10, limit=500)[0]
    m = moment(1) / moment(0)
    together.append(dict(before=[middle, scale], measured=[mean, sd], mean=m, sd=float(np.sqrt(moment(2) / moment(0) - m * m))))
json.dump(dict(statsmodels=statsmodels.__version__, scipy=scipy.__version__, cases=cases, together=together), open(sys.argv[1], "w"), separators=(",", ":"))
for c in cases + together:
    print({k: round(v, 3) for k, v in c.items() if isinstance(v, float)})
