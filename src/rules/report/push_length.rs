//! Push length.

use super::{NO_PUSH, Quantity, QuantityUnit, deviation, pushes};
use crate::config::View;
use crate::rules::table::read::{Stance, leg_in_space, mean, of_adult};
use crate::rules::{JudgedPush, Measure};
use crate::stride::PassMotion;

/// How far behind its hip the skate is at the toe-off.
pub const QUANTITY: Quantity = Quantity {
    key: "push_length_m",
    unit: QuantityUnit::Metre,
    views: &[View::Side],
    short: "push length",
    long: "How far behind its hip, along the travel, the near leg's ankle is at the toe-off.",
    source: "uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, metres, at an adult's stature: of a skater and of one
/// push.
const OF_SKATER_M: f64 = 0.03;
const OF_PUSH_M: f64 = 0.02;

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
    let lengths: Vec<f64> = near
        .filter_map(|push| {
            let i = motion.curves.index_at(push.toe_off_s);
            let [hip, _, ankle] = leg_in_space(motion, push.leg, Stance::PushedOut, i)?;
            Some(hip[0] - ankle[0])
        })
        .collect();
    let adult = of_adult(&motion.lane);
    match mean(&lengths) {
        Some(length_m) => Measure::judged(
            length_m,
            adult * deviation(OF_SKATER_M, OF_PUSH_M, lengths.len()),
            format!("near leg, {}", pushes(lengths.len())),
        ),
        None => Measure::not_judged("the near leg was too far from square to the camera"),
    }
}
