//! Knee bend.

use super::read::glide_knee_deg;
use crate::config::View;
use crate::rules::Measure;
use crate::rules::declare::{Rule, Sense, Unit, limits};
use crate::stride::{PassMotion, Push};

/// The smallest included hip-knee-ankle angle of the leg while it glides before its push; 180 is a straight leg.
pub const RULE: Rule = Rule {
    id: "knee_bend",
    measure: "glide_knee_included_deg",
    unit: Unit::Deg,
    views: &[View::Side],
    sense: Sense::AtMost,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, None, Some(135.0), 7.0),
        limits(true, None, Some(135.0), 7.0),
        limits(true, None, Some(130.0), 7.0),
        limits(true, None, Some(125.0), 7.0),
        limits(true, None, Some(120.0), 7.0),
        limits(true, None, Some(115.0), 7.0),
        limits(true, None, Some(115.0), 7.0),
    ],
    range: 80.0..=170.0,
    dead_band_range: 0.0..=20.0,
    short: "knee bend",
    long: "The smallest included hip-knee-ankle angle of the leg while it glides before its push; 180 is a straight leg. Deep is good: near 90 is what coaches teach.",
    source: "goal near 90: common practice, no source; limits by age and the dead-band: proposal of this project (no published norms for children were found)",
    evaluate,
};

/// Standard deviation from the side, near leg: what the rendered skaters
/// showed for whole skaters, larger than the 6.4 degrees that Cosoli, Arnesano
/// and Scalise 2026 read on people seen square from the side.
const UNCERTAINTY_DEG: f64 = 8.0;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    if push.near_leg == Some(false) {
        return Measure::not_judged("the far leg is partly hidden");
    }
    match glide_knee_deg(motion, push) {
        Some(deg) => Measure::judged(deg, UNCERTAINTY_DEG, "smallest angle of the glide"),
        None => Measure::not_judged("the leg was not seen during the glide"),
    }
}
