"""A long recording with pauses, from a clip of the demo seen from the side.

The clip (eight seconds, a skater always in view) is followed by the same lane with nobody in
it for a while, never twice for the same time, so that no picture of a skater comes again at a
full second. A picture that needs no other one comes once a second, as phones and cameras
write it.

    venv/bin/python tools/bench/long_clip.py OUT.mp4 [ROUNDS] [PAUSE_SECONDS]

Needs opencv and numpy (those of `mediapipe_clip.py`), and ffmpeg with libx264.
"""

import pathlib
import subprocess
import sys

import cv2
import numpy

ROOT = pathlib.Path(__file__).resolve().parents[2]
CLIP = "side-good"
RATE = 30


def pictures(name):
    video = cv2.VideoCapture(str(ROOT / "demo" / f"{name}.mp4"))
    while True:
        there, picture = video.read()
        if not there:
            return
        yield picture


def main():
    out = sys.argv[1]
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 14
    pause = float(sys.argv[3]) if len(sys.argv) > 3 else 1.5
    clip = list(pictures(CLIP))
    height, width = clip[0].shape[:2]
    empty = numpy.median(numpy.stack(clip[::12]), axis=0).astype(numpy.uint8)
    encoder = subprocess.Popen(
        ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "bgr24"]
        + ["-s", f"{width}x{height}", "-r", str(RATE), "-i", "-"]
        + ["-c:v", "libx264", "-preset", "veryfast", "-crf", "21", "-g", str(RATE)]
        + ["-sc_threshold", "0", "-pix_fmt", "yuv420p", out],
        stdin=subprocess.PIPE,
    )
    for i in range(rounds):
        longer = 0.7 + 0.6 * (i * 0.618 % 1.0)
        for picture in clip + [empty] * round(RATE * pause * longer):
            encoder.stdin.write(picture.tobytes())
    encoder.stdin.close()
    sys.exit(encoder.wait())


if __name__ == "__main__":
    main()
