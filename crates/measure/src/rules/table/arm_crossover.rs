//! Arm swing.

use super::rule_geometry::{across_m, mean, of_adult, over, unmeasurable};
use crate::body::BodyPoint;
use crate::config::View;
use crate::rules::declare::{Rule, Sense, TruthKey, Unit, limits};
use crate::rules::overlay_marks::{at, middle};
use crate::rules::{Measure, Needs, NotJudged, RuleId};
use crate::stride::Leg;
use crate::stride::{Curves, PassMotion, Push};

/// How far the wrist passes the middle line of the body at the front of its swing; positive is past the line.
pub const RULE: Rule = Rule {
    id: RuleId::ArmCrossover,
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
    needs: Needs::SWING,
    evaluate,
    // There the arm is at the front of its swing.
    shown_at_s: |_, push| push.toe_off_s,
    marks,
    of_knee: false,
    truth: TruthKey {
        of_push: "max_wrist_cross_m",
        asked: None,
    },
};

/// From the middle of the shoulders to the wrist of the pushing side.
fn marks(curves: &Curves, i: usize, leg: Leg) -> Vec<[f64; 2]> {
    let wrist = match leg {
        Leg::Left => BodyPoint::LeftWrist,
        Leg::Right => BodyPoint::RightWrist,
    };
    vec![
        middle(curves, i, BodyPoint::LeftShoulder, BodyPoint::RightShoulder),
        at(curves, i, wrist),
    ]
}

/// Farthest wrist and hand points may lie apart across the body, as a share
/// of stature, before the hand is not believed.
const AGREE_SHARE: f64 = 0.05;
// From behind the hand is hidden by the trunk, from the front a dark glove
// before dark trousers is placed up to 20 cm toward its own side: the wrist
// alone tells little between 10 cm short of the line and 3 cm past it. The
// elbow stands beside the trunk and is seen from both. A forearm is 0.146 of
// stature long (Drillis and Contini 1966, from memory), 26 cm of an adult, so
// an elbow 20 cm from the line keeps the wrist within 6 cm past it, and an arm
// that crosses has its elbow nearer: up to 18.5 cm on the rendered skaters,
// mean of a pass. All that follows is for an adult's stature.
/// Read past the line by this much or more, it was seen there.
const SEEN_PAST_M: f64 = 0.03;
/// With the elbow farther out than this, mean of the side's pushes, it was not.
const ELBOW_OF_CROSSING_M: f64 = -0.17;
/// With the elbow this far out, mean of the side's pushes, and in the push
/// itself at least so far, the hand did not cross by 8 cm.
const ELBOW_OUT_M: f64 = -0.20;
const ELBOW_OUT_IN_PUSH_M: f64 = -0.18;
/// What the wrist may be read at then.
const SHORT_M: f64 = -0.03;
/// In another push of the side read this far short, it is not past the line.
const FAR_SHORT_M: f64 = -0.14;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let Some(arm) = farthest(motion, push) else {
        return Measure::not_judged(NotJudged::ArmNotSeen);
    };
    let adult = of_adult(&motion.lane);
    let calibration = motion.calibration();
    let doubt = calibration.hand().times(adult);
    let not_judged = |uncertainty_m, why| Measure::unsure(arm.wrist_m, uncertainty_m, why);
    // An elbow past the middle: the other arm's, or the shoulders were changed over.
    if arm.elbow_m > 0.0 {
        return not_judged(2.0 * doubt.of_one(), NotJudged::HandPointsDisagree);
    }
    if arm.spread_m > AGREE_SHARE * motion.lane.skater_height_m {
        return not_judged(
            arm.spread_m.max(calibration.hand().of_one()),
            NotJudged::HandPointsDisagree,
        );
    }
    let others: Vec<Arm> = motion
        .pushes
        .iter()
        .filter(|other| other.leg == push.leg && *other != push)
        .filter(|other| unmeasurable(motion, other).is_none())
        .filter_map(|other| farthest(motion, other))
        .collect();
    let elbows_m: Vec<f64> = others.iter().chain([&arm]).map(|a| a.elbow_m).collect();
    let elbow_m = mean(&elbows_m).unwrap_or(arm.elbow_m);
    let another = |is: &dyn Fn(f64) -> bool| others.iter().any(|a| is(a.wrist_m));
    let past_m = adult * SEEN_PAST_M;
    let past = arm.wrist_m >= past_m;
    let short = arm.wrist_m <= adult * SHORT_M
        && arm.elbow_m <= adult * ELBOW_OUT_IN_PUSH_M
        && elbow_m <= adult * ELBOW_OUT_M;
    if past && another(&|m| m <= adult * FAR_SHORT_M) || short && another(&|m| m >= past_m) {
        not_judged(2.0 * doubt.of_one(), NotJudged::PushesContradict)
    } else if past && elbow_m >= adult * ELBOW_OF_CROSSING_M {
        Measure::judged(
            arm.wrist_m,
            doubt.of_one(),
            "wrist past the middle of the shoulders",
        )
    } else if short {
        let shift = calibration.short_hand(adult, arm.wrist_m);
        Measure::judged(
            arm.wrist_m + shift.add,
            shift.doubt.of_one(),
            "elbow too far out for the hand to cross",
        )
    } else {
        not_judged(2.0 * doubt.of_one(), NotJudged::HandNearTheLine)
    }
}

/// Where an arm is at the front of its swing, metres across the body, past the
/// middle of the shoulders.
struct Arm {
    wrist_m: f64,
    elbow_m: f64,
    /// How far the hand's points lie from the wrist.
    spread_m: f64,
}

/// The arm of the pushing side when its wrist gets farthest past the middle of
/// the shoulders, around the end of a push.
fn farthest(motion: &PassMotion, push: &Push) -> Option<Arm> {
    use BodyPoint as P;
    let leg = push.leg;
    let (shoulder, other, elbow, wrist, hand) = match leg {
        Leg::Left => (
            P::LeftShoulder,
            P::RightShoulder,
            P::LeftElbow,
            P::LeftWrist,
            [P::LeftIndex, P::LeftPinky],
        ),
        Leg::Right => (
            P::RightShoulder,
            P::LeftShoulder,
            P::RightElbow,
            P::RightWrist,
            [P::RightIndex, P::RightPinky],
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
            let wrist_m = past(wrist);
            let spread_m = hand.map(|p| (past(p) - wrist_m).abs());
            Some(Arm {
                wrist_m,
                elbow_m: past(elbow),
                spread_m: spread_m[0].max(spread_m[1]),
            })
        },
    );
    samples
        .into_iter()
        .max_by(|a, b| a.wrist_m.total_cmp(&b.wrist_m))
}

#[cfg(test)]
mod tests {
    use super::super::rule_geometry::tests::{judged_values, motion_of};
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
        // the elbow near enough for the hand to have crossed
        assert!(values(0.0).is_empty());
        // the elbow out of reach: said not to cross, and never as crossing
        for short_m in [-0.06, -0.22] {
            let short = values(short_m);
            assert!(short.len() >= 4, "{short_m}");
            assert!(short.iter().all(|v| *v < 0.0), "{short:?}");
        }
    }
}
