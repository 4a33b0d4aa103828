//! The rule table: one file, one declaration, one rule.
//!
//! To add a rule: write its file, add it to [`RULES`]; settings, their
//! documentation, report legend and table headers follow by themselves.

use super::Rule;

mod arm_crossover;
mod extension;
mod glide;
mod knee_bend;
mod recovery_gap;
pub(super) mod rule_geometry;
mod toe_direction;
mod trunk_lean;

/// Every rule, in the order of every per-rule list of the program.
pub const RULES: [&Rule; 6] = [
    &knee_bend::RULE,
    &extension::RULE,
    &recovery_gap::RULE,
    &arm_crossover::RULE,
    &trunk_lean::RULE,
    &toe_direction::RULE,
];

/// The rule of that id.
pub fn rule_of(id: &str) -> Option<&'static Rule> {
    RULES.into_iter().find(|rule| rule.id == id)
}
