#!/usr/bin/env python3
"""Packs the pose traces of the set `coach` for the tests:  pack_traces.py CLIPS POSES OUT

CLIPS/<name>/truth.json and POSES/<name>/poses.json (written by `kickplate-lab score CLIPS --poses POSES`) become OUT/<name>.json: the
lane, the age group, the cue a coach would give, and the body points frame by frame. Points are kept to a tenth of a pixel; depth
and the model's own metres, which nothing behind the pose model reads, are left out. Clips of bad pictures (`<clip>+<kind><level>` of
tools/disturb) get their skater's age group and 'good': they are packed of good skaters only, for tests/truth/sight.
"""
import json
import math
import os
import sys

clips, poses, out = sys.argv[1:]
os.makedirs(out, exist_ok=True)
for name in sorted(os.listdir(clips)):
    trace = os.path.join(poses, name, "poses.json")
    if not os.path.exists(trace):
        continue
    truth = json.load(open(os.path.join(clips, name, "truth.json")))
    if "+" in name:
        last_years = dict(U7=6, U9=8, U11=10, U13=12, U15=14, U18=17, adult=999)
        group = next(g for g, last in last_years.items() if math.floor(truth["subject"]["age"]) <= last)
        cue, view = "good", truth["view"]
    else:
        group, cue, view = name.split("-")
    eye, right, back = (truth["camera"]["frames"][0][i:i + 3] for i in (0, 3, 9))
    lane = dict(subject="rendered", view=view, camera_height_m=eye[2], tilt_deg=math.degrees(math.asin(back[2])), hfov_deg=truth["camera"]["hfov_deg"],
                roll_deg=math.degrees(math.asin(right[2])), lane_distance_m=abs(eye[1]), travel=dict(side="left_to_right", front="toward")[view],
                skater_height_m=truth["subject"]["height_m"])
    frames = json.load(open(trace))
    for f in frames:
        for b in f["bodies"]:
            b["points"] = [[round(x, 1), round(y, 1), 0, round(v, 2)] for x, y, _, v in b["points"]]
            b["world_m"] = [[0, 0, 0]] * len(b["world_m"])
            b["roi"] = {k: round(v, 2) for k, v in b["roi"].items()}
    case = dict(age_group=group, expected=cue, lane=lane, frames=frames)
    json.dump(case, open(os.path.join(out, name + ".json"), "w"), separators=(",", ":"))
    print(name, len(frames), "frames")
