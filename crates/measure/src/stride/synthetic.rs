//! A stick skater for tests: strides of known angles, projected by the lane's
//! own camera. Written for these tests; the rendered skaters are another
//! program.

use crate::body::{Landmark, POINTS};
use crate::config::{Lane, Subject, Travel, View};
use crate::geometry::{Camera, included_deg};
use crate::track::{Pass, Sample};

use super::Leg;

/// What the skater does.
#[derive(Debug, Clone, Copy)]
pub struct Skater {
    /// Stature, metres.
    pub height_m: f64,
    /// Included knee angle at the end of the glide, degrees.
    pub knee_deg: f64,
    /// Included knee angle at the end of the push, degrees.
    pub extension_deg: f64,
    /// Ankles beside the middle line as the leg comes back, metres.
    pub recovery_aside_m: f64,
    /// Wrist past the middle line at the front of its swing, metres.
    pub cross_m: f64,
    /// Lean of the trunk from the vertical, degrees.
    pub lean_deg: f64,
    /// Toe turned out at the end of the push, degrees.
    pub toe_out_deg: f64,
    /// Speed, metres a second.
    pub speed_mps: f64,
    /// Cycles of both legs a second.
    pub cycles_hz: f64,
    /// Phase of a leg's cycle at which its side's arm is at the front.
    pub arm_front_at: f64,
    /// Phase of a leg's cycle at which it starts to push.
    pub push_at: f64,
}

impl Default for Skater {
    fn default() -> Self {
        Skater {
            height_m: 1.75,
            knee_deg: 105.0,
            extension_deg: 166.0,
            recovery_aside_m: 0.06,
            cross_m: -0.15,
            lean_deg: 42.0,
            toe_out_deg: 35.0,
            speed_mps: 5.0,
            cycles_hz: 1.25,
            arm_front_at: 0.56,
            push_at: PUSH_AT,
        }
    }
}

/// Phases of a leg's cycle: the push starts, the skate leaves the ice.
pub const PUSH_AT: f64 = 0.26;
pub const TOE_OFF_AT: f64 = 0.60;

const THIGH: f64 = 0.245;
const SHANK: f64 = 0.246;
const ANKLE: f64 = 0.083;
const HALF_HIPS: f64 = 0.0625;

pub(crate) fn leg_length(knee_deg: f64) -> f64 {
    (THIGH * THIGH + SHANK * SHANK - 2.0 * THIGH * SHANK * knee_deg.to_radians().cos()).sqrt()
}

fn ease(s: f64) -> f64 {
    0.5 - 0.5 * (std::f64::consts::PI * s.clamp(0.0, 1.0)).cos()
}

impl Skater {
    /// Phase of a leg at a time.
    pub fn phase(&self, leg: Leg, t_s: f64) -> f64 {
        let half = if leg == Leg::Right { 0.5 } else { 0.0 };
        (t_s * self.cycles_hz + half).rem_euclid(1.0)
    }

    /// Times of the toe-offs of a leg in a span, seconds.
    pub fn toe_offs_s(&self, leg: Leg, from_s: f64, to_s: f64) -> Vec<f64> {
        let half = if leg == Leg::Right { 0.5 } else { 0.0 };
        (-20..60)
            .map(|c| (f64::from(c) + TOE_OFF_AT - half) / self.cycles_hz)
            .filter(|t| (from_s..=to_s).contains(t))
            .collect()
    }

    /// All points: along the travel, to its left, above the ice; metres from
    /// the skater's place.
    pub fn points_m(&self, t_s: f64) -> [[f64; 3]; POINTS] {
        let h = self.height_m;
        let hip_up = h * (ANKLE + (leg_length(self.knee_deg).powi(2) - 0.045_f64.powi(2)).sqrt());
        let mut p = [[0.0; 3]; POINTS];
        let lean = self.lean_deg.to_radians();
        let shoulder = [0.288 * h * lean.sin(), hip_up + 0.288 * h * lean.cos()];
        for point in p.iter_mut().take(11) {
            *point = [shoulder[0] + 0.08 * h, 0.0, shoulder[1] + 0.12 * h];
        }
        for (leg, k) in [(Leg::Left, 0), (Leg::Right, 1)] {
            let (s, ph) = (leg.leftward(), self.phase(leg, t_s));
            let hip = [0.0, s * HALF_HIPS * h, hip_up];
            let (ankle, toe_out) = self.ankle(leg, ph, hip_up);
            let knee = knee_between(hip, ankle, h);
            let f = [toe_out.cos(), s * toe_out.sin()];
            p[23 + k] = hip;
            p[25 + k] = knee;
            p[27 + k] = ankle;
            p[29 + k] = [
                ankle[0] - 0.04 * h * f[0],
                ankle[1] - 0.04 * h * f[1],
                ankle[2] - 0.025 * h,
            ];
            p[31 + k] = [
                ankle[0] + 0.10 * h * f[0],
                ankle[1] + 0.10 * h * f[1],
                ankle[2] - 0.025 * h,
            ];
            p[11 + k] = [shoulder[0], s * 0.11 * h, shoulder[1]];
            // the arm of the pushing side comes forward during the push
            let swing = (2.0 * std::f64::consts::PI * (ph - self.arm_front_at)).cos();
            let front = ((1.0 + swing) / 2.0).powf(1.6);
            let across = 0.2 * h * (1.0 - front) - self.cross_m * front;
            let wrist = [
                shoulder[0] + 0.16 * h * swing,
                s * across,
                shoulder[1] - 0.24 * h,
            ];
            // the elbow is drawn along when the hand goes far across
            let elbow = (across + 0.10 * h).min(0.15 * h);
            p[13 + k] = [shoulder[0] - 0.05 * h, s * elbow, shoulder[1] - 0.14 * h];
            for hand in [15, 17, 19, 21] {
                p[hand + k] = wrist;
            }
        }
        p
    }

    fn ankle(&self, leg: Leg, ph: f64, hip_up: f64) -> ([f64; 3], f64) {
        let h = self.height_m;
        let down = hip_up / h - ANKLE;
        let out = (leg_length(self.extension_deg).powi(2) - down * down)
            .max(0.0)
            .sqrt()
            * std::f64::consts::FRAC_1_SQRT_2;
        let inward = HALF_HIPS - self.recovery_aside_m / h;
        let (touchdown, glide) = ([0.09, -inward], [0.02, -0.5 * inward]);
        let lerp =
            |a: [f64; 2], b: [f64; 2], e: f64| [a[0] + (b[0] - a[0]) * e, a[1] + (b[1] - a[1]) * e];
        let pushed = [-out, out];
        let (rel, lift, turned) = if ph < self.push_at {
            (lerp(touchdown, glide, ease(ph / self.push_at)), 0.0, 0.1)
        } else if ph < TOE_OFF_AT {
            let s = (ph - self.push_at) / (TOE_OFF_AT - self.push_at);
            (lerp(glide, pushed, ease(s)), 0.0, s)
        } else {
            let s = (ph - TOE_OFF_AT) / (1.0 - TOE_OFF_AT);
            // back under the body first across, then along
            let across = lerp(pushed, touchdown, ease(s / 0.6))[1];
            let along = lerp(pushed, touchdown, ease(s))[0];
            (
                [along, across],
                0.06 * (std::f64::consts::PI * s).sin(),
                1.0 - s,
            )
        };
        let toe_out = self.toe_out_deg.to_radians() * turned;
        let aside = leg.leftward() * (HALF_HIPS + rel[1]) * h;
        ([rel[0] * h, aside, (ANKLE + lift) * h], toe_out)
    }

    /// Largest or smallest true knee angle of a leg over a span of phases.
    pub fn knee_deg_over(&self, leg: Leg, phases: (f64, f64), largest: bool) -> f64 {
        let half = if leg == Leg::Right { 0.5 } else { 0.0 };
        let k = leg as usize;
        let angles = (0..=200).map(|i| {
            let ph = phases.0 + (phases.1 - phases.0) * f64::from(i) / 200.0;
            let p = self.points_m((ph + 1.0 - half) / self.cycles_hz);
            included_deg(p[23 + k], p[25 + k], p[27 + k]).expect("bones have a length")
        });
        if largest {
            angles.fold(0.0, f64::max)
        } else {
            angles.fold(180.0, f64::min)
        }
    }

    /// A pass in view of a lane's camera, as the tracker would give it.
    pub fn pass(&self, lane: &Lane, fps: f64) -> Pass {
        let camera = Camera::of_lane(lane, 1280, 720);
        let (start, heading) = match lane.view {
            View::Front => ([0.0, 16.0], [0.0, -1.0]),
            View::Rear => ([0.0, 4.5], [0.0, 1.0]),
            View::Side | View::Oblique => ([-3.3, lane.lane_distance_m], [1.0, 0.0]),
        };
        let far_m = if lane.view == View::Side { 6.6 } else { 11.5 };
        let n = (far_m / self.speed_mps * fps) as usize;
        let left = [-heading[1], heading[0]];
        let samples = (0..n)
            .map(|i| {
                let t_s = i as f64 / fps;
                let at = [0, 1].map(|a| start[a] + heading[a] * self.speed_mps * t_s);
                let points = self.points_m(t_s).map(|q| {
                    let world = [
                        at[0] + q[0] * heading[0] + q[1] * left[0],
                        at[1] + q[0] * heading[1] + q[1] * left[1],
                        q[2],
                    ];
                    let px = camera.project(world).expect("in front of the camera");
                    Landmark {
                        x_px: px[0] as f32,
                        y_px: px[1] as f32,
                        z_px: 0.0,
                        visibility: 1.0,
                    }
                });
                Sample {
                    t_s,
                    points,
                    legs: None,
                    clarity: None,
                    lane_m: Some(at),
                }
            })
            .collect();
        Pass {
            track_id: 1,
            samples,
            frame_px: [1280, 720],
            speed_mps: self.speed_mps,
            heading,
        }
    }
}

pub(crate) fn knee_between(hip: [f64; 3], ankle: [f64; 3], h: f64) -> [f64; 3] {
    let v: [f64; 3] = std::array::from_fn(|i| ankle[i] - hip[i]);
    let d = v.iter().map(|c| c * c).sum::<f64>().sqrt();
    let u = v.map(|c| c / d);
    let (a, b) = (THIGH * h, SHANK * h);
    let along = ((a * a + d * d - b * b) / (2.0 * d)).clamp(-a, a);
    let off = (a * a - along * along).max(0.0).sqrt();
    // forward, made square to the leg
    let f = [1.0 - u[0] * u[0], -u[0] * u[1], -u[0] * u[2]];
    let n = f.iter().map(|c| c * c).sum::<f64>().sqrt();
    std::array::from_fn(|i| hip[i] + u[i] * along + off * f[i] / n)
}

/// A lane of a view, with the skater's stature.
pub fn lane(view: View, skater: &Skater) -> Lane {
    Lane {
        view,
        camera_height_m: 1.2,
        tilt_deg: if view == View::Side { 2.7 } else { 1.2 },
        hfov_deg: 62.0,
        roll_deg: 0.0,
        lane_distance_m: if view == View::Side { 6.0 } else { 0.0 },
        travel: match view {
            View::Front => Travel::Toward,
            View::Rear => Travel::Away,
            View::Side | View::Oblique => Travel::LeftToRight,
        },
        skater_height_m: skater.height_m,
        // It strides as the rendered skaters do.
        subject: Subject::Rendered,
        errors: Default::default(),
        checked: None,
    }
}
