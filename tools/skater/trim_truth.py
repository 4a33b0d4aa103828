#!/usr/bin/env python3
"""Leaves out of a truth.json what only studies of the pose model need (as `lean` clips do):  trim_truth.py IN OUT"""
import json
import sys

truth = json.load(open(sys.argv[1]))
for k in ("joints3d", "depth_m", "phase_label", "knee_angle_deg"):
    truth.pop(k, None)
truth["joints2d"] = [[[round(x, 1) for x in p] for p in frame] for frame in truth["joints2d"]]
truth["phase"] = {k: [round(x, 3) for x in v] for k, v in truth["phase"].items()}
json.dump(truth, open(sys.argv[2], "w"), separators=(",", ":"))
