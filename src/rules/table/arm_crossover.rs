//! Arm swing.

use super::read::{across_m, of_adult, over};
use crate::config::View;
use crate::pose::BodyPoint;
use crate::rules::Measure;
use crate::rules::declare::{Rule, Sense, Unit, limits};
use crate::stride::Leg;
use crate::stride::{PassMotion, Push};

/// How far the wrist passes the middle line of the body at the front of its swing; positive is past the line.
pub const RULE: Rule = Rule {
    id: "arm_crossover",
    measure: "hand_cross_m",
    unit: Unit::Metre,
    views: &[View::Front, View::Rear],
    sense: Sense::AtMost,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, None, Some(0.0), 0.03),
        limits(true, None, Some(0.0), 0.03),
        limits(true, None, Some(0.0), 0.03),
        limits(true, None, Some(0.0), 0.03),
        limits(true, None, Some(0.0), 0.03),
        limits(true, None, Some(0.0), 0.03),
        limits(true, None, Some(0.0), 0.03),
    ],
    range: -0.20..=0.40,
    dead_band_range: 0.0..=0.15,
    short: "arm swing",
    long: "How far the wrist passes the middle line of the body at the front of its swing; positive is past the line. Federations teach different arm swings: switch the flag off where yours wants it.",
    source: "forward and back without crossing the middle line: common practice, no source, disputed; the dead-band: proposal of this project",
    evaluate,
};

/// Standard deviation, metres, at an adult's stature, where the hand is
/// spoken about.
const UNCERTAINTY_M: f64 = 0.04;
/// Farthest wrist and hand points may lie apart across the body, as a share
/// of stature, before the hand is not believed.
const AGREE_SHARE: f64 = 0.05;
// A dark glove in front of dark trousers is placed up to 20 cm toward its own
// side (rendered skaters): an arm that crosses by 13 cm then reads 2 to 7 cm
// short of the line, one that stays 7 cm away reads 17 to 20 cm short. So a
// hand is spoken about where it was clearly seen past the line, or read so
// far from it that it cannot have crossed by 8 cm; never in between. The same
// arm in the other pushes of the pass is a second witness.
/// Read past the line by this much or more, it was seen there.
const SEEN_PAST_M: f64 = 0.03;
/// Read this far short of the line, it did not cross.
const FAR_SHORT_M: f64 = -0.14;
/// Nor did it where every push of the pass, two or more, read this far short.
const ALWAYS_SHORT_M: f64 = -0.10;
/// What is left of the distance such a reading shows: the farther from the
/// line, the more of it is the model's. From 155 pushes whose hands were in
/// truth 4 to 10 cm short of the line.
const LEFT_OF_SHORT: f64 = 0.5;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let Some((wrist_m, spread_m)) = farthest(motion, push) else {
        return Measure::not_judged("the arm was not seen at the front of its swing");
    };
    let adult = of_adult(&motion.lane);
    let not_judged = |uncertainty_m: f64, reason: &str| Measure {
        value: Some(wrist_m),
        uncertainty: Some(uncertainty_m),
        judged: false,
        reason: reason.to_owned(),
    };
    if spread_m > AGREE_SHARE * motion.lane.skater_height_m {
        return not_judged(
            spread_m.max(UNCERTAINTY_M),
            "wrist and hand points disagree",
        );
    }
    let others: Vec<f64> = motion
        .pushes
        .iter()
        .filter(|other| other.leg == push.leg && *other != push)
        .filter_map(|other| Some(farthest(motion, other)?.0))
        .collect();
    let another = |is: &dyn Fn(f64) -> bool| others.iter().any(|m| is(*m));
    let (past_m, short_m) = (adult * SEEN_PAST_M, adult * FAR_SHORT_M);
    let always_m = adult * ALWAYS_SHORT_M;
    let always_short = wrist_m <= always_m && !others.is_empty() && !another(&|m| m > always_m);
    if wrist_m >= past_m && another(&|m| m <= short_m)
        || wrist_m <= short_m && another(&|m| m >= past_m)
    {
        not_judged(
            adult * 2.0 * UNCERTAINTY_M,
            "the pushes of the pass contradict each other",
        )
    } else if wrist_m >= past_m {
        Measure::judged(
            wrist_m,
            adult * UNCERTAINTY_M,
            "wrist past the middle of the shoulders",
        )
    } else if wrist_m <= short_m || always_short {
        Measure::judged(
            wrist_m - motion.correction((1.0 - LEFT_OF_SHORT) * wrist_m),
            adult * UNCERTAINTY_M,
            "wrist far from the middle of the shoulders",
        )
    } else {
        not_judged(
            adult * 2.0 * UNCERTAINTY_M,
            "too near to the line to be sure of the hand",
        )
    }
}

/// How far the wrist of the pushing side gets past the middle of the
/// shoulders around the end of a push, and how far the hand's points lie from
/// it then, both metres across the body.
fn farthest(motion: &PassMotion, push: &Push) -> Option<(f64, f64)> {
    let leg = push.leg;
    let (shoulder, other, wrist, index, pinky) = match leg {
        Leg::Left => (
            BodyPoint::LeftShoulder,
            BodyPoint::RightShoulder,
            BodyPoint::LeftWrist,
            BodyPoint::LeftIndex,
            BodyPoint::LeftPinky,
        ),
        Leg::Right => (
            BodyPoint::RightShoulder,
            BodyPoint::LeftShoulder,
            BodyPoint::RightWrist,
            BodyPoint::RightIndex,
            BodyPoint::RightPinky,
        ),
    };
    // The arm of the pushing side comes forward during the push.
    let span_s = push.toe_off_s - push.push_start_s;
    let samples = over(
        motion,
        push.toe_off_s - 0.6 * span_s,
        push.toe_off_s + 0.4 * span_s,
        |i| {
            let past = |p: BodyPoint| {
                let from_own = across_m(motion, i, shoulder, p);
                let middle = across_m(motion, i, shoulder, other) / 2.0;
                // across_m is positive to the skater's left
                (from_own - middle) * -leg.leftward()
            };
            Some((past(wrist), past(index), past(pinky)))
        },
    );
    let &(wrist_m, index_m, pinky_m) = samples.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let spread_m = (wrist_m - index_m).abs().max((wrist_m - pinky_m).abs());
    Some((wrist_m, spread_m))
}

#[cfg(test)]
mod tests {
    use super::super::read::tests::{judged_values, motion_of};
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn a_hand_past_the_line_is_seen_and_one_near_it_is_not_judged() {
        let values = |cross_m| {
            let skater = Skater {
                cross_m,
                ..Skater::default()
            };
            judged_values(&motion_of(View::Front, &skater), &RULE)
        };
        let past = values(0.12);
        assert!(past.len() >= 4);
        for v in past {
            assert!((v - 0.12).abs() < 0.03, "{v}");
        }
        assert!(values(-0.04).is_empty());
        // read far short: said not to cross, and never as crossing
        let far = values(-0.22);
        assert!(far.len() >= 4 && far.iter().all(|v| *v < -0.05), "{far:?}");
    }
}
