//! Light, noise, bodies and a stand that sways before the camera made of software.

use std::f64::consts::TAU;

use kickplate::capture::Frame;

use super::scene::{Knock, Scene};

/// Something that is no knock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Disturbance {
    /// What every hall has: a stand that trembles, grain, lamps that flicker a little.
    Usual,
    Empty,
    Sway,
    Flicker,
    LightSteps,
    HalfOff,
    Leaning,
    Soft,
    Noise,
    Exposure,
    Crossing,
    Busy,
    Standing,
}

impl Disturbance {
    pub(super) const ALL: [Disturbance; 12] = [
        Disturbance::Empty,
        Disturbance::Sway,
        Disturbance::Flicker,
        Disturbance::LightSteps,
        Disturbance::HalfOff,
        Disturbance::Leaning,
        Disturbance::Soft,
        Disturbance::Noise,
        Disturbance::Exposure,
        Disturbance::Crossing,
        Disturbance::Busy,
        Disturbance::Standing,
    ];

    pub(super) fn name(self) -> &'static str {
        match self {
            Disturbance::Usual => "the usual",
            Disturbance::Empty => "an empty rink",
            Disturbance::Sway => "a stand that sways by 2 px of 1280",
            Disturbance::Flicker => "flickering lamps, bands of 50 Hz against 60",
            Disturbance::LightSteps => "all lamps brighter and darker by steps",
            Disturbance::HalfOff => "half of the lamps off, then on",
            Disturbance::Leaning => "somebody leans on the glass for 20 s at a time",
            Disturbance::Soft => "a picture that becomes soft",
            Disturbance::Noise => "grain and blocks of a poor camera",
            Disturbance::Exposure => "exposure and white balance that drift",
            Disturbance::Crossing => "people crossing all the time",
            Disturbance::Busy => "the clip's own skaters all the time",
            Disturbance::Standing => "two people who stand in the lane",
        }
    }
}

/// A film of a scene.
pub(super) struct Film<'s> {
    scene: &'s Scene,
    what: Disturbance,
    random: u64,
    phase: f64,
    seq: u64,
}

impl<'s> Film<'s> {
    pub(super) fn new(scene: &'s Scene, what: Disturbance, seed: u64) -> Self {
        let mut film = Film {
            scene,
            what,
            random: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xA5A5,
            phase: 0.0,
            seq: 0,
        };
        film.phase = film.chance();
        film
    }

    /// A number from 0 to 1 (splitmix64: S. Vigna, from memory).
    fn chance(&mut self) -> f64 {
        self.random = self.random.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.random;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// The picture at a time, of a camera that was knocked like this.
    pub(super) fn picture(&mut self, at_s: f64, knock: Knock) -> Frame {
        use Disturbance as D;
        let (width, height) = (self.scene.width, self.scene.height);
        let busy = (self.what == D::Busy).then_some((at_s * 2.0) as usize);
        let mut out = self.scene.seen(knock.and(self.sway(at_s)), busy);
        let bodies = self.bodies(at_s);
        for (k, body) in bodies.iter().enumerate() {
            draw(&mut out, width, *body, k, at_s);
        }
        if self.what == D::Soft && at_s > 20.0 {
            let radius = if at_s > 50.0 { 2 } else { 1 };
            soften(&mut out, width, radius);
        }
        let noise = match self.what {
            D::Noise => 9.0,
            D::Empty => 1.0,
            _ => 3.0,
        };
        let blocks = match self.what {
            D::Noise => 5.0,
            _ => 1.0,
        };
        let mut rgb = Vec::with_capacity(width * height * 3);
        let mut block_error = vec![0.0_f32; width.div_ceil(8)];
        for y in 0..height {
            if y % 8 == 0 {
                for error in &mut block_error {
                    *error = ((self.chance() - 0.5) * 2.0 * blocks) as f32;
                }
            }
            for x in 0..width {
                let light = self.light(at_s, x as f64 / width as f64, y as f64 / height as f64);
                // Two even numbers make a triangle: near enough to a bell.
                let grain = ((self.chance() + self.chance() - 1.0) * 2.4 * noise) as f32;
                let pixel = out[y * width + x];
                for (v, gain) in pixel.iter().zip(light) {
                    let v = v * gain as f32 + grain + block_error[x / 8];
                    rgb.push(v.clamp(0.0, 255.0) as u8);
                }
            }
        }
        self.seq += 1;
        Frame {
            seq: self.seq,
            captured_at_s: at_s,
            width: width as u32,
            height: height as u32,
            rgb,
        }
    }

    /// A stand that trembles, as a turn.
    fn sway(&self, at_s: f64) -> Knock {
        let px = match self.what {
            Disturbance::Sway => 2.0,
            Disturbance::Empty => 0.0,
            _ => 0.7,
        };
        let deg = px / 1280.0 * self.scene.lane.hfov_deg;
        let swing = |hertz: f64, phase: f64| (TAU * (hertz * at_s + phase + self.phase)).sin();
        Knock {
            turn_deg: [deg * swing(0.83, 0.0), 0.6 * deg * swing(1.27, 0.4), 0.0],
            ..Knock::default()
        }
    }

    /// By how much red, green and blue are brighter at a place of the picture (0 to 1).
    fn light(&self, at_s: f64, x: f64, y: f64) -> [f64; 3] {
        use Disturbance as D;
        match self.what {
            D::Flicker => {
                // Rows are read one after another while the lamps beat against the shutter.
                let band = (TAU * (1.3 * y + 0.37 * at_s + self.phase)).sin();
                [1.0 + 0.25 * band; 3]
            }
            D::LightSteps => {
                let steps = [1.0, 0.6, 1.3, 0.45, 0.9];
                [steps[(at_s / 17.0) as usize % steps.len()]; 3]
            }
            D::HalfOff => {
                let off = (at_s / 20.0) as usize % 2 == 1;
                let share = 1.0 / (1.0 + ((x - 0.5) * 14.0).exp());
                [if off { 1.0 - 0.62 * share } else { 1.0 }; 3]
            }
            D::Exposure => {
                let gain = 1.0 + 0.45 * (TAU * at_s / 60.0).sin();
                let warm = 0.15 * (TAU * at_s / 47.0).sin();
                [gain * (1.0 + warm), gain, gain * (1.0 - warm)]
            }
            D::Usual => [1.0 + 0.06 * (TAU * (1.3 * y + 0.41 * at_s)).sin(); 3],
            _ => [1.0; 3],
        }
    }

    /// Boxes of bodies, shares of the picture: left, top, right, bottom.
    fn bodies(&self, at_s: f64) -> Vec<[f64; 4]> {
        match self.what {
            // Half as wide as the picture, before the camera.
            Disturbance::Leaning if (at_s / 20.0) as usize % 2 == 1 => {
                let sway = 0.01 * (0.9 * at_s).sin();
                vec![[0.3 + sway, 0.15, 0.75 + sway, 1.0]]
            }
            Disturbance::Standing if at_s > 10.0 => {
                vec![[0.28, 0.25, 0.37, 0.8], [0.62, 0.3, 0.7, 0.82]]
            }
            Disturbance::Crossing => (0..6)
                .map(|k| {
                    let speed = 0.11 + 0.05 * f64::from(k);
                    let way = (speed * at_s + 0.17 * f64::from(k)).fract() * 1.3 - 0.15;
                    let x = if k % 2 == 0 { way } else { 1.0 - way };
                    let near = 0.3 + 0.09 * f64::from(k);
                    [x, 0.85 - near, x + 0.25 * near, 0.9]
                })
                .collect(),
            _ => Vec::new(),
        }
    }
}

/// A body as a striped oval.
fn draw(out: &mut [[f32; 3]], width: usize, body: [f64; 4], kind: usize, at_s: f64) {
    let height = out.len() / width;
    let [left, top, right, bottom] = body;
    for y in 0..height {
        for x in 0..width {
            let (u, v) = (x as f64 / width as f64, y as f64 / height as f64);
            let (u, v) = ((u - left) / (right - left), (v - top) / (bottom - top));
            if (u - 0.5).powi(2) + (v - 0.5).powi(2) > 0.25 {
                continue;
            }
            let stripe = (14.0 * v + 3.0 * u + 0.3 * (2.0 * at_s).sin()).sin();
            let tone = 70.0 + 25.0 * (kind % 4) as f32 + 50.0 * stripe as f32;
            out[y * width + x] = [tone, tone * 0.8, tone * 0.6];
        }
    }
}

/// A square blur, twice.
fn soften(out: &mut [[f32; 3]], width: usize, radius: usize) {
    let height = out.len() / width;
    for _ in 0..2 {
        let before = out.to_vec();
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0.0_f32; 3];
                let mut n = 0.0;
                for row in y.saturating_sub(radius)..(y + radius + 1).min(height) {
                    for column in x.saturating_sub(radius)..(x + radius + 1).min(width) {
                        for (sum, v) in sum.iter_mut().zip(before[row * width + column]) {
                            *sum += v;
                        }
                        n += 1.0;
                    }
                }
                out[y * width + x] = sum.map(|v| v / n);
            }
        }
    }
}
