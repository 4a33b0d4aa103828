//! Arm swing.

use crate::config::View;
use crate::rules::declare::{Rule, Sense, Unit, limits};

/// How far the wrist passes the middle line of the body at the front of its swing; positive is past the line.
pub const RULE: Rule = Rule {
    id: "arm_crossover",
    measure: "hand_cross_m",
    unit: Unit::Metre,
    views: &[View::Front, View::Rear],
    sense: Sense::AtMost,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
    ],
    range: -0.20..=0.40,
    dead_band_range: 0.0..=0.15,
    short: "arm swing",
    long: "How far the wrist passes the middle line of the body at the front of its swing; positive is past the line. Federations teach different arm swings: switch the flag off where yours wants it.",
    source: "forward and back without crossing the middle line: common practice, no source, disputed; the dead-band: proposal of this project",
};
