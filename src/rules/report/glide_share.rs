//! Glide share.

use super::{NO_PUSH, Quantity, QuantityUnit, deviation, pushes};
use crate::config::View;
use crate::rules::table::read::mean;
use crate::rules::{JudgedPush, Measure};
use crate::stride::PassMotion;

/// The part of a cycle a leg glides on its bent knee before it pushes.
pub const QUANTITY: Quantity = Quantity {
    key: "glide_share",
    unit: QuantityUnit::Share,
    views: &View::ALL,
    short: "glide",
    long: "The part of a cycle in which a leg glides on its bent knee: from the touchdown under the body to the start of its push.",
    source: "phases after Allinger and van den Bogert 1997; uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, shares of a cycle: of a skater and of one push.
const OF_SKATER: f64 = 0.04;
const OF_PUSH: f64 = 0.03;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    let shares: Vec<f64> = motion
        .pushes
        .iter()
        .map(|p| (p.push_start_s - p.touchdown_s) / p.cycle_s)
        .collect();
    match mean(&shares) {
        Some(share) => Measure::judged(
            share,
            deviation(OF_SKATER, OF_PUSH, shares.len()),
            format!("mean of {}", pushes(shares.len())),
        ),
        None => Measure::not_judged(NO_PUSH),
    }
}
