//! The line from head to toe.

use super::{NO_PUSH, Quantity, QuantityUnit, deviation, pushes};
use crate::config::View;
use crate::geometry::included_deg;
use crate::pose::BodyPoint;
use crate::rules::table::read::{Stance, leg_in_space, mean};
use crate::rules::{JudgedPush, Measure};
use crate::stride::{Leg, PassMotion};

/// Included shoulder-hip-ankle angle of the pushing side at the toe-off.
pub const QUANTITY: Quantity = Quantity {
    key: "body_line_deg",
    unit: QuantityUnit::Deg,
    views: &[View::Side],
    short: "body line",
    long: "Included shoulder-hip-ankle angle of the near leg's side at its toe-off, as seen square from the side; 180 is one line from head to toe.",
    source: "one line from head to toe: common practice, no source; uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, degrees: of a skater and of one push.
const OF_SKATER_DEG: f64 = 4.0;
const OF_PUSH_DEG: f64 = 3.0;
/// The shoulder joint beside the middle of the body, as a share of stature:
/// half the biacromial width (Drillis and Contini 1966, from memory).
const HALF_SHOULDERS_SHARE: f64 = 0.129;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    let mut near = motion
        .pushes
        .iter()
        .filter(|p| p.near_leg == Some(true))
        .peekable();
    if near.peek().is_none() {
        return Measure::not_judged(match motion.pushes.len() {
            0 => NO_PUSH,
            _ => "only the far leg pushed in view",
        });
    }
    let angles: Vec<f64> = near
        .filter_map(|push| line_deg(motion, push.leg, motion.curves.index_at(push.toe_off_s)))
        .collect();
    match mean(&angles) {
        Some(deg) => Measure::judged(
            deg,
            deviation(OF_SKATER_DEG, OF_PUSH_DEG, angles.len()),
            format!("near leg, {}", pushes(angles.len())),
        ),
        None => Measure::not_judged("the near leg was too far from square to the camera"),
    }
}

/// The angle at a sample, in the plane of travel, degrees.
fn line_deg(motion: &PassMotion, leg: Leg, i: usize) -> Option<f64> {
    let shoulder = match leg {
        Leg::Left => BodyPoint::LeftShoulder,
        Leg::Right => BodyPoint::RightShoulder,
    };
    let aside_m = HALF_SHOULDERS_SHARE * motion.lane.skater_height_m * leg.leftward();
    let (at_m, left) = (motion.place.at_m[i], motion.place.left());
    let through = [at_m[0] + aside_m * left[0], at_m[1] + aside_m * left[1]];
    let shoulder = motion.camera.on_upright_plane(
        motion.curves.peak_points[i][shoulder as usize],
        through,
        motion.place.heading,
    )?;
    let [hip, _, ankle] = leg_in_space(motion, leg, Stance::PushedOut, i)?;
    included_deg(shoulder, [hip[0], hip[2]], [ankle[0], ankle[2]])
}
