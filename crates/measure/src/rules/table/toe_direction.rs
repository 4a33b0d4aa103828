//! Toe-out.

use super::rule_geometry::{across_m, over};
use crate::body::BodyPoint;
use crate::config::View;
use crate::geometry::median;
use crate::rules::declare::{Rule, Sense, TruthKey, Unit, limits};
use crate::rules::{Measure, Needs, NotJudged, RuleId};
use crate::stride::Leg;
use crate::stride::{Curves, PassMotion, Push, leg_points};

/// How far the toe of the pushing skate is turned out from the line of travel at the end of the push.
pub const RULE: Rule = Rule {
    id: RuleId::ToeDirection,
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
    needs: Needs::PUSH_END,
    evaluate,
    // There the toe is turned out.
    shown_at_s: |_, push| push.toe_off_s,
    marks,
    of_knee: false,
    truth: TruthKey {
        of_push: "toe_out_deg",
        asked: Some("toe_out"),
    },
};

/// The pushing skate.
fn marks(curves: &Curves, i: usize, leg: Leg) -> Vec<[f64; 2]> {
    let joints = leg_points(leg);
    vec![curves.points[i][joints.heel], curves.points[i][joints.toe]]
}

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let (heel, toe) = match push.leg {
        Leg::Left => (BodyPoint::LeftHeel, BodyPoint::LeftToe),
        Leg::Right => (BodyPoint::RightHeel, BodyPoint::RightToe),
    };
    let around_s = 0.15 * (push.toe_off_s - push.push_start_s);
    let mut outward = over(
        motion,
        push.toe_off_s - around_s,
        push.toe_off_s + around_s,
        |i| Some(across_m(motion, i, heel, toe) * push.leg.leftward()),
    );
    match median(&mut outward) {
        Some(out_m) => {
            let calibration = motion.calibration();
            let sine = out_m / (calibration.foot_share() * motion.lane.skater_height_m);
            Measure::judged(
                sine.clamp(-1.0, 1.0).asin().to_degrees(),
                calibration.toe_out().of_one(),
                "toe beside the heel at the toe-off",
            )
        }
        None => Measure::not_judged(NotJudged::SkateNotSeen),
    }
}

#[cfg(test)]
mod tests {
    use super::super::rule_geometry::tests::{judged_values, motion_of};
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn a_toe_turned_out_reads_larger_than_one_that_points_ahead() {
        let mean_deg = |toe_out_deg| {
            let skater = Skater {
                toe_out_deg,
                ..Skater::default()
            };
            let values = judged_values(&motion_of(View::Front, &skater), &RULE);
            assert!(values.len() >= 4);
            values.iter().sum::<f64>() / values.len() as f64
        };
        for toe_out_deg in [10.0, 35.0, 50.0] {
            let v = mean_deg(toe_out_deg);
            assert!((v - toe_out_deg).abs() < 8.0, "{v} for {toe_out_deg}");
        }
    }
}
