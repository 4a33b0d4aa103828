//! What is reported of a pass as a whole: one file, one declaration, one
//! quantity (or one for each rule, as the left/right differences).
//!
//! Nothing here is flagged: a coach reads it, no cue comes of it. To add a
//! quantity: write its file, add it to [`QUANTITIES`]; the sessions file,
//! `session.json`, the printed line and the reference follow by themselves.

use super::{JudgedPush, Measure};
use crate::config::View;
use crate::stride::PassMotion;

mod arm_leg;
mod body_line;
mod glide_share;
mod left_right;
mod push_length;
mod push_width;
mod side;
mod step_length;
mod stride_rate;

/// The unit a quantity is stored in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuantityUnit {
    /// Degrees of angle.
    Deg,
    /// Metres. Shown to people in centimetres.
    Metre,
    /// Times a second.
    Hertz,
    /// Seconds.
    Second,
    /// A part of a whole, 0 to 1. Shown to people in percent.
    Share,
}

impl QuantityUnit {
    /// The ending of the keys of its quantities.
    pub fn suffix(self) -> &'static str {
        match self {
            QuantityUnit::Deg => "deg",
            QuantityUnit::Metre => "m",
            QuantityUnit::Hertz => "hz",
            QuantityUnit::Second => "s",
            QuantityUnit::Share => "share",
        }
    }
}

/// One quantity of a pass. The whole program reads everything about it from
/// here.
pub struct Quantity {
    /// Key in files, ending with its unit: `stride_rate_hz`.
    pub key: &'static str,
    /// Unit of value and uncertainty.
    pub unit: QuantityUnit,
    /// Views it can be judged from at all.
    pub views: &'static [View],
    /// A few words for tables: 'stride rate'.
    pub short: &'static str,
    /// One or two sentences for the reference.
    pub long: &'static str,
    /// Where the definition and its uncertainty come from.
    pub source: &'static str,
    /// Reads the quantity from a pass and its judged pushes, which are in the
    /// order of [`PassMotion::pushes`]. Only called for the quantity's views.
    pub evaluate: fn(&PassMotion, &[JudgedPush]) -> Measure,
}

/// Every quantity, in the order of every per-quantity list of the program.
pub const QUANTITIES: [&Quantity; 12] = [
    &stride_rate::QUANTITY,
    &step_length::QUANTITY,
    &glide_share::QUANTITY,
    &push_width::QUANTITY,
    &push_length::QUANTITY,
    &body_line::QUANTITY,
    &arm_leg::QUANTITY,
    &left_right::KNEE_BEND,
    &left_right::EXTENSION,
    &left_right::RECOVERY_GAP,
    &left_right::ARM_CROSSOVER,
    &left_right::TOE_DIRECTION,
];

/// '1 push', '3 pushes'.
fn pushes(n: usize) -> String {
    match n {
        1 => "1 push".to_owned(),
        n => format!("{n} pushes"),
    }
}

/// One standard deviation of the mean of `n` pushes: what is common to a
/// skater stays, what differs from push to push averages out. Both in the
/// quantity's unit.
fn deviation(of_skater: f64, of_push: f64, n: usize) -> f64 {
    of_skater.hypot(of_push / (n.max(1) as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::table::rule_geometry::tests::motion_of;
    use crate::rules::{AgeGroup, Thresholds, judge};
    use crate::stride::synthetic::Skater;

    /// What is reported of a stick skater's pass.
    pub fn reported(view: View, skater: &Skater, quantity: &Quantity) -> Measure {
        let motion = motion_of(view, skater);
        let pass = judge(&motion, &Thresholds::defaults(AgeGroup::Adult));
        let i = QUANTITIES.iter().position(|q| q.key == quantity.key);
        pass.quantities[i.unwrap()].clone()
    }

    #[test]
    fn keys_are_unique_and_end_with_their_unit() {
        for (i, quantity) in QUANTITIES.iter().enumerate() {
            assert!(
                quantity
                    .key
                    .ends_with(&format!("_{}", quantity.unit.suffix()))
            );
            assert!(QUANTITIES[..i].iter().all(|q| q.key != quantity.key));
        }
    }

    #[test]
    fn the_table_of_how_right_they_are_names_them_all() {
        let table = include_str!("../../../../../docs/pass-report.md");
        for quantity in QUANTITIES {
            assert!(table.contains(&format!("`{}`", quantity.key)));
        }
    }

    #[test]
    fn every_view_says_something_about_every_quantity() {
        // the stick skater has no oblique lane
        for view in [View::Side, View::Front, View::Rear] {
            for quantity in QUANTITIES {
                let measure = reported(view, &Skater::default(), quantity);
                assert!(!measure.reason.is_empty(), "{view:?} {}", quantity.key);
                let in_view = quantity.views.contains(&view);
                assert!(in_view || !measure.judged, "{view:?} {}", quantity.key);
                let whole = measure.value.is_some() && measure.uncertainty.is_some();
                assert!(!measure.judged || whole, "{view:?} {}", quantity.key);
            }
        }
    }

    #[test]
    fn a_pass_without_pushes_is_judged_in_nothing() {
        let mut motion = motion_of(View::Side, &Skater::default());
        motion.pushes.clear();
        motion.toe_offs.clear();
        let pass = judge(&motion, &Thresholds::defaults(AgeGroup::Adult));
        assert_eq!(pass.quantities.len(), QUANTITIES.len());
        assert!(pass.quantities.iter().all(|q| !q.judged));
    }
}
