#!/usr/bin/env python3
"""Pixels of points seen by cameras over the ice, by OpenCV, and the pose solvePnP finds from them:  make_projection.py OUT.json"""
import json
import sys

import cv2
import numpy as np

rng = np.random.default_rng(8)
cases = []
for height, tilt, roll, hfov, size in ((1.2, 2.7, 0, 62, (1280, 720)), (0.8, -1.5, 3, 75, (1280, 720)), (2.0, 11, -4, 48, (1920, 1080)), (1.5, 6, 0, 90, (640, 480))):
    # camera axes: x right, y down, z into the picture; world: x right, y away, z up
    level = np.array([[1., 0, 0], [0, 0, -1], [0, 1, 0]])
    tilted = cv2.Rodrigues(np.radians([tilt, 0., 0.]))[0] @ level
    R = cv2.Rodrigues(np.radians([0., 0., -roll]))[0] @ tilted
    t = -R @ [0, 0, height]
    f = size[0] / 2 / np.tan(np.radians(hfov) / 2)
    K = np.array([[f, 0, size[0] / 2], [0, f, size[1] / 2], [0, 0, 1]])
    P = np.c_[rng.uniform(-3, 3, 24), rng.uniform(4, 12, 24), rng.uniform(0, 2, 24)]
    px = cv2.projectPoints(P, cv2.Rodrigues(R)[0], t, K, None)[0][:, 0]
    ok, rvec, tvec = cv2.solvePnP(P, px, K, None, flags=cv2.SOLVEPNP_ITERATIVE)
    assert ok
    rvec, tvec = cv2.solvePnPRefineLM(P, px, K, None, rvec, tvec, criteria=(3, 200, 1e-15))
    found = cv2.Rodrigues(rvec)[0]
    cases.append(dict(camera_height_m=height, tilt_deg=tilt, roll_deg=roll, hfov_deg=hfov, size_px=size, points_m=P.tolist(), pixels=px.tolist(),
                      found_axes=found.tolist(), found_eye_m=(-found.T @ tvec)[:, 0].tolist()))
    print(height, "solvePnP is off by", np.abs(found - R).max(), np.abs((-found.T @ tvec)[:, 0] - [0, 0, height]).max())
json.dump(dict(opencv=cv2.__version__, cases=cases), open(sys.argv[1], "w"), separators=(",", ":"))
