//! The curve a push is found in: how far a leg is into its push.
//!
//! A push moves the skate away from the body, back and out, and opens the
//! knee. How much of the distance the picture shows depends on where the
//! skater is: little where the push points at the camera (a far leg seen from
//! an oblique camera, a near leg at the edge of a side view). The knee's
//! opening is seen from the side and not from front or rear. The drive weighs
//! the two accordingly. From the side the knee also tells the end of the push
//! from the recovery, where the skate hangs behind the body just as far.

use super::{Curves, Leg, LegPoints, Place, leg_points};
use crate::body::{BodyPoint, ModelKind};
use crate::calibration::Calibration;
use crate::config::Lane;
use crate::geometry::{Camera, included_deg};

/// A long push, as a share of stature: there the drive is about 1.
const LONG_PUSH_SHARE: f64 = 0.35;
/// Knee angles between which the drive of an opening leg goes from 0 to 1.
const BENT_DEG: f64 = 100.0;
const STRAIGHT_DEG: f64 = 170.0;
/// Below the first share of a push's length that the picture shows, the
/// distance does not count; above the second it counts in full.
const SHOWN_LITTLE: f64 = 0.25;
const SHOWN_WELL: f64 = 0.50;

/// The drive of one leg.
pub struct Drive {
    /// Sample by sample; about 0 with the skate under the body.
    pub curve: Vec<f64>,
    /// The distance part alone, metres from under the body.
    pub away_m: Vec<f64>,
    /// How much of it is knee rather than distance, 0 to 1.
    knee_share: Vec<f64>,
    /// How long before its toe-off the leg is straightest, cycles.
    straight_before: f64,
}

impl Drive {
    /// How much of the drive at a sample is knee rather than distance.
    pub fn knee_share(&self, i: usize) -> f64 {
        self.knee_share.get(i).copied().unwrap_or(0.0)
    }

    /// How long after the top of the curve the skate leaves the ice, seconds.
    pub fn toe_off_after_s(&self, i: usize, cycle_s: f64) -> f64 {
        self.knee_share(i) * self.straight_before * cycle_s
    }
}

/// The drive curves of both legs, left first.
pub fn drive_curves(camera: &Camera, curves: &Curves, place: &Place, lane: &Lane) -> [Drive; 2] {
    Leg::BOTH.map(|leg| drive_of(leg, camera, curves, place, lane))
}

fn drive_of(leg: Leg, camera: &Camera, curves: &Curves, place: &Place, lane: &Lane) -> Drive {
    let stature_m = lane.skater_height_m;
    // It is the same for every model.
    let calibration = Calibration::of_lane(lane, ModelKind::default());
    let left = place.left();
    let half = std::f64::consts::FRAC_1_SQRT_2;
    let push: [f64; 2] =
        std::array::from_fn(|i| half * (leg.leftward() * left[i] - place.heading[i]));
    let LegPoints {
        hip, knee, ankle, ..
    } = leg_points(leg);
    let (mut curve, mut aways_m, mut knee_share) = (Vec::new(), Vec::new(), Vec::new());
    for (i, row) in curves.points.iter().enumerate() {
        let hips = curves.mid(i, BodyPoint::LeftHip as usize, BodyPoint::RightHip as usize);
        // 1 square from the side, 0 straight from front or rear
        let sideways = across_picture(camera, place.heading, hips).abs().min(1.0);
        let m_per_px = place.metres_per_px[i];
        // what the picture shows of a metre of push, signed, across the picture
        let shown = across_picture(camera, push, row[ankle]);
        let size = shown.abs();
        let far_seen = ((size - SHOWN_LITTLE) / (SHOWN_WELL - SHOWN_LITTLE)).clamp(0.0, 1.0);
        let away_m = (row[ankle][0] - hips[0]) * m_per_px * shown.signum() / size.max(SHOWN_LITTLE);
        let open_deg = included_deg(row[hip], row[knee], row[ankle]).unwrap_or(BENT_DEG);
        let open = (open_deg - BENT_DEG) / (STRAIGHT_DEG - BENT_DEG);
        let knee_seen = sideways * (1.0 - 0.5 * far_seen);
        curve.push(far_seen * away_m / (LONG_PUSH_SHARE * stature_m) + knee_seen * open);
        aways_m.push(away_m);
        knee_share.push(knee_seen / (knee_seen + far_seen));
    }
    Drive {
        curve,
        away_m: aways_m,
        knee_share,
        straight_before: calibration.straight_before_toe_off_cycles(),
    }
}

/// Metres across the picture for one metre in a horizontal world direction,
/// at a picture point.
fn across_picture(camera: &Camera, world: [f64; 2], px: [f64; 2]) -> f64 {
    let [right, _, axis] = camera
        .axes()
        .map(|row| row[0] * world[0] + row[1] * world[1]);
    right - (px[0] - camera.cx_px) / camera.focal_px * axis
}
