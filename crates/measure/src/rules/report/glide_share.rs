//! Glide share.

use super::{Quantity, QuantityUnit};
use crate::config::View;
use crate::rules::table::rule_geometry::mean;
use crate::rules::{JudgedPush, Measure, not_judged};
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

/// What the rendered skaters showed, true 0.26 in all of them: front 23 passes
/// +0.11 bias and 0.07 scatter, rear 13 +0.07 and 0.06, oblique 15 +0.01 and
/// 0.08, side 53 +0.07 and 0.05. Both ends are soft: a skate set down under the
/// body stands still there for a while, and a push starts slowly.
const UNCERTAINTY: f64 = 0.10;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    let shares: Vec<f64> = motion
        .pushes
        .iter()
        .map(|p| (p.push_start_s - p.touchdown_s) / p.cycle_s)
        .collect();
    match mean(&shares) {
        // Half as long again is no measurement: the value stands beside.
        Some(share) => Measure {
            value: Some(share),
            uncertainty: Some(UNCERTAINTY),
            judged: false,
            reason: "touchdown and push start are too soft to be timed".to_owned(),
        },
        None => Measure::not_judged(not_judged::NO_WHOLE_PUSH),
    }
}
