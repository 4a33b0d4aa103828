"""One rendered clip: who skates, where the camera stands, the pictures (clip.mp4) and what is true in them (truth.json).

Views: side (camera square to the lane), front (the skater comes toward the camera), rear (leaves it), oblique (45 degrees from the
front).  The camera is fixed; a clip holds as many passes as its length allows, one after the other from the same start.
"""
import dataclasses
import json
import os
import subprocess

import cv2
import numpy as np

from body import Body
from motion import BOOT_W, GL, TO, Params, Stand, Stride, Vary, angle, ground_truth
from render import Rink, look_at, persp, project


@dataclasses.dataclass
class Skater:
    age: float = 25
    gender: float = 1.0              # 0 female .. 1 male
    height: float | None = None      # stature, metres; by age where not given
    muscle: float = 0.65
    weight: float = 0.5
    stick: bool = True
    gloves: str = "dark"             # dark | light
    delay_s: float = 0.0             # behind the first skater
    aside_m: float = 0.0             # off the lane's line, + = to the left of world X
    params: Params = dataclasses.field(default_factory=Params)
    vary: Vary = dataclasses.field(default_factory=Vary)


@dataclasses.dataclass
class Clip:
    name: str
    view: str = "side"
    seed: int = 0
    seconds: float = 6.0
    fps: int = 30
    width: int = 1280
    height_px: int = 720
    hfov: float = 62.0
    cam_height: float = 1.2
    distance: float = 6.0            # side, oblique: from the lane; front, rear: behind the end of the pass in view
    direction: int | str = 1         # 1 along world X, -1 against it, "both" in turn (side and oblique only)
    skip_m: float = 0.0              # the clip begins this far into the first pass
    blur: int = 1                    # pictures a frame is averaged from
    shutter: float = 1 / 250
    noise: float = 3.0
    crf: int = 24
    lean: bool = False               # leave out of truth.json what only studies of the pose model need
    coach: tuple | None = None       # (x, y): somebody stands there
    skaters: list = dataclasses.field(default_factory=lambda: [Skater()])


def camera(clip):
    """Eye, aim, and where along X a pass in direction +1 starts and ends."""
    d, h = clip.distance, clip.cam_height
    half = d * np.tan(np.radians(clip.hfov / 2)) + 0.9
    if clip.view == "side":
        return (0, -d, h), (0, 0, .92), -half, half
    if clip.view == "front":         # 3.4 m before the lens at the distance of 6
        return (11, .5, h), (-11, 0, .75), -11, 11 - 0.57 * d
    if clip.view == "rear":
        return (-11, .5, h), (11, 0, .75), -11 + 0.57 * d, 11
    k = d / 6.5
    return (4.6 * k, -4.6 * k, h), (0, 0, .90), -7.5 * k, 3.6 * k


class Actor:
    """One skater of a clip: where he is in every frame, and his truth."""

    def __init__(self, clip, who, n, rng, index):
        self.clip, self.who = clip, who
        self.body = Body(age=who.age, gender=who.gender, muscle=who.muscle, weight=who.weight, height_m=who.height, stick=who.stick)
        p = self.p = who.params
        who.vary.seed = who.vary.seed or clip.seed * 10 + index + 1
        self.stride = Stride(self.body, p, who.vary)
        self.t0 = rng.uniform(0, 1) / p.rate
        ts, J, self.pushes = ground_truth(self.stride, self.t0, n, clip.fps)
        self.ts = ts
        _, _, xs, xe = camera(clip)
        span = (xe - xs) / p.speed
        late = who.delay_s - clip.skip_m / p.speed
        since = ts - self.t0 - late
        self.passes = np.floor(since / span).astype(int)
        self.sign = np.where(self.passes % 2 == 0, 1, -1) if clip.direction == "both" else np.full(n, clip.direction)
        start = np.where(self.sign > 0, xs, -xe)
        self.dx = start - p.speed * (self.t0 + late + self.passes * span)
        self.names = list(J)
        self.J3 = self.to_world(np.stack([J[k] for k in self.names], 1))

    def to_world(self, P, i=slice(None)):
        """From the skater's own path to the rink; P (frames, points, 3), or (points, 3) with a frame's number."""
        P = np.array(P, float)
        many = P.ndim == 3
        shape = (-1, 1) if many else ()
        P[..., 0] += self.dx[i].reshape(shape) if many else self.dx[i]
        s = self.sign[i].reshape(shape) if many else self.sign[i]
        P[..., 0] *= s
        P[..., 1] = P[..., 1] * s + self.who.aside_m
        return P

    def draw(self, figure, i, dt):
        M, stick = self.stride.pose(self.ts[i] + dt)
        P, N = self.body.skin(M, stick)
        P = self.to_world(P, i)
        N = N * [self.sign[i], self.sign[i], 1]
        figure.place(P, N)

    def truth(self, J2):
        c, st, p = self.clip, self.stride, self.p
        n = len(self.ts)
        inside = (J2[..., 0] > 0) & (J2[..., 0] < c.width) & (J2[..., 1] > 0) & (J2[..., 1] < c.height_px) & (J2[..., 2] > 0)
        full = inside.all(1)
        for e in self.pushes:
            # world places are per pass: a push cut by the end of a pass or partly out of the frame is marked
            a, b = e["touchdown_frame"], min(e["heel_gap_min_frame"], n - 1)
            at = int(np.clip(a, 0, n - 1))
            e["pass"], e["direction"] = int(self.passes[at]), int(self.sign[at])
            e["whole_in_view"] = bool(self.passes[at] == self.passes[b] and full[at:b + 1].all())
            for q in ("knee_min", "extension_max", "heel_gap_min", "wrist_cross_max"):
                f = e[q + "_frame"]
                e[q + "_in_view"] = bool(0 <= f < n and full[f])
        j = {k: self.J3[:, i] for i, k in enumerate(self.names)}
        phase = {"left": (self.ts * p.rate) % 1, "right": (self.ts * p.rate + .5) % 1}
        label = lambda f: "glide" if f < GL else "push" if f < TO else "recovery"
        w = self.who
        out = dict(
            params=vars(p), vary=vars(w.vary), delay_s=w.delay_s, aside_m=w.aside_m,
            subject=dict(age=w.age, height_m=self.body.height, gender=w.gender, thigh_m=round(float(st.a), 4), shin_m=round(float(st.c), 4),
                         hip_width_m=round(float(2 * st.hipw), 4), boot_heel_width_m=round(BOOT_W * st.s, 4), blade_height_m=round(self.body.blade_h * st.s, 4),
                         stick=bool(w.stick), gloves=w.gloves),
            pushes=self.pushes, joint_names=self.names, joints2d=np.round(J2[..., :2], 1 if c.lean else 2).tolist(),
            all_in_view=full.tolist(), passes=self.passes.tolist(), directions=self.sign.tolist(),
            phase={k: np.round(v, 4).tolist() for k, v in phase.items()})
        if not c.lean:
            out.update(joints3d=np.round(self.J3, 4).tolist(), depth_m=np.round(J2[..., 2].mean(1), 3).tolist(),
                       phase_label={k: [label(f) for f in v] for k, v in phase.items()},
                       knee_angle_deg={s: np.round(angle(j[f"{s}_hip"], j[f"{s}_knee"], j[f"{s}_ankle"]), 2).tolist() for s in ("left", "right")})
        return out


def render(clip, folder):
    """Writes clip.mp4 and truth.json; gives a line that says what was made."""
    rng = np.random.default_rng(clip.seed)
    n = int(round(clip.seconds * clip.fps))
    actors = [Actor(clip, w, n, rng, i) for i, w in enumerate(clip.skaters)]
    rink = Rink(clip.width, clip.height_px, seed=clip.seed)
    figures = [rink.add(a.body, clip.seed + 100 * i, a.who.gloves) for i, a in enumerate(actors)]
    coach = None
    if clip.coach:
        body = Body(age=45, weight=.7, muscle=.5, stick=False)
        coach = Stand(body, [*clip.coach, 0], seed=clip.seed), body, rink.add(body, clip.seed + 900)
    eye, aim, _, _ = camera(clip)
    V = look_at(eye, np.array(aim) + rng.normal(0, .002, 3))
    Pm = persp(clip.hfov, clip.width, clip.height_px)
    path = os.path.join(folder, "clip.mp4")
    ff = subprocess.Popen(
        ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{clip.width}x{clip.height_px}", "-r", str(clip.fps), "-i", "-",
         "-an", "-c:v", "libx264", "-preset", "veryfast", "-crf", str(clip.crf), "-pix_fmt", "yuv420p", "-movflags", "+faststart", path], stdin=subprocess.PIPE)
    grain = np.random.default_rng([clip.seed, 5])
    # The camera stands still: with everybody far outside the picture it is always the same one. Four metres leave room for shadows and sticks.
    far = np.full(n, coach is None)
    for a in actors:
        P = [project(a.J3 + [way, 0, 0], Pm @ V, clip.width, clip.height_px) for way in (-4, 4)]
        left, right = (np.all([(J[..., 2] > 0).all(1) & out(J[..., 0]).all(1) for J in P], 0) for out in (lambda x: x < 0, lambda x: x > clip.width))
        far &= left | right
    nobody = None
    for i in range(n):
        shots = [nobody] if far[i] and nobody is not None else []
        for b in range(0 if shots else clip.blur):
            dt = ((b + .5) / clip.blur - .5) * clip.shutter
            for a, f in zip(actors, figures):
                a.draw(f, i, dt)
            if coach:
                stand, body, f = coach
                f.place(*body.skin(*stand.pose(i / clip.fps + dt)))
            shots.append(rink.draw(V, Pm, eye).astype(np.float32))
        im = np.mean(shots, 0) if len(shots) > 1 else shots[0]
        if far[i]:
            nobody = im
        if clip.noise > 0:
            nz = grain.standard_normal((clip.height_px // 2 + 1, clip.width // 2 + 1, 3), dtype=np.float32) * clip.noise
            im = im * (1 + .01 * np.sin(i * .9)) + cv2.resize(nz, (clip.width, clip.height_px), interpolation=cv2.INTER_LINEAR)
        ff.stdin.write(np.clip(im, 0, 255).astype(np.uint8).tobytes())
    ff.stdin.close()
    if ff.wait() != 0:
        raise SystemExit(f"ffmpeg could not write {path}")
    rink.ctx.release()
    who = [a.truth(project(a.J3, Pm @ V, clip.width, clip.height_px)) for a in actors]
    truth = dict(
        format="skater-truth-1", units="metres, degrees, seconds, pixels; world X along the lane, Y left of it, Z up, ice z=0",
        clip="clip.mp4", fps=clip.fps, frames=n, width=clip.width, height=clip.height_px, view=clip.view, cam_mode="fixed", seed=clip.seed,
        direction=1 if clip.direction == "both" else clip.direction,
        camera=dict(hfov_deg=clip.hfov, focal_px=clip.width / 2 / np.tan(np.radians(clip.hfov) / 2), cx=clip.width / 2, cy=clip.height_px / 2,
                    model="pinhole, no distortion", per_frame="eye xyz, then the rows right, up, -forward",
                    frames=np.round([np.r_[eye, V[:3, :3].ravel()]], 5).tolist()),
        definitions=dict(
            knee_angle="included angle hip-knee-ankle, 180 = straight", phases=f"per leg: glide [0,{GL}), push [{GL},{TO}), recovery [{TO},1) of the cycle",
            heel_gap="horizontal distance of the two heel points minus the boot width",
            wrist_cross="wrist past the vertical mid plane through the shoulders (mid hip in *_vs_midhip), + = past",
            trunk_lean="mid hip to mid shoulder against the vertical, mean from touchdown to toe-off", toe_out="blade against the travel at toe-off, + = outward",
            push_direction="horizontal hip-to-ankle direction at full extension; 0 = straight back, 90 = sideways"),
        bystanders=1 if coach else 0, **who[0], others=who[1:])
    json.dump(truth, open(os.path.join(folder, "truth.json"), "w"), separators=(",", ":"))
    whole = sum(e["whole_in_view"] for w in who for e in w["pushes"])
    return f"{n} frames, {os.path.getsize(path) / 1e6:.2f} MB, {sum(len(w['pushes']) for w in who)} pushes, {whole} whole in view"
