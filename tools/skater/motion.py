"""Parametric forward hockey stride: inverse kinematics, exact truth for every push.

A `Stride` is built for one body and one set of `Params`, calibrates itself until the angles and the gap of the
plain stride are those asked for, and then lets every push differ from it by a seeded normal (`Vary`).  The truth
of a push is never what was asked: `ground_truth` reads it off the skeleton on a fine grid of time.

World: X travel, Y left, Z up, ice at z = 0, metres.  Phase of the left leg phi_L = t*rate (mod 1), right leg + 0.5.
Per leg: [0, GL) glide on a bent knee, [GL, TO) push, [TO, 1) recovery; TO = 0.60 -> double support 0.10 of a cycle.
"""
import dataclasses
import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator

GL, TO = 0.26, 0.60
X, Y, Z = np.eye(3)
BOOT_W = 0.075      # boot heel width of an adult (m); heel gap = heel centre distance - BOOT_W*scale


@dataclasses.dataclass
class Params:
    rate: float = 1.25         # full cycles (left + right push) per second
    knee: float = 110.0        # included thigh-shin angle, deepest point of the support phase (deg)
    ext: float = 166.0         # included knee angle at the end of the push (deg)
    push_dir: float = 45.0     # direction of the push, horizontal: 0 = straight back, 90 = straight sideways (deg)
    gap: float = 2.5           # recovery heel gap, boot to boot (cm)
    swing: float = 32.0        # arm swing amplitude fore-aft (deg)
    cross: float = -5.0        # wrist past the mid line at the front of the swing (cm), negative = short of it
    lean: float = 38.0         # trunk lean from the vertical (deg)
    toe_out: float = 35.0      # blade angle to travel at the end of the push (deg)
    speed: float = 5.0         # m/s
    asym_ext: float = 0.0      # right leg extends this many degrees less (asymmetry fault)


@dataclasses.dataclass
class Vary:
    """Standard deviation of each push from the next; 0 everywhere = all strides alike."""
    knee: float = 0.0          # deg
    ext: float = 0.0           # deg
    gap: float = 0.0           # cm
    cross: float = 0.0         # cm
    lean: float = 0.0          # deg
    push_dir: float = 0.0      # deg
    seed: int = 0


VARIED = [f.name for f in dataclasses.fields(Vary) if f.name != "seed"]
MAX_PUSHES = 400               # of one leg; the knots of the slowly varying quantities


def nrm(v):
    return v / max(np.linalg.norm(v), 1e-9)


def Rx(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def Ry(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def Rz(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def Rax(ax, a):
    K = np.array([[0, -ax[2], ax[1]], [ax[2], 0, -ax[0]], [-ax[1], ax[0], 0]])
    return np.eye(3) + np.sin(a) * K + (1 - np.cos(a)) * K @ K


def frame(d, y):
    d = nrm(d)
    y = nrm(y - (y @ d) * d)
    return np.stack([d, y, np.cross(d, y)], 1)


def angle(a, b, c):
    u, v = a - b, c - b
    return np.degrees(np.arccos(np.clip((u * v).sum(-1) / np.linalg.norm(u, axis=-1) / np.linalg.norm(v, axis=-1), -1, 1)))


class Stride:
    def __init__(self, body, p: Params, vary: Vary | None = None):
        self.b, self.p, self.vary = body, p, None         # alike while it calibrates
        J = self.J = body.head0
        self.s = body.scale
        n = np.linalg.norm
        self.a, self.c = n(J["calf_l"] - J["thigh_l"]), n(J["foot_l"] - J["calf_l"])
        self.L = self.a + self.c
        self.ua, self.fa = n(J["lowerarm_l"] - J["upperarm_l"]), n(J["hand_l"] - J["lowerarm_l"])
        self.mid0 = 0.5 * (J["thigh_l"] + J["thigh_r"])
        self.hipw = 0.5 * n(J["thigh_l"] - J["thigh_r"])
        self.ankle_h = J["foot_l"][2] + body.blade_h * self.s
        self.delta, self.k_eff, self.e_eff = 0.0, p.knee, None
        self.e_eff = {"l": self.d(p.ext), "r": self.d(p.ext - p.asym_ext)}   # hip-ankle length at the end of the push
        self.lean_eff = p.lean
        self._setup()
        for _ in range(7):
            self._calibrate()
        if vary and any(getattr(vary, k) for k in VARIED):
            self.vary = vary
            self._setup()

    def off(self, sd, cycle):
        """How much one push of a leg differs from the plain stride: a dict over VARIED."""
        if self.vary is None:
            return dict.fromkeys(VARIED, 0.0)
        z = np.random.default_rng([self.vary.seed, "lr".index(sd), cycle + 1000]).standard_normal(len(VARIED))
        o = {k: float(np.clip(x, -2.5, 2.5)) * getattr(self.vary, k) for k, x in zip(VARIED, z)}
        o["gap"] = max(o["gap"], 0.5 - self.p.gap)        # boots do not pass through each other
        return o

    # leg length for a knee angle
    def d(self, K):
        return np.sqrt(self.a ** 2 + self.c ** 2 - 2 * self.a * self.c * np.cos(np.radians(K)))

    def hip_h(self, t):
        """Hip height over the ice at a time."""
        ph = t * self.p.rate
        return float(self.h0(ph)) + 0.012 * self.L * (1 - np.cos(4 * np.pi * (ph - GL)))

    def _setup(self):
        L = self.L
        r0 = np.hypot(0.0, -0.045 * L + 0.5 * self.delta)
        height = lambda k: self.ankle_h + np.sqrt(max(self.d(self.k_eff + k) ** 2 - r0 ** 2, 0.01))
        self.push_of = {}
        if self.vary is None:
            self.h0, self.lean_at = (lambda ph, h=height(0.0): h), (lambda ph: self.lean_eff)
            return
        # Hip height and lean belong to the leg that glides; between the two legs' glides they change smoothly.
        knots, h, lean = [], [], []
        for n in range(-8, 2 * MAX_PUSHES):
            o = self.off("lr"[n % 2], (n + 1) // 2)       # the right leg's cycle c reaches GL half a cycle before the left leg's
            knots.append(n / 2 + GL)
            h.append(height(o["knee"]))
            lean.append(self.lean_eff + o["lean"])
        self.h0, self.lean_at = PchipInterpolator(knots, h), PchipInterpolator(knots, lean)

    def push(self, sd, cycle):
        """The path of the ankle in one cycle of a leg: touchdown, glide, toe-off, and the curve of the recovery."""
        key = (sd, cycle)
        if key not in self.push_of:
            p, L, o = self.p, self.L, self.off(sd, cycle)
            half = 0.5 if sd == "r" else 0.0
            b = np.radians(p.push_dir + o["push_dir"])
            dl = self.delta + o["gap"] / 100
            reach = self.e_eff[sd] + (self.d(p.ext + o["ext"]) - self.d(p.ext))
            hz = self.hip_h((cycle + TO - half) / p.rate) - self.ankle_h - 0.01 * L
            r1 = np.sqrt(max(reach ** 2 - hz ** 2, 0.02))
            Pto = np.array([-r1 * np.cos(b), r1 * np.sin(b), 0.0])
            before = self.delta + self.off(sd, cycle - 1)["gap"] / 100    # where the recovery before this push came down
            Ptd = np.array([0.09 * L, -0.055 * L + before, 0.0])
            Pg = np.array([0.02 * L, -0.045 * L + 0.5 * before, 0.0])
            Pp = np.array([-0.20 * L, -0.045 * L + dl, 0.085 * L])        # passing the support foot
            Pq = 0.5 * (Pto + Pp) + [0, 0, 0.055 * L]
            down = np.array([0.09 * L, -0.055 * L + dl, 0.0])
            rec = CubicSpline([TO, 0.70, 0.83, 1.0], np.stack([Pto, Pq, Pp, down]), bc_type=((1, np.zeros(3)), (1, np.array([-0.25 * L, 0, -0.05]))))
            self.push_of[key] = (Ptd, Pg, Pto, rec)
        return self.push_of[key]

    def leg_xyz(self, sd, cycle, ph):
        """ankle relative to the hip (outward positive), third value = clearance above the ice."""
        Ptd, Pg, Pto, rec = self.push(sd, cycle)
        if ph < GL:
            e = 0.5 - 0.5 * np.cos(np.pi * ph / GL)
            return Ptd + (Pg - Ptd) * e
        if ph < TO:
            s = (ph - GL) / (TO - GL)
            e = np.sin(0.5 * np.pi * s ** 1.25) ** 2
            return Pg + (Pto - Pg) * e
        v = rec(ph)
        v[2] = max(v[2], 0.0)
        return v

    def toe_yaw(self, ph):
        p = self.p
        keys = [0, GL, TO, 0.72, 0.9, 1.0]
        vals = [4, 8, p.toe_out, 0.7 * p.toe_out, 8, 4]
        return np.radians(np.interp(ph, keys, vals))

    def foot_pitch(self, ph):   # positive: toe down / heel up
        return np.radians(np.interp(ph, [0, 0.5, 0.56, TO, 0.70, 0.85, 1.0], [0, 0, 4, 14, 20, 10, 0]))

    def pose(self, t):
        b, p, J = self.b, self.p, self.J
        phL = (t * p.rate) % 1.0
        M, R = {}, {}
        tau = 2 * np.pi
        yaw = np.radians(5) * np.cos(tau * (phL - 0.56))
        roll = np.radians(2.5) * np.cos(tau * (phL - GL))      # support side hip slightly up
        lean = np.radians(float(self.lean_at(t * p.rate)))
        sway = 0.045 * self.s * 1.0 * np.cos(tau * (phL - GL))
        pos = np.array([p.speed * t, sway, self.hip_h(t)])
        Rp = Rz(yaw) @ Ry(0.62 * lean) @ Rx(roll)

        def put(bone, Rg, at):
            m = np.eye(4)
            m[:3, :3] = Rg
            m[:3, 3] = at - Rg @ J[bone]
            M[bone], R[bone] = m, Rg

        def ap(bone, q):
            return M[bone][:3, :3] @ q + M[bone][:3, 3]

        put("pelvis", Rp, pos - Rp @ (self.mid0 - J["pelvis"]))
        M["Root"] = M["pelvis"]
        tw = np.radians(-9) * np.cos(tau * (phL - 0.56)) / 3    # shoulders counter-rotate
        br = np.radians(-3) * np.cos(tau * (phL - GL)) / 3
        par = "pelvis"
        for i, bone in enumerate(("spine_01", "spine_02", "spine_03")):
            put(bone, R[par] @ Rz(tw) @ Ry(lean * 0.38 / 2 * (1.0 if i else 0.9)) @ Rx(br), ap(par, J[bone]))
            par = bone
        Rh = Rz(np.radians(1.5) * np.sin(tau * phL)) @ Ry(np.radians(6))
        # neck half way (shortest rotation of the up axis)
        up = nrm(0.45 * R["spine_03"][:, 2] + 0.55 * Rh[:, 2])
        fwd = nrm(R["spine_03"][:, 0] + Rh[:, 0])
        fwd = nrm(fwd - (fwd @ up) * up)
        put("neck_01", np.stack([fwd, np.cross(up, fwd), up], 1), ap("spine_03", J["neck_01"]))
        put("head", Rh, ap("neck_01", J["head"]))

        for sd, sg, off in (("l", 1, 0.0), ("r", -1, 0.5)):
            cycle, ph = divmod(t * p.rate + off, 1.0)
            cycle = int(cycle)
            hip = ap("pelvis", J[f"thigh_{sd}"])
            rel = self.leg_xyz(sd, cycle, ph)
            ank = np.array([hip[0] + rel[0], hip[1] + sg * rel[1], self.ankle_h + rel[2]])
            ty, fp = sg * self.toe_yaw(ph), self.foot_pitch(ph)
            f = Rz(ty) @ Ry(fp) @ X
            pole = nrm(0.55 * X + 0.6 * nrm(f * [1, 1, 0]) + np.array([0, 0.05 * sg, 0]))
            a0 = J[f"foot_{sd}"]
            ax = b.foot_axis[sd]
            F0 = np.stack([ax, np.cross(Z, ax), Z], 1)
            he, to = b.lm0[("left" if sd == "l" else "right") + "_heel"], b.lm0[("left" if sd == "l" else "right") + "_toe"]
            Lf = np.linalg.norm((to - he)[:2])
            ends = [np.array([he[0], he[1], -b.blade_h * self.s]) + ax * q - a0 for q in (0.0, Lf)]
            for _ in range(3):
                v = ank - hip
                dist = np.linalg.norm(v)
                mx = 0.9985 * self.L
                if dist > mx:
                    v *= mx / dist
                    ank, dist = hip + v, mx
                u = v / dist
                q = nrm(pole - (pole @ u) * u)
                ca = (self.a ** 2 + dist ** 2 - self.c ** 2) / (2 * self.a * dist)
                ca = np.clip(ca, -1, 1)
                knee = hip + self.a * (ca * u + np.sqrt(1 - ca * ca) * q)
                sh = nrm(knee - ank)
                shl = nrm(sh - (sh @ f) * f)
                zl = nrm(Z - (Z @ f) * f)
                upv = nrm(0.25 * zl + 0.75 * shl)
                Rf = np.stack([f, np.cross(upv, f), upv], 1) @ F0.T
                low = min((Rf @ e)[2] for e in ends)
                ank = np.array([ank[0], ank[1], -low + rel[2]])
            # final consistency: knee for the final ankle
            v = ank - hip
            dist = min(np.linalg.norm(v), 0.9985 * self.L)
            u = nrm(v)
            q = nrm(pole - (pole @ u) * u)
            ca = np.clip((self.a ** 2 + dist ** 2 - self.c ** 2) / (2 * self.a * dist), -1, 1)
            knee = hip + self.a * (ca * u + np.sqrt(1 - ca * ca) * q)
            ank = hip + u * dist
            y_t = np.cross(q, u)
            f0 = ax
            for bone, d0, d1, at in ((f"thigh_{sd}", J[f"calf_{sd}"] - J[f"thigh_{sd}"], knee - hip, hip),
                                     (f"calf_{sd}", J[f"foot_{sd}"] - J[f"calf_{sd}"], ank - knee, knee)):
                Rg = frame(d1, y_t) @ frame(d0, np.cross(f0, d0)).T
                put(bone, Rg, at)
            put(f"foot_{sd}", Rf, ank)
            M[f"ball_{sd}"] = M[f"foot_{sd}"]

            # arm
            put(f"clavicle_{sd}", R["spine_03"], ap("spine_03", J[f"clavicle_{sd}"]))
            shd = ap(f"clavicle_{sd}", J[f"upperarm_{sd}"])
            mid = 0.5 * (ap("spine_03", J["upperarm_l"]) + ap("spine_03", J["upperarm_r"]))
            c = np.cos(tau * (ph - 0.56))
            La = self.ua + self.fa
            al = np.radians(14 + p.swing * c)
            rho = La * (0.80 + 0.06 * (-c))
            v = rho * np.array([np.sin(al), 0, -np.cos(al)])
            w = ((1 + c) / 2) ** 1.6
            out = abs(shd[1] - mid[1]) + 0.11 * self.s
            # w is 0 at ph = 0.06: there one swing hands over to the next
            cross = p.cross + self.off(sd, cycle if ph >= 0.06 else cycle - 1)["cross"]
            yw = mid[1] + sg * (out * (1 - w) + (-cross / 100.0) * w)
            v[1] = yw - shd[1]
            mx = 0.97 * La
            if np.linalg.norm(v) > mx:
                k = np.sqrt(max(mx ** 2 - v[1] ** 2, 1e-4)) / np.hypot(v[0], v[2])
                v[0] *= k
                v[2] *= k
            dist = np.linalg.norm(v)
            u = v / dist
            pole = nrm(np.array([-0.75, 0.55 * sg, 0.15]))
            q = nrm(pole - (pole @ u) * u)
            ca = np.clip((self.ua ** 2 + dist ** 2 - self.fa ** 2) / (2 * self.ua * dist), -1, 1)
            elb = shd + self.ua * (ca * u + np.sqrt(1 - ca * ca) * q)
            wr = shd + v
            d0u, d0f = J[f"lowerarm_{sd}"] - J[f"upperarm_{sd}"], J[f"hand_{sd}"] - J[f"lowerarm_{sd}"]
            h0, h1 = np.cross(d0u, d0f), np.cross(elb - shd, wr - elb)
            put(f"upperarm_{sd}", frame(elb - shd, h1) @ frame(d0u, h0).T, shd)
            put(f"lowerarm_{sd}", frame(wr - elb, h1) @ frame(d0f, h0).T, elb)
            put(f"hand_{sd}", R[f"lowerarm_{sd}"], wr)
            cax = b.curl[sd]
            for fg in ("index", "middle", "ring", "pinky", "thumb"):
                par = f"hand_{sd}"
                for k, ang in ((1, 48), (2, 70), (3, 45)):
                    bone = f"{fg}_0{k}_{sd}"
                    ang_ = np.radians(ang if fg != "thumb" else 18)
                    put(bone, R[par] @ Rax(cax, ang_), ap(par, J[bone]))
                    par = bone

        st = None
        if b.stick:
            g = ap("hand_l", b.glove_grip["l"])
            Ls = 0.80 * b.height
            hz = max(g[2] - 0.05, 0.05)
            hor = np.sqrt(max(Ls ** 2 - hz ** 2, 0.01))
            hd = nrm(np.array([1.0, -0.30 - 0.25 * g[1], 0]))
            d = nrm(np.array([hd[0] * hor, hd[1] * hor, -hz]))
            yl = nrm(np.cross(Z, d))
            st = np.eye(4)
            st[:3, :3] = np.stack([d, yl, np.cross(d, yl)], 1)
            st[:3, 3] = g
        return M, st

    def joints(self, M):
        J, b = self.J, self.b
        ap = lambda bone, q: M[bone][:3, :3] @ q + M[bone][:3, 3]
        o = {}
        for sd, S in (("l", "left"), ("r", "right")):
            for nme, bone in (("shoulder", "upperarm"), ("elbow", "lowerarm"), ("wrist", "hand"), ("hip", "thigh"), ("knee", "calf"), ("ankle", "foot")):
                o[f"{S}_{nme}"] = ap(f"{bone}_{sd}", J[f"{bone}_{sd}"])
        for k, v in b.lm0.items():
            o[k] = ap(b.bone_of[k], v)
        return o

    def cycle(self, n=120):
        ts = np.arange(n) / n / self.p.rate
        js = [self.joints(self.pose(t)[0]) for t in ts]
        return ts, {k: np.array([j[k] for j in js]) for k in js[0]}

    def metrics(self, ts, j):
        """per leg, over one cycle sampled from t=0."""
        ph = (ts * self.p.rate) % 1
        out = {}
        heel = np.linalg.norm((j["left_heel"] - j["right_heel"])[:, :2], axis=1)
        for S, off in (("left", 0), ("right", .5)):
            f = (ph + off) % 1
            K = angle(j[f"{S}_hip"], j[f"{S}_knee"], j[f"{S}_ankle"])
            con, rec = f < TO, f > TO + 0.02
            out[S] = dict(kmin=K[con & (f < 0.45)].min(), kext=K[(f > 0.5) & (f < TO + .03)].max(), gap=heel[rec].min())
        m = 0.5 * (j["left_shoulder"] + j["right_shoulder"]) - 0.5 * (j["left_hip"] + j["right_hip"])
        out["lean"] = np.degrees(np.arctan2(m[:, 0], m[:, 2])).mean()
        return out

    def _calibrate(self):
        ts, j = self.cycle(100)
        m = self.metrics(ts, j)
        p = self.p
        self.k_eff += 0.9 * (p.knee - 0.5 * (m["left"]["kmin"] + m["right"]["kmin"]))
        for sd, S, tgt in (("l", "left", p.ext), ("r", "right", p.ext - p.asym_ext)):
            self.e_eff[sd] += 0.9 * (self.d(tgt) - self.d(m[S]["kext"]))
        g = 0.5 * (m["left"]["gap"] + m["right"]["gap"])
        self.delta += 0.8 * ((p.gap / 100 + BOOT_W * self.s) - g)
        self.delta = max(self.delta, -0.08)
        self.lean_eff += 0.9 * (p.lean - m["lean"])
        self._setup()


FINE = 240       # samples of a cycle on which the truth is read; refined by a parabola


def _peak(x, i, sign=1):
    """Value and place (in samples) of the extreme of x at i, between the samples."""
    if 0 < i < len(x) - 1:
        a, b, c = x[i - 1], x[i], x[i + 1]
        k = a - 2 * b + c
        if abs(k) > 1e-12:
            o = float(np.clip(0.5 * (a - c) / k, -0.5, 0.5))
            return b - 0.25 * (a - c) * o, i + o
    return x[i], float(i)


def ground_truth(st: Stride, t0, n, fps):
    """Joints of n frames from t0 on, and every push whose whole cycle lies inside (frames count from the clip's start)."""
    p = st.p
    ts = t0 + np.arange(n) / fps
    js = [st.joints(st.pose(t)[0]) for t in ts]
    j = {k: np.array([q[k] for q in js]) for k in js[0]}
    T = 1 / p.rate
    pushes = []
    end = ts[-1]
    # One grid for the whole clip, so that pushes that differ are each read where they are.
    g0 = np.floor(t0 * p.rate) - 1
    m = int((np.ceil(end * p.rate) + 1 - g0) * FINE)
    tf = (g0 + np.arange(m) / FINE) * T
    alike = st.vary is None
    if alike:                                             # one cycle says it all
        tc, jc = st.cycle(FINE)
        take = np.arange(m) % FINE
        jf = {k: v[take] + np.outer((tf - tc[take]) * p.speed, X) for k, v in jc.items()}
    else:
        jf = [st.joints(st.pose(t)[0]) for t in tf]
        jf = {k: np.array([q[k] for q in jf]) for k in jf[0]}
    heel = np.linalg.norm((jf["left_heel"] - jf["right_heel"])[:, :2], axis=1)
    mid = 0.5 * (jf["left_shoulder"] + jf["right_shoulder"])
    midh = 0.5 * (jf["left_hip"] + jf["right_hip"])
    trunk = mid - midh
    lean = np.degrees(np.arctan2(trunk[:, 0], trunk[:, 2]))
    for S, off, sg in (("left", 0, 1), ("right", .5, -1)):
        K = angle(jf[f"{S}_hip"], jf[f"{S}_knee"], jf[f"{S}_ankle"])
        wx = -sg * (jf[f"{S}_wrist"] - mid)[:, 1]
        wxh = -sg * (jf[f"{S}_wrist"] - midh)[:, 1]
        foot = jf[f"{S}_toe"] - jf[f"{S}_heel"]
        for c in range(int(g0) - 1, int(end * p.rate) + 3):
            at = lambda fr: (c + fr - off) * T            # time of a phase of this leg in cycle c
            if at(0.0) < t0 - 1e-9 or at(1.0) > end + 1e-9:
                continue
            idx = lambda fr: int(round((c + fr - off - g0) * FINE))

            def extreme(x, lo, hi, pick):
                i = idx(lo) + int(pick(x[idx(lo):idx(hi) + 1]))
                v, w = _peak(x, i)
                return v, tf[0] + w * T / FINE, i
            kmin, t_k, _ = extreme(K, 0.0, 0.45, np.argmin)
            kmax, t_e, ie = extreme(K, 0.5, TO + 0.03, np.argmax)
            gap, t_g, _ = extreme(heel, TO + 0.02, 1.0, np.argmin)
            cross, t_w, _ = extreme(wx, 0.06, 1.0, np.argmax)
            crossh, _, _ = extreme(wxh, 0.06, 1.0, np.argmax)
            hv = (jf[f"{S}_ankle"] - jf[f"{S}_hip"])[ie]
            to = foot[idx(TO)]
            e = dict(side=S, min_knee_angle_deg=kmin, max_extension_angle_deg=kmax, min_heel_centre_distance_m=gap,
                     min_heel_gap_m=gap - BOOT_W * st.s, max_wrist_cross_m=cross, max_wrist_cross_vs_midhip_m=crossh,
                     trunk_lean_deg=float(lean[idx(0.0):idx(TO) + 1].mean()), toe_out_deg=np.degrees(np.arctan2(sg * to[1], to[0])),
                     push_direction_deg=np.degrees(np.arctan2(abs(hv[1]), -hv[0])), leg_inclination_deg=np.degrees(np.arctan2(np.hypot(hv[0], hv[1]), -hv[2])),
                     push_length_m=float(np.hypot(hv[0], hv[1])))
            for name, tt in (("touchdown", at(0.0)), ("knee_min", t_k), ("push_start", at(GL)), ("extension_max", t_e), ("toe_off", at(TO)),
                             ("heel_gap_min", t_g), ("wrist_cross_max", t_w)):
                e[f"{name}_s"] = tt - t0
                e[f"{name}_frame"] = int(round((tt - t0) * fps))
            pushes.append({k: (round(float(v), 4) if isinstance(v, (float, np.floating)) else v) for k, v in e.items()})
    pushes.sort(key=lambda e: e["touchdown_s"])
    return ts, j, pushes


class Stand:
    """Somebody who stands on the ice, arms down, swaying a little: a coach.  Never to be judged."""

    def __init__(self, body, place, facing_deg=-90.0, seed=0):
        self.b, self.place, self.facing, self.phase = body, np.array(place, float), np.radians(facing_deg), seed * 0.7

    def pose(self, t):
        b, J = self.b, self.b.head0
        sway = np.radians(1.5) * np.sin(2 * np.pi * 0.31 * t + self.phase)
        R0 = Rz(self.facing + 2 * sway) @ Ry(sway)
        M = {}

        def put(bone, R, at):
            m = np.eye(4)
            m[:3, :3], m[:3, 3] = R, at - R @ J[bone]
            M[bone] = m
        for bone in b.bones:
            m = np.eye(4)
            m[:3, :3], m[:3, 3] = R0, self.place + [0, 0, b.blade_h]
            M[bone] = m
        for sd, sg in (("l", 1), ("r", -1)):
            arm = [x for x in b.bones if x.endswith("_" + sd) and x.startswith(("lowerarm", "hand", "index", "middle", "ring", "pinky", "thumb"))]
            top = f"upperarm_{sd}"
            d = nrm(J[f"hand_{sd}"] - J[top])
            down = nrm(np.array([0.10, 0.22 * sg, -1.0]))
            ax = np.cross(d, down)
            R = R0 @ Rax(nrm(ax), np.arcsin(min(np.linalg.norm(ax), 1.0)))
            at = R0 @ J[top] + M[top][:3, 3]
            for bone in [top] + arm:
                m = np.eye(4)
                m[:3, :3], m[:3, 3] = R, at - R @ J[top]
                M[bone] = m
        return M, np.eye(4)
