//! Trunk.

use super::rule_geometry::{mean, over, trunk_lean_deg};
use crate::body::BodyPoint;
use crate::config::View;
use crate::rules::declare::{Rule, Sense, TruthKey, Unit, limits};
use crate::rules::overlay_marks::middle;
use crate::rules::{Measure, Needs, NotJudged, RuleId};
use crate::stride::{Curves, Leg, PassMotion, Push};

/// The lean of the trunk (mid hip to mid shoulder) forward from the vertical, averaged over the push.
pub const RULE: Rule = Rule {
    id: RuleId::TrunkLean,
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
    needs: Needs::PUSH,
    evaluate,
    shown_at_s: |_, push| (push.push_start_s + push.toe_off_s) / 2.0,
    marks,
    of_knee: false,
    truth: TruthKey {
        of_push: "trunk_lean_deg",
        asked: Some("lean"),
    },
};

/// The upright above the hips, the hips, the shoulders.
fn marks(curves: &Curves, i: usize, _: Leg) -> Vec<[f64; 2]> {
    let hips = middle(curves, i, BodyPoint::LeftHip, BodyPoint::RightHip);
    let shoulders = middle(curves, i, BodyPoint::LeftShoulder, BodyPoint::RightShoulder);
    vec![[hips[0], shoulders[1]], hips, shoulders]
}

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let leans = over(motion, push.touchdown_s, push.toe_off_s, |i| {
        trunk_lean_deg(motion, i)
    });
    match mean(&leans) {
        Some(deg) => {
            let shift = motion.calibration().trunk(deg);
            Measure::judged(
                deg + shift.add,
                shift.doubt.of_one(),
                "mean of the glide and push",
            )
        }
        None => Measure::not_judged(NotJudged::TrunkNotSeen),
    }
}

#[cfg(test)]
mod tests {
    use super::super::rule_geometry::tests::{judged_values, motion_of};
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn lean_reads_as_it_is_but_for_the_correction_of_the_hip_points() {
        for lean_deg in [20.0, 40.0, 55.0] {
            let skater = Skater {
                lean_deg,
                ..Skater::default()
            };
            let values = judged_values(&motion_of(View::Side, &skater), &RULE);
            assert!(!values.is_empty());
            for v in values {
                // atan(0.016 / 0.288) = 3.2 degrees
                assert!((v - lean_deg - 3.2).abs() < 0.5, "{v} for {lean_deg}");
            }
        }
    }
}
