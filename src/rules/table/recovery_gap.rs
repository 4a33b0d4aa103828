//! Recovery.

use crate::config::View;
use crate::rules::declare::{Rule, Sense, Unit, limits};

/// The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.
pub const RULE: Rule = Rule {
    id: "recovery_gap",
    measure: "heel_gap_m",
    unit: Unit::Metre,
    views: &[View::Front, View::Rear, View::Oblique],
    sense: Sense::AtMost,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, None, Some(0.13), 0.025),
        limits(true, None, Some(0.13), 0.025),
        limits(true, None, Some(0.12), 0.025),
        limits(true, None, Some(0.115), 0.025),
        limits(true, None, Some(0.095), 0.025),
        limits(true, None, Some(0.065), 0.025),
        limits(true, None, Some(0.065), 0.025),
    ],
    range: 0.0..=0.5,
    dead_band_range: 0.0..=0.10,
    short: "recovery",
    long: "The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.",
    source: "within 2.5 cm is what coaches teach: common practice, no source; limits by age and the dead-band: proposal of this project",
};
