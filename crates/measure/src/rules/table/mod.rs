//! The rule table: one file, one declaration, one rule.
//!
//! To add a rule: write its file, add it to [`RULES`]; settings, their
//! documentation, report legend and table headers follow by themselves.

use super::Rule;
use super::ids::ids;

mod arm_crossover;
pub(super) mod extension;
pub(super) mod glide;
mod knee_bend;
pub(super) mod recovery_gap;
pub(super) mod rule_geometry;
mod toe_direction;
mod trunk_lean;

/// Makes the table of the rules and their ids.
macro_rules! rules {
    ($($variant:ident = $code:literal => $file:ident,)*) => {
        ids! {
            /// The id of a rule.
            RuleId { $(#[doc = $code] $variant = $code,)* }
        }

        impl RuleId {
            /// Its declaration.
            pub const fn rule(self) -> &'static Rule {
                match self { $(RuleId::$variant => &$file::RULE,)* }
            }
        }

        /// Every rule.
        pub const RULES: [&Rule; RuleId::ALL.len()] = [$(&$file::RULE),*];
    };
}

rules! {
    KneeBend = "knee_bend" => knee_bend,
    Extension = "extension" => extension,
    RecoveryGap = "recovery_gap" => recovery_gap,
    ArmCrossover = "arm_crossover" => arm_crossover,
    TrunkLean = "trunk_lean" => trunk_lean,
    ToeDirection = "toe_direction" => toe_direction,
}
