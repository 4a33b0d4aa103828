//! Knee bend.

use crate::config::View;
use crate::rules::declare::{Rule, Sense, Unit, limits};

/// The smallest included hip-knee-ankle angle of the leg while it glides before its push; 180 is a straight leg.
pub const RULE: Rule = Rule {
    id: "knee_bend",
    measure: "glide_knee_included_deg",
    unit: Unit::Deg,
    views: &[View::Side, View::Oblique],
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
};
