//! Recovery.

use super::read::{across_m, boot_width_m, lowest, of_adult, over};
use crate::config::View;
use crate::pose::BodyPoint;
use crate::rules::Measure;
use crate::rules::declare::{Rule, Sense, Unit, limits};
use crate::stride::{PassMotion, Push};

/// The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.
pub const RULE: Rule = Rule {
    id: "recovery_gap",
    measure: "heel_gap_m",
    unit: Unit::Metre,
    views: &[View::Front, View::Rear, View::Oblique],
    sense: Sense::AtMost,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, None, Some(0.13), 0.025),
        limits(true, None, Some(0.13), 0.025),
        limits(true, None, Some(0.12), 0.025),
        limits(true, None, Some(0.115), 0.025),
        limits(true, None, Some(0.095), 0.025),
        limits(true, None, Some(0.065), 0.025),
        limits(true, None, Some(0.065), 0.025),
    ],
    range: 0.0..=0.5,
    dead_band_range: 0.0..=0.10,
    short: "recovery",
    long: "The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.",
    source: "within 2.5 cm is what coaches teach: common practice, no source; limits by age and the dead-band: proposal of this project",
    evaluate,
};

/// Standard deviation, metres, at an adult's stature: what the rendered
/// skaters showed with the lane's exact scale is 1.2 cm; a scale set up by
/// hand is good to about 5 % of the stance.
const UNCERTAINTY_M: f64 = 0.02;
/// The heels come back to each other a quarter of a cycle after the toe-off
/// (the rendered skater), give or take this much.
const BACK_AFTER: f64 = 0.24;
const BACK_WITHIN: f64 = 0.07;
/// The least distance across the lane is smaller than the least distance of
/// the heels by this much, at an adult's stature: at the closest moment one
/// skate is still behind the other, and points jitter. Means of rendered
/// skaters: 10 fitted, 5 others agree within 1.2 cm. From behind the model's
/// heel points lie further out.
const ACROSS_IS_LESS_M: [(View, f64); 2] = [(View::Front, 0.033), (View::Rear, 0.016)];

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let Some((_, less_m)) = ACROSS_IS_LESS_M
        .into_iter()
        .find(|(view, _)| *view == motion.lane.view)
    else {
        return Measure::not_judged("across and along cannot be told apart from here");
    };
    let back_s = push.toe_off_s + BACK_AFTER * push.cycle_s;
    let within_s = BACK_WITHIN * push.cycle_s;
    let across = over(motion, back_s - within_s, back_s + within_s, |i| {
        Some(across_m(motion, i, BodyPoint::LeftHeel, BodyPoint::RightHeel).abs())
    });
    let adult = of_adult(&motion.lane);
    match lowest(&across) {
        Some(centre_m) => Measure::judged(
            centre_m + motion.correction(adult * less_m) - boot_width_m(&motion.lane),
            adult * UNCERTAINTY_M,
            "heels across the lane, less the boot's width",
        ),
        None => Measure::not_judged("the heels were not seen as the leg came back"),
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::tests::{judged_values, motion_of};
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn a_wider_recovery_reads_wider_by_as_much() {
        for view in [View::Front, View::Rear] {
            let gap_m = |recovery_aside_m| {
                let skater = Skater {
                    recovery_aside_m,
                    ..Skater::default()
                };
                let values = judged_values(&motion_of(view, &skater), &RULE);
                assert!(values.len() >= 4, "{view:?}");
                values.iter().sum::<f64>() / values.len() as f64
            };
            // both skates stand wider, so the gap grows by twice as much at
            // most and by once at least
            let wider_m = gap_m(0.12) - gap_m(0.05);
            assert!((0.06..0.16).contains(&wider_m), "{view:?} {wider_m}");
        }
    }

    #[test]
    fn the_side_does_not_see_it() {
        assert!(!RULE.views.contains(&View::Side));
    }
}
