"""A clip through MediaPipe's pose solution, the plain way.

What somebody writes who wants body points from a video in Python: OpenCV reads
the frames, `mediapipe.solutions.pose` finds one person (complexity 1 is the
model this project calls `full`; video mode: follow, and look again when lost).
It does less than `kickplate review`: no strides, no rules, one person.

    python3 -m venv venv && venv/bin/pip install mediapipe==0.10.21 opencv-contrib-python==4.11.0.86
    venv/bin/python tools/bench/mediapipe_clip.py demo/side-good.mp4

Prints frames a second of the loop, and of the whole program with its start,
which is what `docs/speed.md` compares.
"""

import time

BEGAN = time.perf_counter()

import argparse
import resource

import cv2
import mediapipe as mp


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clips", nargs="+", metavar="CLIP")
    parser.add_argument("--complexity", type=int, choices=(0, 1, 2), default=1)
    args = parser.parse_args()

    frames = found = 0
    ready = time.perf_counter()
    for clip in args.clips:
        video = cv2.VideoCapture(clip)
        if not video.isOpened():
            raise SystemExit(f"'{clip}' cannot be read; name a video file")
        # A new one for each clip: it must not follow across a cut.
        with mp.solutions.pose.Pose(
            static_image_mode=False, model_complexity=args.complexity
        ) as pose:
            while True:
                there, picture = video.read()
                if not there:
                    break
                result = pose.process(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB))
                frames += 1
                found += result.pose_landmarks is not None
        video.release()
    ended = time.perf_counter()

    usage = resource.getrusage(resource.RUSAGE_SELF)
    print(f"frames {frames}, with a body {found}")
    print(f"loop: {frames / (ended - ready):.1f} frames a second")
    print(f"whole program: {frames / (ended - BEGAN):.1f} frames a second")
    print(
        f"processor {usage.ru_utime + usage.ru_stime:.2f} s, "
        f"memory at most {usage.ru_maxrss / 1e3:.0f} MB"
    )


if __name__ == "__main__":
    main()
