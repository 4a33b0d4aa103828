//! Recovery.

use super::read::{across_m, boot_width_m, lowest, of_adult, over};
use crate::config::View;
use crate::pose::BodyPoint;
use crate::rules::declare::{Rule, Sense, Unit, limits};
use crate::rules::{Measure, why};
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
/// skaters showed with the lane's exact scale is 1.2 to 2.2 cm; a scale set up by
/// hand is good to about 5 % of the stance.
const UNCERTAINTY_M: f64 = 0.02;
/// The heels come back to each other a quarter of a cycle after the toe-off
/// (the rendered skater), give or take this much.
const BACK_AFTER: f64 = 0.24;
const BACK_WITHIN: f64 = 0.07;
/// The least distance across the lane is smaller than the least distance of
/// the heels by this much, at an adult's stature: points jitter, and the least
/// of several is taken. Medians of the rendered skaters of three sets; those of
/// a fourth agree within 0.6 cm. From behind the model's heel points lie
/// further out.
const ACROSS_IS_LESS_M: [(View, f64); 2] = [(View::Front, 0.033), (View::Rear, 0.011)];
/// How far the heel that comes back is ahead of the other one, as a share of
/// stature, by the cycles since its toe-off; between these it moves evenly.
/// Medians of 1,699 pushes of the rendered skaters, each within 0.025.
const AHEAD_SHARE: [(f64, f64); 3] = [(0.18, -0.137), (0.24, -0.091), (0.30, 0.013)];

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let Some((_, less_m)) = ACROSS_IS_LESS_M
        .into_iter()
        .find(|(view, _)| *view == motion.lane.view)
    else {
        return Measure::not_judged(why::ACROSS_OR_ALONG);
    };
    let back_s = push.toe_off_s + BACK_AFTER * push.cycle_s;
    let within_s = BACK_WITHIN * push.cycle_s;
    let across = over(motion, back_s - within_s, back_s + within_s, |i| {
        let seen_m = across_m(motion, i, BodyPoint::RightHeel, BodyPoint::LeftHeel);
        let since = (motion.curves.time_s(i as f64) - push.toe_off_s) / push.cycle_s;
        let ahead_m = ahead_share(since) * motion.lane.skater_height_m * push.leg.leftward();
        let gap_m = (seen_m + ahead_m * off_line(motion, i)).abs();
        Some((motion.curves.time_s(i as f64), gap_m))
    });
    // Where the pass ends while the feet still close, the least that was seen
    // is not the least there was.
    let on_both_sides = across.first().is_some_and(|(at_s, _)| *at_s <= back_s)
        && across.last().is_some_and(|(at_s, _)| *at_s >= back_s);
    let across: Vec<f64> = across
        .into_iter()
        .filter(|_| on_both_sides)
        .map(|(_, gap_m)| gap_m)
        .collect();
    let adult = of_adult(&motion.lane);
    match lowest(&across) {
        Some(centre_m) => Measure::judged(
            centre_m + motion.correction(adult * less_m) - boot_width_m(&motion.lane),
            adult * UNCERTAINTY_M,
            "heels across the lane, less the boot's width",
        ),
        None => Measure::not_judged(why::HEELS_NOT_SEEN),
    }
}

fn ahead_share(cycles_since: f64) -> f64 {
    let [a, b, c] = AHEAD_SHARE;
    let (from, to) = if cycles_since < b.0 { (a, b) } else { (b, c) };
    let part = ((cycles_since - from.0) / (to.0 - from.0)).clamp(0.0, 1.0);
    from.1 + part * (to.1 - from.1)
}

/// How much a metre along the travel looks like across it: the tangent of the
/// angle between the travel and the line of sight. A camera half a metre
/// beside the lane sees the skate that hangs back 1 to 2 cm to one side, which
/// is the outer side of one leg and the inner side of the other.
fn off_line(motion: &PassMotion, i: usize) -> f64 {
    let (at, ahead, left) = (
        motion.place.at_m[i],
        motion.place.heading,
        motion.place.left(),
    );
    let along_m = at[0] * ahead[0] + at[1] * ahead[1];
    let aside_m = at[0] * left[0] + at[1] * left[1];
    if along_m.abs() < 1.0 {
        return 0.0;
    }
    (aside_m / along_m).clamp(-1.0, 1.0)
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
    fn a_pass_that_ends_while_the_feet_close_is_not_judged() {
        let mut motion = motion_of(View::Front, &Skater::default());
        let push = motion.pushes.last().unwrap().clone();
        let back_s = push.toe_off_s + BACK_AFTER * push.cycle_s;
        assert!(evaluate(&motion, &push).judged);
        // Nothing is seen from shortly before the feet are together.
        let end = motion.curves.index_at(back_s - 0.02);
        motion.curves.seen[end..].fill(false);
        assert!(!evaluate(&motion, &push).judged);
    }

    #[test]
    fn the_side_does_not_see_it() {
        assert!(!RULE.views.contains(&View::Side));
    }
}
