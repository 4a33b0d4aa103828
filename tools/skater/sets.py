"""The declared sets of clips.  A set is a list of `Clip`; to add one, add a row."""
import numpy as np

from clip import Clip, Skater
from motion import Params, Vary

# A stride nobody would correct, by age: knee, extension, gap (cm), cross (cm), lean, speed, cycles a second.
GOOD = {7: (104, 168, 1.5, -4, 45, 3.6, 1.35), 8: (102, 169, 1.5, -5, 45, 3.8, 1.35), 10: (100, 170, 2, -5, 46, 4.2, 1.35),
        12: (98, 170, 2, -6, 47, 4.6, 1.3), 14: (96, 171, 2, -6, 48, 4.9, 1.3), 17: (95, 172, 2, -7, 49, 5.2, 1.3), 25: (95, 172, 2, -7, 50, 5.3, 1.3)}
NATURAL = dict(knee=3.5, ext=3.0, gap=1.2, cross=1.5, lean=1.5, push_dir=4)


def skater(age, like=None, vary=NATURAL, gender=1.0, height=None, muscle=.65, weight=.5, stick=True, gloves="dark", delay_s=0.0, aside_m=0.0, **differs):
    """A good skater of that age, except for what differs from it."""
    near = min(GOOD, key=lambda a: abs(a - (like or age)))
    base = dict(zip(("knee", "ext", "gap", "cross", "lean", "speed", "rate"), GOOD[near]))
    return Skater(age=age, gender=gender, height=height, muscle=muscle, weight=weight, stick=stick, gloves=gloves, delay_s=delay_s, aside_m=aside_m,
                  params=Params(**{**base, **differs}), vary=Vary(**vary) if vary else Vary())


def clip(name, view, seed, *skaters, **how):
    return Clip(name=name, view=view, seed=seed, skaters=list(skaters), **how)


# For measuring: one fault at a time or several, nothing was fitted on them. In the first six all strides are alike.
EVAL = [
    clip("v01_side_good", "side", 201, skater(24, muscle=.5, vary=None, knee=97, ext=172, gap=2, cross=-7, lean=50, speed=5.2, rate=1.3), seconds=5.5),
    clip("v02_front_good", "front", 202, skater(17, vary=None, knee=99, ext=171, gap=2, cross=-7, lean=49, speed=5.2, rate=1.3), seconds=5.5),
    clip("v03_side_knee", "side", 203, skater(34, gender=0, height=1.78, weight=.6, vary=None, knee=134, ext=171, gap=2, cross=-6, lean=50, speed=5, rate=1.25),
         seconds=5.5, cam_height=1.6),
    clip("v04_rear_gap", "rear", 204, skater(19, vary=None, knee=104, ext=170, gap=18, cross=-6, lean=49, speed=5.3, rate=1.3), seconds=5.5),
    clip("v05_front_cross", "front", 205, skater(15, gender=0, height=1.68, vary=None, knee=106, ext=168, gap=2.5, cross=13, lean=46, speed=5, rate=1.3), seconds=5.5),
    clip("v06_side_ext", "side", 206, skater(12, vary=None, knee=108, ext=143, gap=3, cross=-4, lean=45, speed=4.5, rate=1.35, push_dir=50), seconds=5.5),
    clip("w01_side_child", "side", 301, skater(9, gender=0, height=1.3325, knee=150, stick=False), seconds=5.5, distance=5.0, cam_height=0.9),
    clip("w02_front_gap", "front", 302, skater(12, gap=20, gloves="light"), seconds=5.5, cam_height=1.6),
    clip("w03_side_left", "side", 303, skater(28, gender=.1, height=1.78, weight=.6), seconds=5.5, direction=-1, distance=7.0),
    clip("w04_oblique_knee", "oblique", 304, skater(23, knee=132), seconds=5.5),
    clip("w05_front_cross", "front", 305, skater(26, cross=14, gloves="light", stick=False), seconds=5.5),
    clip("w06_rear_good", "rear", 306, skater(14, gender=0, height=1.63), seconds=5.5, cam_height=0.9),
    clip("w07_side_far_lean", "side", 307, skater(38, weight=.75, lean=16), seconds=5.5, distance=9.0, cam_height=1.9),
    clip("w08_front_two", "front", 308, skater(17), skater(13, gap=19, delay_s=0.75, aside_m=.3), seconds=5.5),
    clip("w09_side_coach", "side", 309, skater(16, ext=144), seconds=5.5, coach=(1.2, 3.0), blur=2),
    clip("w10_side_60", "side", 310, skater(21, gender=0, height=1.78, knee=128, ext=146), seconds=4, fps=60),
    clip("w11_oblique_good", "oblique", 311, skater(11), seconds=5.5, cam_height=1.5),
    clip("w12_rear_cross", "rear", 312, skater(24, cross=12, gap=15), seconds=5.5),
    clip("w13_side_both", "side", 313, skater(18, lean=44), seconds=6, direction="both"),
    clip("w14_front_toe", "front", 314, skater(22, toe_out=10, gap=11), seconds=5.5, cam_height=1.9),
    clip("w15_rear_toe", "rear", 315, skater(19, gender=0, toe_out=52, gap=5), seconds=5.5),
    clip("w16_oblique_back", "oblique", 316, skater(15, knee=112, gap=9), seconds=5.5, direction=-1),
    clip("w17_side_uneven", "side", 317, skater(27, gender=0, knee=104, ext=168, asym_ext=16), seconds=5.5, distance=4.5),
]

# Committed under tests/truth: short, small files.
SMALL = [
    clip("side-adult", "side", 401, skater(25), seconds=2.4, crf=27, lean=True),
    clip("side-girl", "side", 402, skater(10, gender=0, knee=150, stick=False), seconds=3.0, crf=27, lean=True, distance=5.0, cam_height=1.0),
    clip("side-back", "side", 403, skater(16, ext=143), seconds=2.4, crf=27, lean=True, direction=-1, coach=(-1.0, 3.2)),
    clip("front-adult", "front", 404, skater(30, gender=.1, height=1.78, gloves="light"), seconds=3.0, crf=27, lean=True),
    clip("front-two", "front", 405, skater(17), skater(13, gap=19, delay_s=0.75, aside_m=.3), seconds=3.0, crf=27, lean=True),
    clip("rear-boy", "rear", 406, skater(12, gap=17), seconds=3.0, crf=27, lean=True, cam_height=1.6),
    clip("oblique-adult", "oblique", 407, skater(22, knee=131), seconds=2.6, crf=27, lean=True),
    clip("side-60", "side", 408, skater(40, weight=.7), seconds=2.0, crf=27, lean=True, fps=60, blur=2),
]

# What a coach would say: a good skater of every group, and each fault alone, from the side and from the front.
GROUPS = {"U7": 6, "U9": 8, "U11": 10, "U13": 12, "U15": 14, "U18": 17, "adult": 25}
FAULTS = {"knee_bend": dict(knee=155), "extension": dict(ext=138), "recovery_gap": dict(gap=22), "arm_crossover": dict(cross=15), "trunk_lean": dict(lean=10)}
SEEN_FROM = {"knee_bend": "side", "extension": "side", "trunk_lean": "side", "recovery_gap": "front", "arm_crossover": "front"}


def _coach():
    plain = dict(knee=90, ext=172, gap=2, cross=-6)
    how = {"side": dict(seconds=2.0, lean=True), "front": dict(seconds=3.0, lean=True, skip_m=6.0)}
    rows = []
    for g, (group, age) in enumerate(GROUPS.items()):
        for v, view in enumerate(("side", "front")):
            rows.append(clip(f"{group}-good-{view}", view, 500 + 20 * g + v, skater(age, vary=None, **plain), **how[view]))
        for f, (fault, differs) in enumerate(FAULTS.items()):
            if group in ("U9", "U13", "adult"):
                view = SEEN_FROM[fault]
                gloves = "light" if fault == "arm_crossover" else "dark"
                rows.append(clip(f"{group}-{fault}-{view}", view, 510 + 20 * g + f, skater(age, vary=None, gloves=gloves, **{**plain, **differs}), **how[view]))
    return rows


# A large set: everything at once, drawn from a seed.  Once its failures have been looked at it is no longer fresh: take the next seed.
def _wide(letter="x", seed=2026, count=96):
    rows = []
    for i in range(count):
        r = np.random.default_rng([seed, i])
        age = float(r.choice([8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 20, 25, 30, 35, 40, 45]))
        view = ("side", "front", "rear", "oblique")[i % 4]
        differs = {}
        for fault in r.permutation(["knee", "ext", "gap", "cross", "lean"])[:r.integers(0, 4)]:
            lo, hi = dict(knee=(120, 155), ext=(138, 158), gap=(8, 24), cross=(3, 16), lean=(12, 66))[fault]
            differs[str(fault)] = float(r.uniform(lo, hi))
        differs["push_dir"] = float(r.uniform(30, 65))
        differs["toe_out"] = float(r.uniform(12, 50))
        differs["asym_ext"] = float(r.choice([0, 0, 0, 8, 14]))
        fps = int(r.choice([30, 60]))
        who = [skater(age, gender=float(r.choice([0, 1])), muscle=float(r.uniform(.4, .8)), weight=float(r.uniform(.35, .8)), stick=bool(r.random() < .7),
                      gloves=str(r.choice(["dark", "light"])), **differs)]
        if i % 12 == 5:
            who.append(skater(min(age + 4, 45), delay_s=float(r.uniform(.6, .9)), aside_m=.3))
        side = view == "side"
        rows.append(clip(f"{letter}{i:03d}_{view}", view, seed - 26 + i, *who, seconds=6 if fps == 30 else 4, fps=fps, cam_height=float(r.uniform(.8, 2.0)),
                         distance=float(r.uniform(4.5, 10)) if side else float(r.uniform(5, 8)), blur=int(r.choice([1, 1, 2])), noise=float(r.uniform(1, 7)),
                         direction=int(r.choice([-1, 1])) if side or view == "oblique" else 1, coach=(1.0, 3.0) if side and i % 8 == 0 else None))
    return rows


# The same skaters at the same moments from two cameras of one lane, for the joint passes. In the front clips the skater starts where the
# side camera's pass starts.
def _pair():
    rows = []
    for name, seed, who in (("good", 601, dict()), ("both", 602, dict(knee=135, gap=20)), ("gap", 603, dict(gap=18))):
        for view, how in (("side", {}), ("front", dict(skip_m=11 - (6 * np.tan(np.radians(31)) + 0.9)))):
            rows.append(clip(f"{name}_{view}", view, seed, skater(17, **who), seconds=3.0, **how))
    return rows


SETS = {"pair": _pair(), "eval": EVAL, "small": SMALL, "coach": _coach(), "wide": _wide(), "fresh": _wide("y", 3026), "later": _wide("z", 4027)}
