//! Toe-out.

use crate::config::View;
use crate::rules::declare::{Rule, Sense, Unit, limits};

/// How far the toe of the pushing skate is turned out from the line of travel at the end of the push.
pub const RULE: Rule = Rule {
    id: "toe_direction",
    measure: "toe_out_deg",
    unit: Unit::Deg,
    views: &[View::Front, View::Rear],
    sense: Sense::AtLeast,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(false, Some(20.0), None, 10.0),
        limits(false, Some(20.0), None, 10.0),
        limits(false, Some(20.0), None, 10.0),
        limits(false, Some(20.0), None, 10.0),
        limits(false, Some(20.0), None, 10.0),
        limits(false, Some(20.0), None, 10.0),
        limits(false, Some(20.0), None, 10.0),
    ],
    range: 0.0..=80.0,
    dead_band_range: 0.0..=30.0,
    short: "toe-out",
    long: "How far the toe of the pushing skate is turned out from the line of travel at the end of the push. Measured with low confidence, so it is stored but not flagged until the coach switches it on.",
    source: "toe to the side at the end of the push: common practice, no source; the value: proposal of this project",
};
