//! What several rules read from a pass.

use crate::config::Lane;
use crate::geometry::{included_deg, lean_from_vertical_deg};
use crate::pose::BodyPoint;
use crate::stride::{PassMotion, Push, leg_points};

/// Width of an adult's boot at the heel, metres, at a stature of 1.78 m;
/// scaled with stature. A set-up value: common practice, no source.
const BOOT_WIDTH_M: f64 = 0.075;

/// Width of the boot at the heel for the lane's skaters, metres.
pub fn boot_width_m(lane: &Lane) -> f64 {
    BOOT_WIDTH_M * lane.skater_height_m / 1.78
}

/// What `read` gives for every sample of a span of time, without the blanks.
pub fn over<T>(
    motion: &PassMotion,
    from_s: f64,
    to_s: f64,
    read: impl Fn(usize) -> Option<T>,
) -> Vec<T> {
    if motion.curves.is_empty() {
        return Vec::new();
    }
    let (from, to) = (motion.curves.index_at(from_s), motion.curves.index_at(to_s));
    (from..=to)
        .filter(|&i| motion.curves.seen[i] && motion.curves.legs_in_frame[i])
        .filter_map(read)
        .collect()
}

/// Included knee angles of the pushing leg, degrees, read in the upright
/// plane along the lane that the leg moves in: so the picture's perspective
/// away from its middle is taken out.
pub fn knee_angles(motion: &PassMotion, push: &Push, from_s: f64, to_s: f64) -> Vec<f64> {
    let leg = leg_points(push.leg);
    over(motion, from_s, to_s, |i| {
        let wall_y_m = motion.place.at_m[i][1];
        let at = |p: usize| motion.camera.on_wall(motion.curves.points[i][p], wall_y_m);
        included_deg(at(leg.hip)?, at(leg.knee)?, at(leg.ankle)?)
    })
}

/// Forward lean of the trunk from the vertical, degrees, from the side.
pub fn trunk_lean_deg(motion: &PassMotion, i: usize) -> Option<f64> {
    use BodyPoint as P;
    let hip = motion
        .curves
        .mid(i, P::LeftHip as usize, P::RightHip as usize);
    let shoulder = motion
        .curves
        .mid(i, P::LeftShoulder as usize, P::RightShoulder as usize);
    let wall_y_m = motion.place.at_m[i][1];
    let (low, high) = (
        motion.camera.on_wall(hip, wall_y_m)?,
        motion.camera.on_wall(shoulder, wall_y_m)?,
    );
    // the lean is measured with y downward
    lean_from_vertical_deg(
        [low[0], -low[1]],
        [high[0], -high[1]],
        motion.place.heading[0].signum(),
    )
}

/// Distance from `a` to `b` across the direction of travel, metres, positive
/// to the skater's left; both points taken at the hips' depth.
pub fn across_m(motion: &PassMotion, i: usize, a: BodyPoint, b: BodyPoint) -> f64 {
    let (p, q) = (
        motion.curves.points[i][a as usize],
        motion.curves.points[i][b as usize],
    );
    let left = motion.place.left();
    let [right_axis, down_axis, _] = motion.camera.axes();
    let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
    let leftward = dx * (right_axis[0] * left[0] + right_axis[1] * left[1])
        + dy * (down_axis[0] * left[0] + down_axis[1] * left[1]);
    leftward * motion.place.metres_per_px[i]
}

/// Smallest value.
pub fn lowest(values: &[f64]) -> Option<f64> {
    values.iter().copied().min_by(f64::total_cmp)
}

/// Largest value.
pub fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().max_by(f64::total_cmp)
}

/// Mean.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Median.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
