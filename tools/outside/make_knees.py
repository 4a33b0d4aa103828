#!/usr/bin/env python3
"""Hip, knee and ankle of public motion clips by forward kinematics:  make_knees.py PYBULLET.whl OUT.json

The knee of these clips has one degree of freedom: the file states its angle, so the included angle of the three points must be
180 degrees less that angle. Frame of 44 numbers: duration, root (3) and its turn (4), chest, neck, right hip (4 each), right knee
(number 20), right ankle (4), right shoulder (4), right elbow, left hip (30 to 33), left knee (34), ...
"""
import json
import sys
import xml.etree.ElementTree as ET
import zipfile

import numpy as np


def turn(q):
    w, x, y, z = q / np.linalg.norm(q)
    return np.array([[1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
                     [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
                     [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)]])


def about(axis, a):
    return turn(np.r_[np.cos(a / 2), np.sin(a / 2) * axis / np.linalg.norm(axis)])


wheel = zipfile.ZipFile(sys.argv[1])
joints = {j.get("name"): j for j in ET.fromstring(wheel.read("pybullet_data/humanoid/humanoid.urdf").rstrip(b"\0")).iter("joint")}
numbers = lambda e, k: np.array([float(v) for v in e.get(k).split()])
origin = lambda n: numbers(joints[n].find("origin"), "xyz")
out = {}
for clip in ("walk", "run"):
    frames = json.loads(wheel.read(f"pybullet_data/data/motions/humanoid3d_{clip}.txt"))["Frames"]
    rows = []
    for f in np.array(frames, float):
        for side, hip_at, knee_at in (("right", 16, 20), ("left", 30, 34)):
            root = turn(f[4:8])
            hip = f[1:4] + root @ origin(f"{side}_hip")
            thigh = root @ turn(f[hip_at:hip_at + 4])
            knee = hip + thigh @ origin(f"{side}_knee")
            shank = thigh @ about(numbers(joints[f"{side}_knee"].find("axis"), "xyz"), f[knee_at])
            ankle = knee + shank @ origin(f"{side}_ankle")
            rows.append([*hip, *knee, *ankle, 180 - abs(np.degrees(f[knee_at]))])
    out[clip] = np.round(rows, 12).tolist()
    a = np.array(rows)
    u, v = a[:, :3] - a[:, 3:6], a[:, 6:9] - a[:, 3:6]
    seen = np.degrees(np.arccos((u * v).sum(1) / np.linalg.norm(u, axis=1) / np.linalg.norm(v, axis=1)))
    print(clip, len(rows), "knees,", a[:, 9].min(), "to", a[:, 9].max(), "largest difference here", np.abs(seen - a[:, 9]).max())
json.dump(out, open(sys.argv[2], "w"), separators=(",", ":"))
