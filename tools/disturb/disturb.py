#!/usr/bin/env python3
"""Makes bad pictures of good clips:  disturb.py CLIPS --out DIR [--kinds blur,fog] [--levels 1,2,3] [--only PART] [--seed N]

CLIPS holds folders with clip.mp4 and truth.json (from tools/skater). Gives DIR/<clip>+<kind><level>/clip.mp4 and truth.json,
which `kickplate-lab score` reads. Level 1 is mild (people would hardly complain), 5 is heavy; 2.5 lies between 2 and 3. The same
clip, kind, level and seed always give the same pictures: every random number comes from a seed made of these. Kind `cross` lets the
skater of the next clip of the same view come the other way, mirrored, in the same lane. Needs ffmpeg, numpy and OpenCV.
"""
import argparse
import json
import os
import shutil
import subprocess
import zlib

import cv2
import numpy as np

WHITE = 225.0


def at(values, level):
    """The strength at a level from 0 to 4, between its neighbours where it is no whole number."""
    return float(np.interp(level, range(5), values))


def blur(level):
    """A lens out of focus: standard deviation in pixels of a picture 1280 wide."""
    sigma = at([0.8, 1.4, 2.0, 3.0, 4.5], level)
    return lambda f, t, r: cv2.GaussianBlur(f, (0, 0), sigma)


def fog(level):
    """A fogged lens: part of the light is spread over the whole picture and a little about each point."""
    share, sigma = at([.12, .25, .4, .55, .7], level), at([.6, .9, 1.2, 1.8, 2.6], level)
    return lambda f, t, r: (1 - share) * cv2.GaussianBlur(f, (0, 0), sigma) + share * WHITE


def haze(level):
    """Low contrast alone."""
    gain = at([.7, .5, .35, .25, .15], level)
    return lambda f, t, r: gain * f + (1 - gain) * 150


def noise(level):
    sigma = at([6, 12, 20, 32, 50], level)
    return lambda f, t, r: f + r.normal(0, sigma, f.shape).astype(np.float32)


def dark(level):
    """Little light: darker, with the noise that comes with it."""
    gain, sigma = at([.5, .35, .25, .16, .1], level), at([2, 3, 4, 5, 6], level)
    return lambda f, t, r: gain * f + r.normal(0, sigma, f.shape).astype(np.float32)


def jpeg(level):
    quality = round(at([40, 22, 12, 7, 4], level))

    def change(f, t, r):
        _, packed = cv2.imencode(".jpg", np.clip(f, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, quality])
        return cv2.imdecode(packed, cv2.IMREAD_COLOR).astype(np.float32)
    return change


def motion(level):
    """A long exposure: everything is drawn out sideways by so many pixels (the skater, in truth, and here the rink as well)."""
    n = round(at([5, 9, 15, 23, 35], level))
    kernel = np.full((1, n), 1 / n, np.float32)
    return lambda f, t, r: cv2.filter2D(f, -1, kernel)


def spray(level):
    """Drops on the glass: what lies behind one is blurred and lighter."""
    count, size = round(at([10, 25, 50, 90, 160], level)), at([14, 18, 22, 26, 30], level)
    kept = {}

    def change(f, t, r):
        if "mask" not in kept:
            mask = np.zeros(f.shape[:2], np.float32)
            for x, y, s in zip(r.integers(0, f.shape[1], count), r.integers(0, f.shape[0], count), r.uniform(.4, 1.3, count)):
                cv2.circle(mask, (int(x), int(y)), int(s * size), 1.0, -1)
            kept["mask"] = cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
        m = kept["mask"]
        return (1 - m) * f + m * (.75 * cv2.GaussianBlur(f, (0, 0), 7) + .25 * WHITE)
    return change


def flicker(level):
    """Lamps that beat with the shutter."""
    depth = at([.06, .12, .2, .3, .45], level)
    return lambda f, t, r: f * (1 + depth * np.sin(2 * np.pi * 9.3 * t))


def bands(level):
    """The same with a rolling shutter."""
    depth = at([.06, .12, .2, .3, .45], level)
    return lambda f, t, r: f * (1 + depth * np.sin(2 * np.pi * (9.3 * t + np.arange(f.shape[0]) / 300))).astype(np.float32)[:, None, None]


def shake(level):
    """A camera that trembles."""
    px = at([1, 2, 4, 7, 12], level)

    def change(f, t, r):
        dx, dy = px * np.sin(2 * np.pi * 7.1 * t), px * .6 * np.sin(2 * np.pi * 5.3 * t + 1)
        return cv2.warpAffine(f, np.float32([[1, 0, dx], [0, 1, dy]]), f.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
    return change


def coarse(level):
    """A camera that promises more pixels than it has: read small and drawn large."""
    share = at([.75, .55, .4, .28, .18], level)

    def change(f, t, r):
        h, w = f.shape[:2]
        return cv2.resize(cv2.resize(f, (int(w * share), int(h * share)), interpolation=cv2.INTER_AREA), (w, h), interpolation=cv2.INTER_LINEAR)
    return change


def starved(level):
    """A film written with too few bits."""
    return None


def packed(level):
    """A film packed at a poor quality."""
    return None


# The kinds from here on were made after the bounds of `rules/needs.rs` were set.


def bloom(level):
    """Too much light: white runs over its edges."""
    gain = at([1.2, 1.5, 1.8, 2.2, 2.8], level)
    return lambda f, t, r: np.minimum(gain * f, 255) + cv2.blur(np.maximum(gain * f - 230, 0), (41, 41))


def crushed(level):
    """Dark tones run together."""
    power = at([1.4, 1.8, 2.4, 3.0, 4.0], level)
    return lambda f, t, r: 255 * (np.clip(f, 0, 255) / 255) ** power


def ghost(level):
    """A camera that takes its noise out over time: what moves leaves a trail."""
    share, kept = at([.25, .45, .55, .65, .75], level), {}

    def change(f, t, r):
        kept["f"] = f if "f" not in kept else share * kept["f"] + (1 - share) * f
        return kept["f"]
    return change


def comb(level):
    """Interlaced film taken for whole pictures: every other line is older; blurred a little up to level 2."""
    kept = {}

    def change(f, t, r):
        before, kept["f"] = kept.get("f", f), f
        mixed = f.copy()
        mixed[1::2] = before[1::2]
        return cv2.blur(mixed, (1, 2)) if level <= 1 else mixed
    return change


def wave(level):
    """Warm air, or a stand that hums before a rolling shutter: lines slide sideways."""
    px = at([1, 2, 3.5, 5, 8], level)

    def change(f, t, r):
        h, w = f.shape[:2]
        y = np.arange(h, dtype=np.float32)
        x = np.arange(w, dtype=np.float32) + px * np.sin(2 * np.pi * (y / 180 + 7 * t))[:, None]
        return cv2.remap(f, x.astype(np.float32), np.repeat(y[:, None], w, 1), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return change


def net(level):
    """Through the net behind a goal, out of focus."""
    step, wide, grey = round(at([90, 64, 52, 40, 30], level)), round(at([2, 3, 3, 4, 4], level)), at([70, 60, 50, 40, 30], level)
    kept = {}

    def change(f, t, r):
        if "mask" not in kept:
            h, w = f.shape[:2]
            mask = np.zeros((h, w), np.float32)
            for x in range(-h, w + h, step):
                cv2.line(mask, (x, 0), (x + h, h), 1.0, wide)
                cv2.line(mask, (x, h), (x + h, 0), 1.0, wide)
            kept["mask"] = .8 * cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
        return f * (1 - kept["mask"]) + grey * kept["mask"]
    return change


def glare(level):
    """Lamps mirrored in the glass."""
    share = at([.3, .5, .65, .85, 1], level)

    def change(f, t, r):
        x, y = np.arange(f.shape[1])[None, :] / f.shape[1], np.arange(f.shape[0])[:, None] / f.shape[1]
        light = np.exp(-((x - .35 - .3 * y - .05 * np.sin(t)) / .09) ** 2) + np.exp(-((x - .7 + .2 * y) / .05) ** 2)
        light = share * np.minimum(light, 1)[..., None].astype(np.float32)
        return f * (1 - light) + 245 * light
    return change


def poster(level):
    """Few tones."""
    tones = round(at([16, 8, 6, 5, 4], level)) - 1
    return lambda f, t, r: np.round(np.clip(f, 0, 255) / 255 * tones) / tones * 255


def tint(level):
    """No colour, and a wrong white."""
    cast = np.float32([at([.9, .8, .7, .6, .5], level), at([.95, .9, .85, .8, .75], level), 1.1])
    return lambda f, t, r: (f @ np.float32([.114, .587, .299]))[..., None] * cast


def dead(level):
    """Pixels that are black or white for one picture."""
    share = at([.002, .005, .01, .02, .04], level)

    def change(f, t, r):
        drawn, spoilt = r.random(f.shape[:2]), f.copy()
        spoilt[drawn < share / 2], spoilt[drawn > 1 - share / 2] = 0, 255
        return spoilt
    return change


def post(level):
    """A post in front, from level 3 on a rail at the height of the knees."""
    def change(f, t, r):
        h, w = f.shape[:2]
        spoilt = f.copy()
        if level < 2:
            spoilt[:, int(.46 * w):int((.48 + .01 * level) * w)] = 72
        else:
            spoilt[int(.60 * h):int((.60 + .012 * level) * h)] = 72
        return spoilt
    return change


def head(level):
    """Somebody's head at the foot of the picture."""
    def change(f, t, r):
        h, w = f.shape[:2]
        spoilt, x = f.copy(), int(w * (.5 + .03 * np.sin(1.3 * t)))
        cv2.ellipse(spoilt, (x, int(h * (1.02 - .04 * level))), (int(.07 * w), int(.17 * h)), 0, 0, 360, (40, 45, 70), -1)
        return spoilt
    return change


PICTURE = dict(blur=blur, fog=fog, haze=haze, noise=noise, dark=dark, jpeg=jpeg, motion=motion, spray=spray, flicker=flicker, bands=bands,
               shake=shake, coarse=coarse, starved=starved, packed=packed, bloom=bloom, crushed=crushed, ghost=ghost, comb=comb, wave=wave, net=net, glare=glare,
               poster=poster, tint=tint, dead=dead, post=post, head=head)
# Thousands of bits a second.
BITS = [900, 500, 300, 180, 110]
# The same film as a cheap encoder writes it at one quality (x264's crf): borders of blocks are sharp, folds are gone.
QUALITY = [34, 38, 42, 45, 48]
# Pictures a second that are left, evenly as a slow camera gives them.
RATES = [20, 15, 12, 10, 8]


def rate(level, seed):
    """A slow camera: the pictures nearest to even times."""
    return f"fps={at(RATES, level):.6g}:round=near"


def busy(level, seed):
    """A slow computer: each picture is lost with so much probability."""
    lost = at([.15, .3, .45, .6, .7], level)
    return f"select='if(eq(n,0),st(0,{seed % 1000003}));gte(random(0),{lost})'"


def stall(level, seed):
    """Holes: every 1.3 s nothing for a while."""
    hole = at([.1, .15, .25, .4, .6], level)
    return f"select='gte(mod(t+{seed % 130 / 100},1.3),{hole})'"


LOSSES = dict(rate=rate, busy=busy, stall=stall)
KINDS = list(PICTURE) + list(LOSSES) + ["cross"]


def pictures(video, width, height):
    read = subprocess.Popen(["ffmpeg", "-v", "error", "-i", video, "-vf", f"scale={width}:{height}", "-f", "rawvideo", "-pix_fmt", "bgr24", "-"],
                            stdout=subprocess.PIPE)
    while len(raw := read.stdout.read(width * height * 3)) == width * height * 3:
        yield np.frombuffer(raw, np.uint8).reshape(height, width, 3)
    read.wait()


def crossed(other, level, width, height):
    """Somebody comes the other way in front of the skater, level 1 at once and level 5 a second later."""
    theirs = [p[:, ::-1] for p in pictures(os.path.join(other, "clip.mp4"), width, height)]
    empty = np.median(np.stack(theirs[::11]), 0).astype(np.float32)
    late = level * 0.25

    def change(f, t, r):
        k = round((t - late) * 30)
        if not 0 <= k < len(theirs):
            return f
        seen = theirs[k].astype(np.float32)
        mask = (np.abs(seen - empty).max(2) > 22).astype(np.uint8)
        mask = cv2.morphologyEx(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3))), cv2.MORPH_CLOSE, np.ones((7, 7)))
        return np.where(mask[..., None] > 0, seen, f)
    return change


def size_of(video):
    text = subprocess.run(["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "stream=width,height,r_frame_rate", "-of", "json", video],
                          check=True, capture_output=True, text=True).stdout
    s = json.loads(text)["streams"][0]
    a, b = s["r_frame_rate"].split("/")
    return s["width"], s["height"], float(a) / float(b)


def make(source, kind, level, out, seed, other):
    name = os.path.basename(out) + (f" {seed}" if seed else "")
    video = os.path.join(source, "clip.mp4")
    width, height, fps = size_of(video)
    random = np.random.default_rng(zlib.crc32(name.encode()))
    part = out + ".part"
    os.makedirs(part, exist_ok=True)
    target = os.path.join(part, "clip.mp4")
    common = ["-pix_fmt", "yuv420p", "-movflags", "+faststart", target]
    if kind in LOSSES:
        chosen = LOSSES[kind](level, zlib.crc32(name.encode()))
        subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", video, "-vf", chosen, "-fps_mode", "passthrough", "-enc_time_base", "1/90000",
                        "-c:v", "libx264", "-crf", "18", "-preset", "veryfast", *common], check=True)
    elif kind == "starved":
        bits = f"{at(BITS, level):.0f}k"
        subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", video, "-c:v", "libx264", "-b:v", bits, "-maxrate", bits, "-bufsize", bits,
                        "-preset", "veryfast", *common], check=True)
    elif kind == "packed":
        subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", video, "-c:v", "libx264", "-crf", str(round(at(QUALITY, level))), "-preset", "ultrafast", *common],
                       check=True)
    else:
        change = crossed(other, level, width, height) if kind == "cross" else PICTURE[kind](level)
        read = subprocess.Popen(["ffmpeg", "-v", "error", "-i", video, "-f", "rawvideo", "-pix_fmt", "bgr24", "-"], stdout=subprocess.PIPE)
        write = subprocess.Popen(["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "bgr24", "-s", f"{width}x{height}", "-r", f"{fps:.6g}", "-i", "-",
                                  "-c:v", "libx264", "-crf", "16", "-preset", "veryfast", *common], stdin=subprocess.PIPE)
        k = 0
        while len(raw := read.stdout.read(width * height * 3)) == width * height * 3:
            frame = np.frombuffer(raw, np.uint8).reshape(height, width, 3).astype(np.float32)
            write.stdin.write(np.clip(change(frame, k / fps, random), 0, 255).astype(np.uint8).tobytes())
            k += 1
        write.stdin.close()
        if write.wait() or read.wait():
            raise SystemExit(f"{name}: ffmpeg failed")
    shutil.copy(os.path.join(source, "truth.json"), part)
    os.rename(part, out)


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("clips")
    a.add_argument("--out", required=True)
    a.add_argument("--kinds", default=",".join(KINDS))
    a.add_argument("--levels", default="1,3,5", help="1 (mild) to 5 (heavy)")
    a.add_argument("--seed", type=int, default=0, help="other random numbers")
    a.add_argument("--only", default="", help="only clips whose name holds this")
    a = a.parse_args()
    os.makedirs(a.out, exist_ok=True)
    truths = {}
    for clip in sorted(os.listdir(a.clips)):
        truth = os.path.join(a.clips, clip, "truth.json")
        if os.path.exists(truth):
            with open(truth) as f:
                truths[clip] = json.load(f)["view"]
    for clip, view in truths.items():
        if a.only not in clip:
            continue
        source = os.path.join(a.clips, clip)
        alike = [c for c in truths if truths[c] == view]
        other = os.path.join(a.clips, alike[(alike.index(clip) + 1) % len(alike)])
        for kind in a.kinds.split(","):
            if kind == "cross" and (view != "side" or len(alike) < 2):
                continue
            for level in map(float, a.levels.split(",")):
                out = os.path.join(a.out, f"{clip}+{kind}{level:g}")
                shutil.rmtree(out + ".part", ignore_errors=True)
                if not os.path.exists(out):
                    make(source, kind, level - 1, out, a.seed, other)


if __name__ == "__main__":
    main()
