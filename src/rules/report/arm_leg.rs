//! Arm against leg.

use super::{NO_PUSH, Quantity, QuantityUnit, deviation, pushes};
use crate::config::View;
use crate::geometry::parabola_peak;
use crate::pose::BodyPoint;
use crate::rules::table::read::{across_m, mean};
use crate::rules::{JudgedPush, Measure};
use crate::stride::{Leg, PassMotion, Push};

/// When the arm is at the front of its swing, after the toe-off of its side.
pub const QUANTITY: Quantity = Quantity {
    key: "arm_leg_timing_s",
    unit: QuantityUnit::Second,
    views: &View::ALL,
    short: "arm after leg",
    long: "When the hand is at the front of its swing, counted from the toe-off of the same side's leg; negative is before it.",
    source: "uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, seconds: of a skater and of one push.
const OF_SKATER_S: f64 = 0.04;
const OF_PUSH_S: f64 = 0.04;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    if motion.pushes.is_empty() {
        return Measure::not_judged(NO_PUSH);
    }
    let times: Vec<f64> = motion
        .pushes
        .iter()
        .filter(|p| p.near_leg != Some(false))
        .filter_map(|push| front_of_swing_s(motion, push))
        .collect();
    match mean(&times) {
        Some(s) => Measure::judged(
            s,
            deviation(OF_SKATER_S, OF_PUSH_S, times.len()),
            format!("mean of {}", pushes(times.len())),
        ),
        None => Measure::not_judged("no hand was seen at the front of its swing"),
    }
}

/// When the hand of a push's side is farthest forward (from front and rear:
/// farthest inward, which is the same moment), seconds after the toe-off.
fn front_of_swing_s(motion: &PassMotion, push: &Push) -> Option<f64> {
    let (shoulder, other, wrist) = match push.leg {
        Leg::Left => (
            BodyPoint::LeftShoulder,
            BodyPoint::RightShoulder,
            BodyPoint::LeftWrist,
        ),
        Leg::Right => (
            BodyPoint::RightShoulder,
            BodyPoint::LeftShoulder,
            BodyPoint::RightWrist,
        ),
    };
    let forward = |i: usize| match motion.lane.view {
        View::Side | View::Oblique => {
            let row = &motion.curves.points[i];
            let across = (row[wrist as usize][0]
                - (row[shoulder as usize][0] + row[other as usize][0]) / 2.0)
                * motion.place.metres_per_px[i];
            across * motion.place.heading[0].signum()
        }
        View::Front | View::Rear => {
            (across_m(motion, i, shoulder, wrist) - across_m(motion, i, shoulder, other) / 2.0)
                * -push.leg.leftward()
        }
    };
    let half_s = 0.3 * push.cycle_s;
    let from = motion.curves.index_at(push.toe_off_s - half_s);
    let to = motion.curves.index_at(push.toe_off_s + half_s);
    let best = (from..=to).max_by(|&a, &b| forward(a).total_cmp(&forward(b)))?;
    if best == from || best == to || best + 1 >= motion.curves.len() {
        return None;
    }
    let (offset, _) = parabola_peak(forward(best - 1), forward(best), forward(best + 1));
    Some(motion.curves.time_s(best as f64 + offset) - push.toe_off_s)
}
