"""Headless OpenGL (moderngl + EGL; Mesa llvmpipe on a machine without a graphics card): dressed people in a simple rink.

`Rink` owns the context, the programs and the building; `Figure` is one dressed body in it.
Everything in the building is made up from random numbers: no pictures from elsewhere.
"""
import numpy as np
import moderngl
import cv2
import body as B

RINK_Y0, RINK_Y1 = -6.6, 20.5      # boards at the camera side / the far side (m)

VS = """#version 330
uniform mat4 VP; uniform mat4 LVP; uniform float mirror;
in vec3 p; in vec3 n; in vec3 rest; in float reg;
out vec3 wp; out vec3 wn; out vec3 rp; flat out int rg0; out vec4 lp;
void main(){ vec3 q=p; vec3 m=n; if(mirror>0.5){q.z=-q.z; m.z=-m.z;}
 wp=q; wn=m; rp=rest; rg0=int(reg+0.5); lp=LVP*vec4(p,1); gl_Position=VP*vec4(q,1);} """
FS = """#version 330
uniform vec3 cam; uniform vec3 col[15]; uniform vec3 trim; uniform sampler2D shadow; uniform float alpha; uniform float scale; uniform float mirror;
uniform vec3 eyeL; uniform float shoulderZ; uniform float hemZ; uniform float kneeZ; uniform float bootZ; uniform vec2 helm;
in vec3 wp; in vec3 wn; in vec3 rp; flat in int rg0; in vec4 lp; out vec4 fc;
float h(vec3 p){return fract(sin(dot(p,vec3(12.9898,78.233,37.719)))*43758.5453);}
float vn(vec3 p){vec3 i=floor(p),f=fract(p);f=f*f*(3.-2.*f);
 return mix(mix(mix(h(i),h(i+vec3(1,0,0)),f.x),mix(h(i+vec3(0,1,0)),h(i+vec3(1,1,0)),f.x),f.y),
            mix(mix(h(i+vec3(0,0,1)),h(i+vec3(1,0,1)),f.x),mix(h(i+vec3(0,1,1)),h(i+vec3(1,1,1)),f.x),f.y),f.z);}
void main(){
 int rg=rg0;
 if(rg==9){ float dx=(rp.x-helm.x)/scale, dz=(rp.z-helm.y)/scale; float cut=mix(-.060,.040,smoothstep(.030,.042,dx)); cut=mix(-.075,cut,smoothstep(-.045,-.02,dx)); if(dz<cut) discard; }
 if(rg==4&&rp.z<hemZ+.12*scale&&abs(rp.y)<.30*scale||rg==5||rg==6||rg==7) rg = rp.z>hemZ ? 4 : (rp.z>kneeZ+.03*scale ? 5 : (rp.z>bootZ ? 6 : 7));
 vec3 c=col[rg]; vec3 N=normalize(wn); vec3 V=normalize(cam-wp); if(dot(N,V)<0.) N=-N;
 float cloth=0.; float spec=0.04; float gl=12.;
 if(mirror<.5&&(rg==4||rg==5||rg==6)){ cloth=1.;
   float e=.01; vec3 s=rp/scale*vec3(22.,22.,11.);
   float a=vn(s)+.5*vn(s*2.3); vec3 g=vec3(vn(s+vec3(e*22.,0,0))-vn(s),vn(s+vec3(0,e*22.,0))-vn(s),vn(s+vec3(0,0,e*11.))-vn(s));
   N=normalize(N-g*0.55); c*=0.86+0.18*a; }
 if(rg==4){ float z=(rp.z-hemZ)/(shoulderZ-hemZ); float side=abs(rp.y)/scale;
   if(z>0.02&&z<0.13) c=trim; if(z>0.17&&z<0.21) c=trim;
   if(side>.30&&side<.36) c=trim; if(side>.385&&side<.40) c=trim;
   if(rp.x<0.&&abs(rp.y/scale)<.11&&z>.42&&z<.80){ // number on the back
      float u=rp.y/scale/.11, w=(z-.42)/.38; bool d1=(u>.1&&u<.9)&&(w>.82||w<.12||(w>.44&&w<.56)||(u<.32&&w<.56)||(u>.68&&w>.44)); bool d2=(u<-.38&&u>-.62);
      if(d1||d2) c=trim; } }
 if(rg==5){ if(abs(rp.x/scale)<.025&&abs(rp.y/scale)>.17) c=mix(c,trim,.85); }
 if(rg==6){ float z=(kneeZ-rp.z)/kneeZ; if(z>.25&&z<.36) c=trim; if(z>.42&&z<.50) c=trim; }
 if(rg==7){ spec=.25; gl=30.; if(rp.x/scale<.03&&rp.z/scale>.10) c*=1.6; if(rp.x/scale>.17&&rp.z/scale<.05) c=c*1.5; 
   float lace=step(.5,fract(rp.z/scale*55.)); if(abs(rp.y/scale-sign(rp.y)*abs(eyeL.z))<.02 && rp.x/scale>.04) c=mix(c,vec3(.85),lace*.8);}
 if(rg==8){ spec=.12; c*=.85+.3*vn(rp/scale*60.); if(vn(rp/scale*18.)>.72) c=mix(c,trim,.35); }
 if(rg==9){ spec=.55; gl=55.; }
 if(rg==10){ spec=.9; gl=60.; }
 if(rg==3){ spec=.5; gl=60.; vec2 d=(rp.yz-vec2(sign(rp.y)*abs(eyeL.x),eyeL.y)); float r=length(d)/scale; if(r<.0062) c=vec3(.25,.16,.10); if(r<.0028) c=vec3(.02);}
 if(rg==0){ float b=vn(rp/scale*70.); c*=.95+.08*b; vec3 e=rp; float ch=exp(-pow(length(vec2(abs(rp.y)-.045*scale,rp.z-(eyeL.y-.045*scale)))/(.022*scale),2.)); c=mix(c,c*vec3(1.05,.80,.78),ch*.6);}
 vec3 q=lp.xyz/lp.w*.5+.5; float sh=0.;
 if(mirror<.5) for(int i=-2;i<=2;i+=2)for(int j=-2;j<=2;j+=2){ float d=texture(shadow,q.xy+vec2(i,j)*.004).r; sh+= (q.z-.006>d)?1.:0.; }
 sh/=9.;
 float hemi=.5+.5*N.z;                           // big bright roof lights + white ice from below
 vec3 amb=mix(vec3(.46,.49,.54),vec3(.62,.63,.64),hemi);
 vec3 L1=normalize(vec3(.15,-.35,1.)),L2=normalize(vec3(-.5,.6,.8));
 float dif=max(dot(N,L1),0.)*.50*(1.-.75*sh)+max(dot(N,L2),0.)*.22*(1.-.4*sh);
 float rim=pow(1.-max(dot(N,V),0.),3.)*.10;
 vec3 o=c*(amb*(1.-.22*sh)+dif)+rim*vec3(.8,.85,.9);
 vec3 H=normalize(L1+V); o+=spec*pow(max(dot(N,H),0.),gl)*(1.-.7*sh);
 fc=vec4(pow(clamp(o,0.,1.),vec3(1./1.08)),alpha);
} """
FS_MIR = """#version 330
uniform vec3 col[15]; in vec3 wn; flat in int rg0; out vec4 fc;
void main(){ fc=vec4(col[rg0]*(.62+.25*abs(normalize(wn).z)),1.); } """
VS2 = """#version 330
uniform mat4 VP; uniform mat4 LVP; in vec3 p; in vec2 uv; out vec2 t; out vec3 wp; out vec4 lp;
void main(){t=uv; wp=p; lp=LVP*vec4(p,1); gl_Position=VP*vec4(p,1);} """
FS2 = """#version 330
uniform sampler2D tex; uniform sampler2D shadow; uniform float ice; uniform float alpha; uniform vec3 cam;
in vec2 t; in vec3 wp; in vec4 lp; out vec4 fc;
void main(){ vec4 c=texture(tex,t); float a=alpha*c.a;
 if(ice>.5){ vec3 q=lp.xyz/lp.w*.5+.5; float sh=0.;
  if(q.x>0.2&&q.x<.8&&q.y>0.2&&q.y<.8) for(int i=-2;i<=2;i++)for(int j=-2;j<=2;j++){ float d=texture(shadow,q.xy+vec2(i,j)*.009).r; sh+=(q.z-.002>d)?1.:0.; }
  c.rgb*=1.-.38*sh/25.; vec3 V=normalize(cam-wp); float fr=pow(1.-abs(V.z),4.); a=mix(.93,.74,fr); 
  float g=exp(-pow((fract(wp.x/7.)-.5)*5.,2.))*fr; c.rgb+=g*.05; }
 fc=vec4(c.rgb,a);} """


def look_at(eye, tgt, up=(0, 0, 1)):
    eye, tgt = np.array(eye, float), np.array(tgt, float)
    f = tgt - eye
    f /= np.linalg.norm(f)
    r = np.cross(f, up)
    r /= np.linalg.norm(r)
    u = np.cross(r, f)
    m = np.eye(4)
    m[0, :3], m[1, :3], m[2, :3] = r, u, -f
    m[:3, 3] = -m[:3, :3] @ eye
    return m


def persp(hfov_deg, w, h, n=0.15, f=90.0):
    fx = 1 / np.tan(np.radians(hfov_deg) / 2)
    fy = fx * w / h
    return np.array([[fx, 0, 0, 0], [0, fy, 0, 0], [0, 0, -(f + n) / (f - n), -2 * f * n / (f - n)], [0, 0, -1, 0]])


def project(P, VP, w, h):
    """world (..,3) -> pixel u, v, depth w"""
    q = np.concatenate([P, np.ones(P.shape[:-1] + (1,))], -1) @ VP.T
    z = q[..., 3]
    return np.stack([(q[..., 0] / z * .5 + .5) * w, (.5 - q[..., 1] / z * .5) * h, z], -1)


def _noise(rng, h, w, octaves=5):
    o = np.zeros((h, w), np.float32)
    for k in range(octaves):
        n = 2 ** (k + 2)
        o += cv2.resize(rng.random((n, n)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC) / (1.6 ** k)
    o -= o.min()
    return o / o.max()


def make_textures(rng):
    # ice: 61 m x 27.1 m, 24 px / m
    k = 24
    W, H = 61 * k, int((RINK_Y1 - RINK_Y0) * k)
    ice = np.ones((H, W, 3), np.float32) * np.array([.885, .915, .945], np.float32)
    ice *= (0.965 + 0.05 * _noise(rng, H, W))[..., None]
    for _ in range(1400):   # skate scratches
        x, y = rng.integers(0, W), rng.integers(0, H)
        a, l = rng.uniform(0, np.pi), rng.uniform(10, 110)
        d = np.array([np.cos(a), np.sin(a)]) * l
        cv2.line(ice, (int(x), int(y)), (int(x + d[0]), int(y + d[1])), tuple(float(v) for v in rng.choice([.97, .84]) * np.ones(3)), 1, cv2.LINE_AA)
    red, blue = (.78, .16, .20), (.13, .25, .62)

    def vline(x, wid, c):
        ice[:, int((x - wid / 2) * k):int((x + wid / 2) * k)] = c
    vline(30.5, .30, red)
    vline(22.9, .30, blue)
    vline(38.1, .30, blue)
    vline(4, .06, red)
    vline(57, .06, red)
    for cx in (10, 51):
        for cy in (6.8, 20.3):
            cv2.circle(ice, (int(cx * k), int(cy * k)), int(4.5 * k), red, 2, cv2.LINE_AA)
            cv2.circle(ice, (int(cx * k), int(cy * k)), int(.3 * k), red, -1, cv2.LINE_AA)
    cv2.circle(ice, (int(30.5 * k), H // 2), int(4.5 * k), blue, 2, cv2.LINE_AA)
    # boards: 61 m x 1.2 m
    kb = 32
    bw, bh = 61 * kb, int(1.2 * kb)
    bd = np.ones((bh, bw, 3), np.float32) * .90
    x = 0
    while x < bw:
        wd = int(rng.uniform(2, 6) * kb)
        if rng.random() < .6:
            c = rng.uniform(.1, .9, 3)
            bd[4:bh - 10, x + 6:x + wd - 6] = bd[4:bh - 10, x + 6:x + wd - 6] * .25 + .75 * c
            n = rng.integers(3, 9)
            for i in range(n):
                xx = x + 12 + int((wd - 24) * (i + .5) / n)
                cv2.putText(bd, chr(65 + rng.integers(0, 26)), (xx - 8, bh - 15), cv2.FONT_HERSHEY_DUPLEX, .75, tuple(float(v) for v in (1 - c)), 2, cv2.LINE_AA)
        x += wd
    bd[bh - int(.22 * kb):] = (.90, .74, .15)
    bd[:3] = (.15, .25, .6)
    # stands: 90 m x 12 m
    sw, shh = 1800, 300
    st = np.ones((shh, sw, 3), np.float32) * np.array([.16, .17, .20], np.float32)
    seat = rng.uniform(.15, .5, 3)
    for r in range(14):
        y = int(shh - 18 - r * 20)
        st[y:y + 14] = st[y:y + 14] * .4 + .35 * seat
        for i in range(0, sw, 12):
            if rng.random() < .30:
                c = rng.uniform(.08, .75, 3)
                cv2.circle(st, (i + 6, y - 2), 3, tuple(float(v) for v in rng.uniform([.5, .36, .28], [.8, .62, .5])), -1, cv2.LINE_AA)
                cv2.ellipse(st, (i + 6, y + 8), (5, 7), 0, 0, 360, tuple(float(v) for v in c), -1, cv2.LINE_AA)
    st *= np.linspace(.45, .95, shh)[:, None, None]
    st = cv2.GaussianBlur(st, (0, 0), 1.3)
    roof = np.ones((64, 512, 3), np.float32) * np.array([.20, .21, .23], np.float32)
    for i in range(12):
        roof[:, i * 42 + 10:i * 42 + 18] = (1.0, 1.0, .97)
    glass = np.ones((32, 512, 4), np.float32) * np.array([.75, .85, .88, .10], np.float32)
    glass[:, ::21] = (.75, .78, .8, .6)
    glass[:2] = (.8, .8, .8, .7)
    return dict(ice=ice, boards=bd, stands=st, roof=roof, glass=glass)


KITS = [  # jersey, trim, pants, helmet
    ((.72, .10, .12), (.95, .95, .93), (.06, .07, .10), (.08, .08, .09)),
    ((.92, .93, .94), (.10, .22, .55), (.07, .10, .22), (.92, .92, .93)),
    ((.05, .28, .55), (.95, .80, .15), (.05, .08, .20), (.06, .10, .30)),
    ((.95, .55, .08), (.08, .08, .08), (.07, .07, .07), (.07, .07, .07)),
    ((.10, .42, .25), (.95, .95, .90), (.05, .16, .10), (.9, .9, .9)),
    ((.10, .10, .11), (.85, .85, .85), (.06, .06, .07), (.08, .08, .09)),
]
SKINS = [(.86, .66, .55), (.78, .57, .45), (.58, .39, .28), (.36, .23, .16)]


class Figure:
    """One body with its kit: buffers on the card, filled anew for every frame."""

    def __init__(self, rink, body, seed=0, gloves="dark", rng=None):
        c = rink.ctx
        self.body = body
        rng = rng or np.random.default_rng(seed)
        nf = len(body.faces)
        self.corner = body.faces.ravel()
        rest = body.P0[self.corner].astype("f4")          # rest positions carry the pattern of the cloth
        reg = np.repeat(body.freg, 3).astype("f4")
        self.dyn = c.buffer(reserve=nf * 3 * 24, dynamic=True)
        st = c.buffer(np.concatenate([rest, reg[:, None]], 1).astype("f4").tobytes())
        self.vao = c.vertex_array(rink.prog, [(self.dyn, "3f 3f", "p", "n"), (st, "3f 1f", "rest", "reg")])
        self.vao_m = c.vertex_array(rink.prog_m, [(self.dyn, "3f 3f", "p", "n"), (st, "12x 1f", "reg")])
        self.vao_sh = c.vertex_array(rink.prog_sh, [(self.dyn, "3f 12x", "p")])
        kit = KITS[rng.integers(len(KITS))]
        skin = np.array(SKINS[rng.integers(len(SKINS))])
        cols = np.zeros((15, 3), "f4")
        cols[B.SKIN], cols[B.LIPS], cols[B.BROW], cols[B.EYE] = skin, skin * [.86, .60, .58], skin * .35, (.93, .93, .92)
        cols[B.JERSEY], cols[B.PANTS], cols[B.SOCK], cols[B.BOOT] = kit[0], kit[2], kit[0], (.07, .07, .08)
        cols[B.GLOVE], cols[B.HELMET], cols[B.STEEL], cols[B.HOLDER] = np.array(kit[2]) * .9 + .04, kit[3], (.75, .78, .82), (.9, .9, .9)
        if gloves == "light":
            cols[B.GLOVE] = (.92, .90, .30)
        cols[B.STICK], cols[B.BLADETAPE] = (.12, .12, .13), (.06, .06, .06)
        self.cols, self.trim = cols.tobytes(), kit[1]
        e = body.lm0["left_eye"]
        self.values = dict(
            scale=float(body.scale), eyeL=(float(e[1]), float(e[2]), float(body.head0["foot_l"][1] / body.scale)),
            shoulderZ=float(body.head0["upperarm_l"][2]), hemZ=float(body.head0["thigh_l"][2] - .02 * body.scale),
            helm=(float(body.helm[0]), float(body.helm[1])), bootZ=float(body.head0["foot_l"][2] + .095 * body.scale),
            kneeZ=float(body.head0["calf_l"][2]), trim=self.trim)

    def place(self, P, N):
        """Vertices and normals of this frame, world axes."""
        self.centre = P.mean(0)
        self.dyn.write(np.concatenate([P[self.corner], N[self.corner]], 1).astype("f4").tobytes())

    def dress(self, prog):
        prog["col"].write(self.cols)
        for k, v in self.values.items():
            if k in prog:
                prog[k].value = v


class Rink:
    def __init__(self, w=1280, h=720, seed=0):
        self.w, self.h = w, h
        rng = self.rng = np.random.default_rng(seed)
        c = self.ctx = moderngl.create_standalone_context(backend="egl")
        c.enable(moderngl.DEPTH_TEST)
        c.blend_func = moderngl.SRC_ALPHA, moderngl.ONE_MINUS_SRC_ALPHA
        self.prog, self.prog2 = c.program(VS, FS), c.program(VS2, FS2)
        self.prog_sh = c.program("#version 330\nuniform mat4 LVP; in vec3 p; void main(){gl_Position=LVP*vec4(p,1);}", "#version 330\nvoid main(){}")
        self.prog_m = c.program(VS, FS_MIR)
        self.figures = []
        self.fb = c.framebuffer([c.renderbuffer((w, h), 4, samples=4)], c.depth_renderbuffer((w, h), samples=4))
        self.out = c.framebuffer([c.renderbuffer((w, h), 4)])
        self.shadow_px = 512
        self._shadow_map()
        tx = make_textures(rng)
        self.tex = {}
        for k, im in tx.items():
            im = np.clip(im, 0, 1)
            t = c.texture((im.shape[1], im.shape[0]), im.shape[2], (im[::-1] * 255).astype("u1").tobytes(), alignment=1)
            t.build_mipmaps()
            t.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
            t.anisotropy = 8 if k == 'ice' else 1
            self.tex[k] = t
        x0, x1, ya, yb = -30.5, 30.5, RINK_Y0, RINK_Y1

        def quad(a, b, c_, d, u=1.0):
            V = np.array([[*a, 0, 0], [*b, u, 0], [*c_, u, 1], [*a, 0, 0], [*c_, u, 1], [*d, 0, 1]], "f4")
            return c.vertex_array(self.prog2, [(c.buffer(V.tobytes()), "3f 2f", "p", "uv")])
        self.ice = quad((x0, ya, 0), (x1, ya, 0), (x1, yb, 0), (x0, yb, 0))
        H = 1.2
        self.bg = []
        # far side, then both ends (the camera side boards are behind the camera or below it)
        sides = [((x0, yb), (x1, yb), (0, 5)), ((x1, yb), (x1, ya), (5, 0)), ((x0, ya), (x0, yb), (-5, 0))]
        sides.append(((x1, ya - .3), (x0, ya - .3), (0, -5)))
        for i, (p, q, o) in enumerate(sides):
            near = i == 3
            self.bg.append(("stands", quad((p[0] + o[0] * .6 - (q[0] - p[0]) * .2, p[1] + o[1] * .6 - (q[1] - p[1]) * .2, .6), (q[0] + o[0] * .6 + (q[0] - p[0]) * .2, q[1] + o[1] * .6 + (q[1] - p[1]) * .2, .6),
                                           (q[0] + o[0] * 2.4 + (q[0] - p[0]) * .2, q[1] + o[1] * 2.4 + (q[1] - p[1]) * .2, 8.5), (p[0] + o[0] * 2.4 - (q[0] - p[0]) * .2, p[1] + o[1] * 2.4 - (q[1] - p[1]) * .2, 8.5))))
            if not near:
                self.bg.append(("boards", quad((*p, 0), (*q, 0), (*q, H), (*p, H))))
        self.glass = [quad((*p, H), (*q, H), (*q, 3.0), (*p, 3.0)) for p, q, o in sides[:3]]
        self.bg.append(("roof", quad((x0 - 15, ya - 15, 11), (x1 + 15, ya - 15, 11), (x1 + 15, yb + 15, 11), (x0 - 15, yb + 15, 11))))
        self.boards_near = quad((x1, ya, 0), (x0, ya, 0), (x0, ya, H), (x1, ya, H))

    def _shadow_map(self):
        self.shtex = self.ctx.depth_texture((self.shadow_px,) * 2)
        self.shtex.compare_func = ""
        self.shtex.repeat_x = self.shtex.repeat_y = False
        self.shfb = self.ctx.framebuffer(depth_attachment=self.shtex)

    def add(self, body, seed=0, gloves="dark"):
        """Puts a person into the rink.  The first one's kit comes from the rink's own seed."""
        f = Figure(self, body, seed, gloves, None if self.figures else self.rng)
        self.figures.append(f)
        if len(self.figures) == 2:                        # a wider light needs a finer map
            self.shadow_px = 2048
            self._shadow_map()
        return f

    def draw(self, V, Pm, eye):
        """The picture of the figures as they were placed: V view, Pm projection. Returns uint8 RGB."""
        c = self.ctx
        VP = (Pm @ V).astype("f4")
        where = np.array([f.centre for f in self.figures])
        ctr = where.mean(0)
        Lv = look_at((ctr[0] + .35, ctr[1] - .8, 6), (ctr[0], ctr[1], 0), (1, 0, 0))
        s = max(2.0, (np.abs(where - ctr)[:, :2].max() + 1.2) / 0.6)      # half the width of the light, metres
        Lp = np.array([[1 / s, 0, 0, 0], [0, 1 / s, 0, 0], [0, 0, -2 / 9.9, -10.1 / 9.9], [0, 0, 0, 1]])
        LVP = (Lp @ Lv).astype("f4").T.tobytes()
        self.shfb.use()
        self.shfb.clear(depth=1.0)
        self.prog_sh["LVP"].write(LVP)
        for f in self.figures:
            f.vao_sh.render()
        self.fb.use()
        self.fb.clear(.12, .13, .15)
        vp = VP.T.tobytes()
        e = tuple(float(x) for x in eye)
        for pr in (self.prog, self.prog2):
            pr["VP"].write(vp)
            pr["LVP"].write(LVP)
            pr["cam"].value = e
            pr["shadow"].value = 1
        self.shtex.use(1)
        self.prog2["tex"].value = 0
        self.prog2["ice"].value, self.prog2["alpha"].value = 0., 1.
        c.disable(moderngl.BLEND)
        for k, q in self.bg:
            self.tex[k].use(0)
            q.render()
        if eye[1] > RINK_Y0:
            self.tex["boards"].use(0)
            self.boards_near.render()
        # reflection in the ice
        self.prog_m["mirror"].value, self.prog["alpha"].value = 1., 1.
        self.prog_m["VP"].write(vp)
        c.enable(moderngl.CULL_FACE)
        c.front_face = "cw"
        for f in self.figures:
            f.dress(self.prog_m)
            f.vao_m.render()
        c.disable(moderngl.CULL_FACE)
        c.enable(moderngl.BLEND)
        self.prog2["ice"].value = 1.
        self.tex["ice"].use(0)
        self.ice.render()
        c.disable(moderngl.BLEND)
        self.prog["mirror"].value = 0.
        c.enable(moderngl.CULL_FACE)
        c.front_face = "ccw"
        for f in self.figures:
            f.dress(self.prog)
            f.vao.render()
        c.disable(moderngl.CULL_FACE)
        c.enable(moderngl.BLEND)
        self.prog2["ice"].value = 0.
        self.tex["glass"].use(0)
        self.fb.depth_mask = False
        for q in self.glass:
            q.render()
        self.fb.depth_mask = True
        c.copy_framebuffer(self.out, self.fb)
        im = np.frombuffer(self.out.read(components=3, alignment=1), "u1").reshape(self.h, self.w, 3)[::-1]
        return im

