"""Golden values for the clips in this folder, as ffmpeg decodes them.

Per clip: size as shown, and per frame the time it is shown at (seconds, first
frame = 0) and the mean of R, G and B over the whole picture and over its
top-left quarter (the quarter notices a wrong orientation).
"""
import json
import os
import re
import subprocess
import sys

# With these, ffmpeg's RGB is within half a step of the formula of BT.601 and
# BT.709 with repeated chroma; its default rounds down (mean -0.65).
FLAGS = "neighbor+accurate_rnd+full_chroma_int"


def frames(path):
    run = subprocess.run(
        ["ffmpeg", "-v", "info", "-nostdin", "-i", path, "-map", "0:v:0", "-vf", "showinfo",
         "-fps_mode", "passthrough", "-sws_flags", FLAGS,
         "-pix_fmt", "rgb24", "-f", "rawvideo", "-"],
        check=True, capture_output=True)
    log = run.stderr.decode()
    times = [float(t) for t in re.findall(r"pts_time:\s*([0-9.]+)", log)]
    width, height = map(int, re.search(r" s:(\d+)x(\d+) ", log).groups())
    size = width * height * 3
    assert len(run.stdout) == size * len(times), (path, len(run.stdout), size, len(times))
    out = []
    for k, t in enumerate(times):
        rgb = run.stdout[k * size:(k + 1) * size]
        quarter = b"".join(rgb[y * width * 3: y * width * 3 + (width // 2) * 3] for y in range(height // 2))
        mean = lambda b: [round(sum(b[c::3]) / (len(b) // 3), 3) for c in range(3)]
        out.append({"t_s": round(t - times[0], 6), "mean": mean(rgb), "quarter": mean(quarter)})
    return {"width": width, "height": height, "frames": out}


print(json.dumps({os.path.basename(p): frames(p) for p in sys.argv[1:]}, separators=(",", ":")))
