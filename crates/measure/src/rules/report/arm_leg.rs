//! Arm against leg.

use super::{Quantity, QuantityId, QuantityUnit, deviation, pushes};
use crate::body::BodyPoint;
use crate::config::View;
use crate::geometry::parabola_peak;
use crate::rules::table::rule_geometry::{across_m, mean};
use crate::rules::{JudgedPush, Measure, NotJudged};
use crate::stride::{Leg, PassMotion, Push};

/// When the arm is at the front of its swing, after the toe-off of its side.
pub const QUANTITY: Quantity = Quantity {
    id: QuantityId::ArmLegTiming,
    unit: QuantityUnit::Second,
    views: &[View::Side, View::Front, View::Rear],
    short: "arm after leg",
    long: "When the hand is at the front of its swing, counted from the toe-off of the same side's leg; negative is before it.",
    source: "uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviations of a skater, seconds: what the rendered skaters showed
/// pass by pass, as bias and scatter. Side 53 passes: +26 and 55 ms; front 23:
/// -4 and 30; rear 13: -1 and 20. Their arms all swing
/// 10 to 40 ms before the toe-off (one clip: 40 after), so that this is scatter;
/// that a later arm reads later only the stick skaters show. From an oblique camera, 105
/// passes of two sets: +65 to +78 and 84 to 99 ms, which says nothing.
const OF_SKATER_SIDE_S: f64 = 0.06;
/// As above, from the other views.
const OF_SKATER_S: f64 = 0.03;
/// Of one push, seconds: half the time between two frames.
const OF_PUSH_S: f64 = 0.017;
/// Farthest the finger's point can lie from the wrist's, as a share of
/// stature: the length of a hand (Drillis and Contini 1966, from memory).
const HAND_SHARE: f64 = 0.108;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    if motion.pushes.is_empty() {
        return Measure::not_judged(NotJudged::NoWholePush);
    }
    let times: Vec<f64> = motion
        .pushes
        .iter()
        .filter(|p| p.near_leg != Some(false))
        .filter_map(|push| front_of_swing_s(motion, push))
        .collect();
    let of_skater_s = match motion.lane.view {
        View::Side => OF_SKATER_SIDE_S,
        _ => OF_SKATER_S,
    };
    match mean(&times) {
        Some(s) => Measure::judged(
            s,
            deviation(of_skater_s, OF_PUSH_S, times.len()),
            format!("mean of {}", pushes(times.len())),
        ),
        None => Measure::not_judged(NotJudged::NoHandSeen),
    }
}

/// When the hand of a push's side is farthest forward (from front and rear:
/// farthest inward, which is the same moment), seconds after the toe-off.
fn front_of_swing_s(motion: &PassMotion, push: &Push) -> Option<f64> {
    let (shoulder, other, wrist, index) = match push.leg {
        Leg::Left => (
            BodyPoint::LeftShoulder,
            BodyPoint::RightShoulder,
            BodyPoint::LeftWrist,
            BodyPoint::LeftIndex,
        ),
        Leg::Right => (
            BodyPoint::RightShoulder,
            BodyPoint::LeftShoulder,
            BodyPoint::RightWrist,
            BodyPoint::RightIndex,
        ),
    };
    let forward = |i: usize| match motion.lane.view {
        View::Side | View::Oblique => {
            let row = &motion.curves.points[i];
            let across = (row[wrist as usize][0]
                - (row[shoulder as usize][0] + row[other as usize][0]) / 2.0)
                * motion.place.metres_per_px[i];
            across * motion.place.heading[0].signum()
        }
        View::Front | View::Rear => {
            (across_m(motion, i, shoulder, wrist) - across_m(motion, i, shoulder, other) / 2.0)
                * -push.leg.leftward()
        }
    };
    let half_s = 0.3 * push.cycle_s;
    let from = motion.curves.index_at(push.toe_off_s - half_s);
    let to = motion.curves.index_at(push.toe_off_s + half_s);
    let best = (from..=to).max_by(|&a, &b| forward(a).total_cmp(&forward(b)))?;
    if best == from || best == to || best + 1 >= motion.curves.len() {
        return None;
    }
    let row = &motion.curves.points[best];
    let hand_px = (row[wrist as usize][0] - row[index as usize][0])
        .hypot(row[wrist as usize][1] - row[index as usize][1]);
    if hand_px * motion.place.metres_per_px[best] > HAND_SHARE * motion.lane.skater_height_m {
        return None;
    }
    let (offset, _) = parabola_peak(forward(best - 1), forward(best), forward(best + 1));
    Some(motion.curves.time_s(best as f64 + offset) - push.toe_off_s)
}

#[cfg(test)]
mod tests {
    use super::super::tests::reported;
    use super::*;
    use crate::rules::table::rule_geometry::tests::motion_of;
    use crate::stride::synthetic::{Skater, TOE_OFF_AT};

    #[test]
    fn a_later_arm_reads_later() {
        for arm_front_at in [0.50, 0.56, 0.66] {
            for view in [View::Side, View::Front, View::Rear] {
                let skater = Skater {
                    arm_front_at,
                    ..Skater::default()
                };
                let timing = reported(view, &skater, &QUANTITY);
                assert!(timing.is_judged(), "{view:?} {timing:?}");
                let truth_s = (arm_front_at - TOE_OFF_AT) / skater.cycles_hz;
                let off_s = timing.value.unwrap() - truth_s;
                assert!(off_s.abs() < 0.02, "{view:?} {arm_front_at} {off_s:+.3}");
            }
        }
    }

    #[test]
    fn a_hand_that_is_nowhere_near_its_wrist_was_not_seen() {
        let mut motion = motion_of(View::Front, &Skater::default());
        assert!(evaluate(&motion, &[]).is_judged());
        for row in &mut motion.curves.points {
            for finger in [BodyPoint::LeftIndex, BodyPoint::RightIndex] {
                row[finger as usize][1] += 300.0;
            }
        }
        assert!(!evaluate(&motion, &[]).is_judged());
    }
}
