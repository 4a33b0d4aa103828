#!/usr/bin/env python3
"""Makes the expected values of tests/media/pose_golden.rs with MediaPipe itself.

    python3 -m venv venv
    venv/bin/pip install mediapipe==0.10.21 'numpy<2' opencv-python-headless==4.10.0.84
    venv/bin/python tools/golden/make_pose_golden.py tests/golden --lite pose_landmark_lite.tflite --heavy pose_landmark_heavy.tflite

Reads the PNG files in the folder, writes `pose.json` beside them:

* `still`: MediaPipe's answer to each picture alone (static mode).
* `video`: its answer to windows of one picture that wander by whole pixels
  (video mode, landmark smoothing off), so that no video file is needed.

The wheel holds the full landmark model only. With `--lite` and `--heavy` the
others (from the npm package @mediapipe/pose 0.5.1675469404) are copied into the
installed package first; what is not named is left out.

Importing the calculator's protobuf module BEFORE the graph is parsed matters:
without it Python loses the graph's option for the heatmap window and the
default of 9 is used in place of the 7 that the graph states.
"""

import argparse
import json
import math
import pathlib
import shutil

import cv2
import mediapipe as mp
import mediapipe.calculators.util.refine_landmarks_from_heatmap_calculator_pb2  # noqa: F401

VIDEO_PICTURE = "front.png"
VIDEO_SIDE = 280
VIDEO_FRAMES = 30


def answer(result, width, height):
    """Landmarks in pixels with visibility, and world points in metres."""
    if result.pose_landmarks is None:
        return None
    points = [
        [round(p.x * width, 3), round(p.y * height, 3), round(p.z * width, 3), round(p.visibility, 4)]
        for p in result.pose_landmarks.landmark
    ]
    world = [[round(p.x, 5), round(p.y, 5), round(p.z, 5)] for p in result.pose_world_landmarks.landmark]
    return {"points": points, "world": world}


def window(k, spare):
    """Top-left corner of the k-th window, whole pixels."""
    x = round(spare * (0.5 + 0.45 * math.sin(k / 4.0)))
    y = round(spare * (0.5 + 0.45 * math.sin(k / 7.0)))
    return x, y


def main():
    args = argparse.ArgumentParser()
    args.add_argument("folder", type=pathlib.Path)
    args.add_argument("--lite", type=pathlib.Path)
    args.add_argument("--heavy", type=pathlib.Path)
    args = args.parse_args()
    models = {"full": 1}
    package = pathlib.Path(mp.__file__).parent / "modules/pose_landmark"
    for name, complexity, file in (("lite", 0, args.lite), ("heavy", 2, args.heavy)):
        if file:
            shutil.copy(file, package / f"pose_landmark_{name}.tflite")
            models[name] = complexity

    out = {"mediapipe": mp.__version__, "still": [], "video": None}
    pictures = {p.name: cv2.cvtColor(cv2.imread(str(p)), cv2.COLOR_BGR2RGB) for p in sorted(args.folder.glob("*.png"))}
    for name, picture in pictures.items():
        height, width = picture.shape[:2]
        for model, complexity in models.items():
            with mp.solutions.pose.Pose(static_image_mode=True, model_complexity=complexity) as pose:
                found = answer(pose.process(picture), width, height)
            assert found, f"MediaPipe finds nobody in {name}"
            out["still"].append({"picture": name, "model": model, **found})

    picture = pictures[VIDEO_PICTURE]
    spare = min(picture.shape[:2]) - VIDEO_SIDE
    frames = []
    with mp.solutions.pose.Pose(static_image_mode=False, model_complexity=1, smooth_landmarks=False) as pose:
        for k in range(VIDEO_FRAMES):
            x, y = window(k, spare)
            part = picture[y : y + VIDEO_SIDE, x : x + VIDEO_SIDE].copy()
            found = answer(pose.process(part), VIDEO_SIDE, VIDEO_SIDE)
            assert found, f"MediaPipe finds nobody in window {k}"
            frames.append({"x": x, "y": y, "points": found["points"]})
    out["video"] = {"picture": VIDEO_PICTURE, "side": VIDEO_SIDE, "model": "full", "frames_per_s": 30, "frames": frames}
    (args.folder / "pose.json").write_text(json.dumps(out, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
