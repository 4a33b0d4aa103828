//! What is reported of a pass as a whole: one file, one declaration, one
//! quantity (or one for each rule, as the left/right differences).
//!
//! Nothing here is flagged: a coach reads it, no cue comes of it. To add a
//! quantity: write its file, add it to [`QUANTITIES`]; the sessions file,
//! `session.json`, the printed line and the reference follow by themselves.

use super::ids::ids;
use super::{JudgedPush, Measure};
use crate::config::View;
use crate::stride::PassMotion;

mod arm_leg;
mod body_line;
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
}

impl QuantityUnit {
    /// The ending of the keys of its quantities.
    pub fn suffix(self) -> &'static str {
        match self {
            QuantityUnit::Deg => "deg",
            QuantityUnit::Metre => "m",
            QuantityUnit::Hertz => "hz",
            QuantityUnit::Second => "s",
        }
    }
}

/// One quantity of a pass. The whole program reads everything about it from
/// here.
pub struct Quantity {
    /// Its id; the code, its key in files, ends with the unit: `stride_rate_hz`.
    pub id: QuantityId,
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

/// Makes the table of the quantities and their ids.
macro_rules! quantities {
    ($($variant:ident = $code:literal => $declared:path,)*) => {
        ids! {
            /// The id of a quantity.
            QuantityId { $(#[doc = $code] $variant = $code,)* }
        }

        impl QuantityId {
            /// Its declaration.
            pub const fn quantity(self) -> &'static Quantity {
                match self { $(QuantityId::$variant => &$declared,)* }
            }
        }

        /// Every quantity.
        pub const QUANTITIES: [&Quantity; QuantityId::ALL.len()] = [$(&$declared),*];
    };
}

quantities! {
    StrideRate = "stride_rate_hz" => stride_rate::QUANTITY,
    StepLength = "step_length_m" => step_length::QUANTITY,
    PushWidth = "push_width_m" => push_width::QUANTITY,
    PushLength = "push_length_m" => push_length::QUANTITY,
    BodyLine = "body_line_deg" => body_line::QUANTITY,
    ArmLegTiming = "arm_leg_timing_s" => arm_leg::QUANTITY,
    LeftRightHeelGap = "left_right_heel_gap_m" => left_right::RECOVERY_GAP,
    LeftRightHandCross = "left_right_hand_cross_m" => left_right::ARM_CROSSOVER,
    LeftRightToeOut = "left_right_toe_out_deg" => left_right::TOE_DIRECTION,
}

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
        pass.quantities[quantity.id].clone()
    }

    #[test]
    fn keys_end_with_their_unit() {
        for quantity in QUANTITIES {
            let ending = format!("_{}", quantity.unit.suffix());
            assert!(quantity.id.code().ends_with(&ending));
        }
    }

    #[test]
    fn the_table_of_how_right_they_are_names_them_all() {
        let table = include_str!("../../../../../docs/pass-report.md");
        for quantity in QUANTITIES {
            assert!(table.contains(&format!("`{}`", quantity.id)));
        }
    }

    #[test]
    fn every_view_says_something_about_every_quantity() {
        // the stick skater has no oblique lane
        for view in [View::Side, View::Front, View::Rear] {
            for quantity in QUANTITIES {
                let measure = reported(view, &Skater::default(), quantity);
                let judged = measure.is_judged();
                let in_view = quantity.views.contains(&view);
                assert!(in_view || !judged, "{view:?} {}", quantity.id);
                let whole = measure.value.is_some() && measure.uncertainty.is_some();
                assert!(!judged || whole, "{view:?} {}", quantity.id);
                assert!(
                    !judged || !measure.how.is_empty(),
                    "{view:?} {}",
                    quantity.id
                );
            }
        }
    }

    #[test]
    fn a_pass_without_pushes_is_judged_in_nothing() {
        let mut motion = motion_of(View::Side, &Skater::default());
        motion.pushes.clear();
        motion.toe_offs.clear();
        let pass = judge(&motion, &Thresholds::defaults(AgeGroup::Adult));
        assert!(pass.quantities.values().all(|q| !q.is_judged()));
    }
}
