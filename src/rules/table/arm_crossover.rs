//! Arm swing.

use super::read::{across_m, over};
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
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
        limits(true, None, Some(0.0), 0.05),
    ],
    range: -0.20..=0.40,
    dead_band_range: 0.0..=0.15,
    short: "arm swing",
    long: "How far the wrist passes the middle line of the body at the front of its swing; positive is past the line. Federations teach different arm swings: switch the flag off where yours wants it.",
    source: "forward and back without crossing the middle line: common practice, no source, disputed; the dead-band: proposal of this project",
    evaluate,
};

/// Standard deviation, metres, where wrist and hand agree.
const UNCERTAINTY_M: f64 = 0.05;
/// Farthest wrist and hand points may lie apart across the body, as a share
/// of stature, before the hand is not believed.
const AGREE_SHARE: f64 = 0.05;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
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
    let Some(&(wrist_m, index_m, pinky_m)) = samples.iter().max_by(|a, b| a.0.total_cmp(&b.0))
    else {
        return Measure::not_judged("the arm was not seen at the front of its swing");
    };
    let spread_m = (wrist_m - index_m).abs().max((wrist_m - pinky_m).abs());
    if spread_m > AGREE_SHARE * motion.lane.skater_height_m {
        return Measure {
            value: Some(wrist_m),
            uncertainty: Some(spread_m.max(UNCERTAINTY_M)),
            judged: false,
            reason: "wrist and hand points disagree".to_owned(),
        };
    }
    Measure::judged(
        wrist_m,
        UNCERTAINTY_M,
        "wrist past the middle of the shoulders",
    )
}
