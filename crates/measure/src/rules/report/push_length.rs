//! Push length.

use super::side::{hip_and_ankle, near_pushes};
use super::{Quantity, QuantityId, QuantityUnit, deviation, pushes};
use crate::config::View;
use crate::rules::table::rule_geometry::{mean, of_adult};
use crate::rules::{JudgedPush, Measure, NotJudged};
use crate::stride::{PassMotion, Push};

/// How far behind its hip the skate is at the toe-off.
pub const QUANTITY: Quantity = Quantity {
    id: QuantityId::PushLength,
    unit: QuantityUnit::Metre,
    views: &[View::Side],
    short: "push length",
    long: "How far behind its hip, along the travel, the near leg's ankle is at the toe-off.",
    source: "uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations, metres, at an adult's stature: of a skater and of one
/// push. Rendered skaters, true lengths 5 to 43 cm, 49 of 53 passes judged:
/// bias +0.2 and scatter 3.4 cm, worst 9.3 cm; on two sets looked at afterwards, 49 and 51
/// passes, scatter 4.3 and 5.2 cm, worst 10 and 23.
const OF_SKATER_M: f64 = 0.05;
const OF_PUSH_M: f64 = 0.02;

fn evaluate(motion: &PassMotion, judged: &[JudgedPush]) -> Measure {
    let near = match near_pushes(motion, judged) {
        Ok(near) => near,
        Err(why) => return Measure::not_judged(why),
    };
    let lengths: Vec<f64> = near
        .into_iter()
        .filter_map(|push| behind_m(motion, push))
        .collect();
    let adult = of_adult(&motion.lane);
    match mean(&lengths) {
        Some(length_m) => Measure::judged(
            length_m,
            adult * deviation(OF_SKATER_M, OF_PUSH_M, lengths.len()),
            format!("near leg, {}", pushes(lengths.len())),
        ),
        None => Measure::not_judged(NotJudged::NearLegUnseen),
    }
}

/// How far the ankle is behind the hip at the toe-off, metres.
fn behind_m(motion: &PassMotion, push: &Push) -> Option<f64> {
    let i = motion.curves.index_at(push.toe_off_s);
    let [hip, ankle] = hip_and_ankle(motion, i, push.leg)?;
    Some(hip[0] - ankle[0])
}

#[cfg(test)]
mod tests {
    use super::super::tests::reported;
    use super::*;
    use crate::rules::table::rule_geometry::tests::motion_of;
    use crate::rules::{AgeGroup, RuleId, Thresholds, judge};
    use crate::stride::Leg;
    use crate::stride::synthetic::Skater;

    #[test]
    fn long_and_short_pushes_read_as_they_are() {
        for extension_deg in [145.0, 158.0, 172.0] {
            let skater = Skater {
                extension_deg,
                ..Skater::default()
            };
            let t_s = skater.toe_offs_s(Leg::Right, 1.0, 3.0)[0];
            let p = skater.points_m(t_s);
            let truth_m = p[24][0] - p[28][0];
            let length = reported(View::Side, &skater, &QUANTITY);
            let off_m = length.value.unwrap() - truth_m;
            assert!(off_m.abs() < 0.04, "{truth_m:.2} {off_m:+.3}");
        }
    }

    #[test]
    fn a_leg_that_was_not_told_apart_has_no_length() {
        let motion = motion_of(View::Side, &Skater::default());
        let mut pushes = judge(&motion, &Thresholds::defaults(AgeGroup::Adult)).pushes;
        assert!(evaluate(&motion, &pushes).is_judged());
        for push in &mut pushes {
            push.measures[RuleId::Extension] = Measure::not_judged(NotJudged::KneesAlike);
        }
        assert!(!evaluate(&motion, &pushes).is_judged());
    }
}
