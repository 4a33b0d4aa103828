//! Extension.

use crate::config::View;
use crate::rules::declare::{Rule, Sense, Unit, limits};

/// The largest included hip-knee-ankle angle of the pushing leg around the end of the push; 180 is a straight leg.
pub const RULE: Rule = Rule {
    id: "extension",
    measure: "extension_included_deg",
    unit: Unit::Deg,
    views: &[View::Side],
    sense: Sense::AtLeast,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, Some(150.0), None, 7.0),
        limits(true, Some(150.0), None, 7.0),
        limits(true, Some(152.0), None, 7.0),
        limits(true, Some(155.0), None, 7.0),
        limits(true, Some(158.0), None, 7.0),
        limits(true, Some(160.0), None, 7.0),
        limits(true, Some(160.0), None, 7.0),
    ],
    range: 120.0..=180.0,
    dead_band_range: 0.0..=20.0,
    short: "extension",
    long: "The largest included hip-knee-ankle angle of the pushing leg around the end of the push; 180 is a straight leg.",
    source: "160: above 160 is recommended for national speed skaters (Song, Park, Kim 2018, KJSB 28(2):93); easing by age and the dead-band: proposal of this project",
};
