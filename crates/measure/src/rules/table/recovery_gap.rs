//! Recovery.

use super::rule_geometry::{across_m, boot_width_m, of_adult, over};
use crate::body::BodyPoint;
use crate::config::View;
use crate::geometry::{fit_parabola, huber_mean};
use crate::rules::declare::{Rule, Sense, TruthKey, Unit, limits};
use crate::rules::overlay_marks::at;
use crate::rules::{Measure, Needs, NotJudged, RuleId};
use crate::stride::{Curves, Leg, PassMotion, Push};

/// The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.
pub const RULE: Rule = Rule {
    id: RuleId::RecoveryGap,
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
    needs: Needs::RECOVERY,
    evaluate,
    shown_at_s: |_, push| push.recovery_s,
    marks,
    of_knee: false,
    truth: TruthKey {
        of_push: "min_heel_gap_m",
        asked: None,
    },
};

/// Both heels.
fn marks(curves: &Curves, i: usize, _: Leg) -> Vec<[f64; 2]> {
    vec![
        at(curves, i, BodyPoint::LeftHeel),
        at(curves, i, BodyPoint::RightHeel),
    ]
}

/// The feet are read around the moment they are back at each other, give or take
/// so much of a cycle.
const BACK_WITHIN: f64 = 0.05;
/// Where that moment is not known beforehand, it is looked for here, in cycles after
/// the toe-off: half a cycle later the other skate leaves the ice.
const BACK_BETWEEN: [f64; 2] = [0.12, 0.42];
/// So much of that time, from its middle, must have been seen on both sides.
const SEEN_SHARE: f64 = 0.7;
/// It is read at so many even times, between the camera's frames where need be:
/// with three frames in that time, which of them they are would count.
const READINGS: usize = 9;
/// Of the distance of the feet so much is read from the ankles, the rest from the
/// heels. Heel points jitter more, and from behind they lie further out with one
/// model than with another.
const BY_ANKLES: f64 = 0.7;
/// A reading farther than this from the others counts less, metres.
const ASTRAY_M: f64 = 0.01;
/// Within this of that time, of a cycle, the feet close and open again: their
/// distance is a valley. Where another skater's legs were taken for this one's, it
/// is not.
const VALLEY_WITHIN: f64 = 0.12;
/// Readings a valley needs.
const VALLEY_READINGS: usize = 5;
/// How far they may lie from a smooth one (root mean square): metres at an adult's
/// stature, and a share of its depth, as two feet that pass close by each other make a
/// sharper one. Takes out 8 of 469 pushes of the rendered skaters with one model and 3 of
/// 476 with the other, nine of these eleven beside a second skater.
const VALLEY_OFF_M: f64 = 0.006;
const VALLEY_OFF_SHARE: f64 = 0.08;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    if motion.lane.view == View::Oblique {
        return Measure::not_judged(NotJudged::AcrossOrAlong);
    }
    let calibration = motion.calibration();
    let Some(back_s) = feet_back_s(motion, push) else {
        return Measure::not_judged(NotJudged::HeelsNotSeen);
    };
    let within_s = BACK_WITHIN * push.cycle_s;
    // the frame before and the one after are needed as well
    let reach_s = within_s + 1.0 / motion.curves.rate_hz;
    let seen = feet_around(motion, push, back_s, reach_s);
    // Where the pass ends while the feet still close, what was seen is not
    // how close they come.
    let on_both_sides = seen.first().zip(seen.last()).is_some_and(|(first, last)| {
        let needed_s = SEEN_SHARE * within_s;
        first.0 <= back_s - needed_s && last.0 >= back_s + needed_s
    });
    if !on_both_sides {
        return Measure::not_judged(NotJudged::HeelsNotSeen);
    }
    if !close_and_open(motion, push, back_s) {
        return Measure::not_judged(NotJudged::FeetUnsteady);
    }
    let readings: Vec<(f64, f64)> = (0..READINGS)
        .map(|k| 2.0 * k as f64 / (READINGS - 1) as f64 - 1.0)
        .filter_map(|part| between(&seen, back_s + part * within_s))
        .map(|feet_m| (feet_m, 1.0))
        .collect();
    let adult = of_adult(&motion.lane);
    let ahead_m = calibration.heel_ahead_doubt_share() * motion.lane.skater_height_m;
    let aside = off_line(motion, motion.curves.index_at(back_s));
    match huber_mean(&readings, adult * ASTRAY_M) {
        Some(feet_m) => {
            let read_m = feet_m - boot_width_m(&motion.lane);
            let shift = calibration.heel_gap(motion.lane.view, read_m / adult);
            let doubt = shift.doubt.times(adult).and_shared(ahead_m * aside);
            Measure::judged(
                read_m + adult * shift.add,
                doubt.of_one(),
                "feet across the lane as they pass, less the boot's width",
            )
        }
        None => Measure::not_judged(NotJudged::HeelsNotSeen),
    }
}

/// When the feet are back at each other after a push, seconds: where that is known,
/// else where they are seen closest. `None` where they were not seen.
fn feet_back_s(motion: &PassMotion, push: &Push) -> Option<f64> {
    if let Some(cycles) = motion.calibration().feet_back_cycles() {
        return Some(push.toe_off_s + cycles * push.cycle_s);
    }
    let [from, to] = BACK_BETWEEN.map(|cycles| push.toe_off_s + cycles * push.cycle_s);
    feet_around(motion, push, (from + to) / 2.0, (to - from) / 2.0)
        .into_iter()
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(at_s, _)| at_s)
}

/// Whether the feet were seen to close and open again, as far as that can be told.
fn close_and_open(motion: &PassMotion, push: &Push, back_s: f64) -> bool {
    let seen = feet_around(motion, push, back_s, VALLEY_WITHIN * push.cycle_s);
    if seen.len() < VALLEY_READINGS {
        return true;
    }
    let apart_m = || seen.iter().map(|&(_, apart_m)| apart_m);
    let farthest_m = apart_m().fold(f64::MIN, f64::max);
    let nearest_m = apart_m().fold(f64::MAX, f64::min);
    let most_off_m =
        of_adult(&motion.lane) * VALLEY_OFF_M + VALLEY_OFF_SHARE * (farthest_m - nearest_m);
    fit_parabola(&seen).is_some_and(|feet| feet.curvature > 0.0 && feet.off <= most_off_m)
}

/// How far apart the feet are across the lane around a moment, at the times they were
/// seen: seconds and metres.
fn feet_around(motion: &PassMotion, push: &Push, at_s: f64, reach_s: f64) -> Vec<(f64, f64)> {
    over(motion, at_s - reach_s, at_s + reach_s, |i| {
        Some((motion.curves.time_s(i as f64), feet_m(motion, push, i)))
    })
}

/// How far apart the feet are across the lane, metres.
fn feet_m(motion: &PassMotion, push: &Push, i: usize) -> f64 {
    let since = (motion.curves.time_s(i as f64) - push.toe_off_s) / push.cycle_s;
    let ahead_share = motion
        .calibration()
        .heel_ahead_share()
        .and_then(|by_cycles| between(by_cycles, since))
        .unwrap_or_default();
    let ahead_m = ahead_share * motion.lane.skater_height_m * push.leg.leftward();
    feet_apart_m(motion, i, ahead_m)
}

/// How far apart the feet are across the lane in a sample, metres, where the left one's heel
/// is so far ahead.
pub fn feet_apart_m(motion: &PassMotion, i: usize, ahead_m: f64) -> f64 {
    let apart_m =
        |right, left| (across_m(motion, i, right, left) + ahead_m * off_line(motion, i)).abs();
    let ankles_m = apart_m(BodyPoint::RightAnkle, BodyPoint::LeftAnkle);
    let heels_m = apart_m(BodyPoint::RightHeel, BodyPoint::LeftHeel);
    BY_ANKLES * ankles_m + (1.0 - BY_ANKLES) * heels_m
}

/// The value at a place or time, on the straight line between the two samples around it;
/// beyond the first or last one theirs. `None` of no samples.
fn between(samples: &[(f64, f64)], at: f64) -> Option<f64> {
    let after = samples.partition_point(|(place, _)| *place < at);
    let later = samples.get(after).or(samples.last())?;
    let earlier = samples.get(after.saturating_sub(1))?;
    let span = later.0 - earlier.0;
    let part = if span > 0.0 {
        ((at - earlier.0) / span).clamp(0.0, 1.0)
    } else {
        0.0
    };
    Some(earlier.1 + part * (later.1 - earlier.1))
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
    use super::super::rule_geometry::tests::{judged_values, motion_of};
    use super::*;
    use crate::stride::Leg;
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
        let judged = |push: &&Push| evaluate(&motion, push).is_judged();
        let push = motion.pushes.iter().rfind(judged).unwrap().clone();
        let back_s = feet_back_s(&motion, &push).unwrap();
        // Nothing is seen from shortly before the feet are together.
        let end = motion.curves.index_at(back_s - 0.02);
        motion.curves.seen[end..].fill(false);
        let measure = evaluate(&motion, &push);
        assert_eq!(measure.not_judged, Some(NotJudged::HeelsNotSeen));
    }

    /// For a moment the foot that comes back is read far out, as where another
    /// skater's foot is taken for it; or the feet part where they should close.
    #[test]
    fn feet_that_do_not_close_and_open_are_not_judged() {
        for (view, cycles_apart, aside_m) in [
            (View::Front, 0.03, 0.15),
            (View::Rear, 0.03, 0.15),
            (View::Front, 0.06, 0.4),
        ] {
            let mut motion = motion_of(view, &Skater::default());
            let judged = |push: &&Push| evaluate(&motion, push).is_judged();
            let push = motion.pushes.iter().find(judged).unwrap().clone();
            let back_s = feet_back_s(&motion, &push).unwrap();
            let px = aside_m * push.leg.leftward() * px_a_metre(&motion, back_s);
            let (ankle, heel) = match push.leg {
                Leg::Left => (BodyPoint::LeftAnkle, BodyPoint::LeftHeel),
                Leg::Right => (BodyPoint::RightAnkle, BodyPoint::RightHeel),
            };
            for i in 0..motion.curves.points.len() {
                let apart = (motion.curves.time_s(i as f64) - back_s).abs() / push.cycle_s;
                if apart < cycles_apart {
                    for point in [ankle, heel] {
                        motion.curves.points[i][point as usize][0] += px;
                    }
                }
            }
            let measure = evaluate(&motion, &push);
            assert_eq!(
                measure.not_judged,
                Some(NotJudged::FeetUnsteady),
                "{view:?}, {measure:?}"
            );
        }
    }

    /// Pixels to the skater's left of one metre.
    fn px_a_metre(motion: &PassMotion, at_s: f64) -> f64 {
        let i = motion.curves.index_at(at_s);
        let (right, left) = (BodyPoint::RightHip, BodyPoint::LeftHip);
        let px =
            motion.curves.points[i][left as usize][0] - motion.curves.points[i][right as usize][0];
        px / across_m(motion, i, right, left)
    }

    #[test]
    fn between_two_samples_lies_the_line_and_beyond_them_nothing_new() {
        let samples = [(1.0, 4.0), (1.5, 6.0), (2.5, 2.0)];
        for (at_s, value) in [(0.0, 4.0), (1.0, 4.0), (1.25, 5.0), (2.0, 4.0), (3.0, 2.0)] {
            assert_eq!(between(&samples, at_s), Some(value), "{at_s}");
        }
        assert_eq!(between(&[], 1.0), None);
    }

    #[test]
    fn the_side_does_not_see_it() {
        assert!(!RULE.views.contains(&View::Side));
    }
}
