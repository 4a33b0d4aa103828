//! A stick person for tests who stands on the lane and holds something, projected by
//! the lane's own camera.

use crate::body::{Body, Landmark, POINTS, PoseFrame, Roi};
use crate::config::Lane;
use crate::geometry::Camera;
use crate::stride::synthetic::{knee_between, leg_length};

/// Who stands there.
#[derive(Debug, Clone, Copy)]
pub struct Stander {
    /// Stature, metres.
    pub height_m: f64,
    /// Included angle of both knees, degrees.
    pub knee_deg: f64,
    /// Between the ankles, metres.
    pub ankles_m: f64,
    /// Lean of the trunk from the vertical, degrees.
    pub lean_deg: f64,
    /// Turned from the lane's direction, degrees.
    pub turned_deg: f64,
    /// Along the lane, metres a second.
    pub speed_mps: f64,
    /// From the middle of the lane, metres along it.
    pub along_m: f64,
}

impl Default for Stander {
    fn default() -> Self {
        Stander {
            height_m: 1.75,
            knee_deg: 175.0,
            ankles_m: 0.0875,
            lean_deg: 0.0,
            turned_deg: 0.0,
            speed_mps: 0.0,
            along_m: 0.0,
        }
    }
}

/// The ankle above the ice, and the hip beside the middle, shares of stature.
const ANKLE: f64 = 0.083;
const HALF_HIPS: f64 = 0.050;

impl Stander {
    /// All points: along the look, to its left, above the ice; metres.
    fn points_m(&self) -> [[f64; 3]; POINTS] {
        let h = self.height_m;
        let aside = self.ankles_m / 2.0;
        let across = HALF_HIPS * h - aside;
        let leg = leg_length(self.knee_deg) * h;
        let hip_up = ANKLE * h + (leg * leg - across * across).max(0.0).sqrt();
        let mut p = [[0.0; 3]; POINTS];
        let lean = self.lean_deg.to_radians();
        let shoulder = [0.288 * h * lean.sin(), hip_up + 0.288 * h * lean.cos()];
        for point in p.iter_mut().take(11) {
            *point = [shoulder[0] + 0.05 * h, 0.0, shoulder[1] + 0.12 * h];
        }
        for (k, s) in [(0, 1.0), (1, -1.0)] {
            let (hip, ankle) = (
                [0.0, s * HALF_HIPS * h, hip_up],
                [0.0, s * aside, ANKLE * h],
            );
            p[11 + k] = [shoulder[0], s * 0.129 * h, shoulder[1]];
            for (arm, down) in [(13, 0.15), (15, 0.28), (17, 0.3), (19, 0.3), (21, 0.3)] {
                p[arm + k] = [shoulder[0], s * 0.15 * h, shoulder[1] - down * h];
            }
            p[23 + k] = hip;
            p[25 + k] = knee_between(hip, ankle, h);
            p[27 + k] = ankle;
            p[29 + k] = [-0.04 * h, s * aside, (ANKLE - 0.025) * h];
            p[31 + k] = [0.10 * h, s * aside, (ANKLE - 0.025) * h];
        }
        p
    }

    /// What a pose model that errs in nothing reads of so many seconds at 30 frames a second.
    pub fn frames(&self, lane: &Lane, seconds: f64) -> Vec<PoseFrame> {
        let n = (30.0 * seconds).round() as u64 + 1;
        (0..n).map(|seq| self.frame(lane, seq)).collect()
    }

    fn frame(&self, lane: &Lane, seq: u64) -> PoseFrame {
        let t_s = seq as f64 / 30.0;
        let camera = Camera::of_lane(lane, 1280, 720);
        let way = lane.travel.heading();
        let start = if way[0].abs() > 0.5 {
            [0.0, lane.lane_distance_m]
        } else {
            [0.0, 7.0]
        };
        let at: [f64; 2] =
            std::array::from_fn(|k| start[k] + way[k] * (self.along_m + self.speed_mps * t_s));
        let (sin, cos) = self.turned_deg.to_radians().sin_cos();
        let ahead = [way[0] * cos - way[1] * sin, way[0] * sin + way[1] * cos];
        let left = [-ahead[1], ahead[0]];
        let points = self.points_m().map(|q| {
            let world = [
                at[0] + q[0] * ahead[0] + q[1] * left[0],
                at[1] + q[0] * ahead[1] + q[1] * left[1],
                q[2],
            ];
            let px = camera.project(world).unwrap_or_default();
            Landmark {
                x_px: px[0] as f32,
                y_px: px[1] as f32,
                z_px: 0.0,
                visibility: 1.0,
            }
        });
        let body = Body {
            chain: 1,
            points,
            world_m: [[0.0; 3]; POINTS],
            legs: None,
            presence: 1.0,
            clarity: None,
            roi: Roi::default(),
        };
        PoseFrame {
            seq,
            captured_at_s: t_s,
            width: 1280,
            height: 720,
            bodies: vec![body],
        }
    }
}
