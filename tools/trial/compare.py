#!/usr/bin/env python3
"""How far two pose models err on the near leg's knee, in the picture:  compare.py MODEL.onnx CLIPS POSES [CLIPS POSES ...]

For each side clip the model reads the regions that the program's own model read (POSES, of `kickplate-lab score --poses`), and both
are held against the rendered joints in the same frame: in the glide (one median for a skater), and around the end of each push.
"""
import glob
import json
import os
import sys

import cv2
import numpy as np
import onnxruntime

SIDE = 256
COCO = {"left_hip": 11, "right_hip": 12, "left_knee": 13, "right_knee": 14, "left_ankle": 15, "right_ankle": 16}
OURS = {"left_hip": 23, "right_hip": 24, "left_knee": 25, "right_knee": 26, "left_ankle": 27, "right_ankle": 28}
GLIDE, END = (0.08, 0.30), (0.50, 0.62)  # of the leg's cycle
BENT_DEG = 150


def included_deg(points, leg):
    hip, knee, ankle = (np.asarray(points[f"{leg}_{joint}"], float) for joint in ("hip", "knee", "ankle"))
    a, b = hip - knee, ankle - knee
    return np.degrees(np.arccos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1, 1)))


def body_at(frame, middle):
    """The body whose region lies there, within 150 pixels."""
    away = [np.hypot(b["roi"]["cx_px"] - middle[0], b["roi"]["cy_px"] - middle[1]) for b in frame["bodies"]]
    return frame["bodies"][int(np.argmin(away))] if away and min(away) < 150 else None


def read(session, picture, roi):
    scale = SIDE / roi["size_px"]
    to_crop = np.array([[scale, 0, SIDE / 2 - scale * roi["cx_px"]], [0, scale, SIDE / 2 - scale * roi["cy_px"]]])
    crop = cv2.cvtColor(cv2.warpAffine(picture, to_crop, (SIDE, SIDE)), cv2.COLOR_BGR2RGB)
    found = session.run(None, {session.get_inputs()[0].name: crop[None].astype(np.int32)})[0].reshape(17, 3)
    at = lambda k: (found[k, 1::-1] * SIDE - SIDE / 2) / scale + (roi["cx_px"], roi["cy_px"])
    return {name: at(k) for name, k in COCO.items()}


def errors_of(session, clip, poses):
    """Per frame: phase, second model's and program's error, degrees, and the push it ends, if any."""
    with open(os.path.join(clip, "truth.json")) as f:
        truth = json.load(f)
    with open(poses) as f:
        frames = {frame["seq"]: frame for frame in json.load(f)}
    names = truth["joint_names"]
    video = cv2.VideoCapture(os.path.join(clip, "clip.mp4"))
    for i, joints in enumerate(truth["joints2d"]):
        there, picture = video.read()
        if not there:
            break
        leg = "right" if truth["directions"][i] > 0 else "left"
        phase = truth["phase"][leg][i]
        if not truth["all_in_view"][i] or i not in frames or not any(a <= phase < b for a, b in (GLIDE, END)):
            continue
        true = dict(zip(names, joints))
        body = body_at(frames[i], np.mean([true["left_hip"], true["right_hip"]], axis=0))
        if body is None:
            continue
        ours = {name: body["points"][k][:2] for name, k in OURS.items()}
        wanted = included_deg(true, leg)
        push = next((p for p in truth["pushes"] if p["side"] == leg
                     and abs(p["extension_max_frame"] - i) <= 0.05 * truth["fps"]), None)
        yield phase, included_deg(read(session, picture, body["roi"]), leg) - wanted, included_deg(ours, leg) - wanted, push


def main():
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(sys.argv[1], options)
    glide, ends = [], []
    for clips, poses in zip(sys.argv[2::2], sys.argv[3::2]):
        for clip in sorted(glob.glob(os.path.join(clips, "*side*"))):
            file = os.path.join(poses, os.path.basename(clip), "poses.json")
            if not os.path.exists(file):
                continue
            gliding, pushes = [], {}
            for phase, second, ours, push in errors_of(session, clip, file):
                if phase < GLIDE[1]:
                    gliding.append((second, ours))
                elif push:
                    pushes.setdefault(push["extension_max_frame"], (push, []))[1].append((second, ours))
            if len(gliding) >= 2:
                glide.append(np.median(gliding, axis=0))
            ends += [(push["max_extension_angle_deg"], *np.median(errors, axis=0)) for push, errors in pushes.values()]
    glide, ends = np.array(glide), np.array(ends)
    print(f"glide, {len(glide)} skaters: second {glide[:, 0].mean():+.1f} +- {glide[:, 0].std():.1f}, ours {glide[:, 1].mean():+.1f}"
          f" +- {glide[:, 1].std():.1f}, r = {np.corrcoef(glide.T)[0, 1]:.2f}, mean of both +- {glide.mean(1).std():.1f} degrees")
    for name, rows in (("all", ends), (f"below {BENT_DEG}", ends[ends[:, 0] < BENT_DEG])):
        print(f"end of push, {name}, {len(rows)}: second {rows[:, 1].mean():+.1f} +- {rows[:, 1].std():.1f},"
              f" ours {rows[:, 2].mean():+.1f} +- {rows[:, 2].std():.1f} degrees")


if __name__ == "__main__":
    main()
