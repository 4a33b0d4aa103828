//! Trunk.

use crate::config::View;
use crate::rules::declare::{Rule, Sense, Unit, limits};

/// The lean of the trunk (mid hip to mid shoulder) forward from the vertical, averaged over the push.
pub const RULE: Rule = Rule {
    id: "trunk_lean",
    measure: "trunk_lean_deg",
    unit: Unit::Deg,
    views: &[View::Side],
    sense: Sense::Between,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, Some(25.0), Some(60.0), 7.0),
        limits(true, Some(25.0), Some(60.0), 7.0),
        limits(true, Some(30.0), Some(60.0), 7.0),
        limits(true, Some(30.0), Some(60.0), 7.0),
        limits(true, Some(30.0), Some(60.0), 7.0),
        limits(true, Some(30.0), Some(60.0), 7.0),
        limits(true, Some(30.0), Some(60.0), 7.0),
    ],
    range: 0.0..=90.0,
    dead_band_range: 0.0..=20.0,
    short: "trunk",
    long: "The lean of the trunk (mid hip to mid shoulder) forward from the vertical, averaged over the push.",
    source: "50 to 55 is taught and above 60 blocks the push (unsigned federation-style skating manual); the band and its easing: proposal of this project",
};
