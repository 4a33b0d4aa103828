//! Push width.

use super::{NO_PUSH, Quantity, QuantityUnit, deviation, pushes};
use crate::config::View;
use crate::pose::BodyPoint;
use crate::rules::table::read::{across_m, mean, of_adult};
use crate::rules::{JudgedPush, Measure};
use crate::stride::{Leg, PassMotion};

/// How far out to the side of its hip the skate is at the toe-off.
pub const QUANTITY: Quantity = Quantity {
    key: "push_width_m",
    unit: QuantityUnit::Metre,
    views: &[View::Front, View::Rear],
    short: "push width",
    long: "How far to the side of its hip the pushing leg's ankle is at the toe-off, mean of both legs.",
    source: "uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, metres, at an adult's stature: of a skater and of one
/// push.
const OF_SKATER_M: f64 = 0.02;
const OF_PUSH_M: f64 = 0.02;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    let widths: Vec<f64> = motion
        .pushes
        .iter()
        .map(|push| {
            let (hip, ankle) = match push.leg {
                Leg::Left => (BodyPoint::LeftHip, BodyPoint::LeftAnkle),
                Leg::Right => (BodyPoint::RightHip, BodyPoint::RightAnkle),
            };
            let i = motion.curves.index_at(push.toe_off_s);
            across_m(motion, i, hip, ankle) * push.leg.leftward()
        })
        .collect();
    let adult = of_adult(&motion.lane);
    match mean(&widths) {
        Some(width_m) => Measure::judged(
            width_m,
            adult * deviation(OF_SKATER_M, OF_PUSH_M, widths.len()),
            format!("mean of {}", pushes(widths.len())),
        ),
        None => Measure::not_judged(NO_PUSH),
    }
}
