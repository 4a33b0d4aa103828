#!/usr/bin/env python3
"""Medians of stature by age, CDC 2000, centimetres:  make_stature.py RCPCHGROWTH.whl OUT.json"""
import json
import sys
import zipfile

import numpy as np

table = json.loads(zipfile.ZipFile(sys.argv[1]).read("rcpchgrowth/data_tables/cdc2-20.json"))["measurement"]["height"]
ages = list(range(5, 20))
out = dict(source="CDC 2000 growth charts, LMS table, M at that age (years)", age=ages)
for sex in ("male", "female"):
    rows = table[sex]
    out[sex] = np.round(np.interp(ages, [r["decimal_age"] for r in rows], [r["M"] for r in rows]), 2).tolist()
json.dump(out, open(sys.argv[2], "w"), indent=1)
print(out)
