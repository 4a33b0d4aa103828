//! Stride rate.

use super::{Quantity, QuantityId, QuantityUnit};
use crate::config::View;
use crate::rules::{JudgedPush, Measure, NotJudged};
use crate::stride::PassMotion;

/// Steps a second: a step is from a toe-off to the next one of the other leg.
pub const QUANTITY: Quantity = Quantity {
    id: QuantityId::StrideRate,
    unit: QuantityUnit::Hertz,
    views: &View::ALL,
    short: "stride rate",
    long: "Steps a second; a step is from a toe-off to the next one of the other leg, so a cycle of both legs is two steps.",
    source: "step after van den Tillaar, Pojskic, Andersson 2023; uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviation of the time of one toe-off, seconds. Rendered skaters,
/// 2.2 to 3.0 steps a second, bias and scatter of the rate: front 23 passes 0.00
/// and 0.01 /s, rear 13 0.00 and 0.00, oblique 15 -0.02 and 0.07, side 50 of 53
/// +0.03 and 0.07: there a pass shows two or three steps. On a set looked at afterwards
/// front, rear and oblique 105 passes 0.00 and 0.03, side 53 of 55 +0.07 and 0.15.
const TOE_OFF_S: f64 = 0.02;
/// The same from the side, where the two legs are taken for each other now and then.
const TOE_OFF_SIDE_S: f64 = 0.035;
/// Shortest and longest step that is believed, seconds.
const STEP_S: [f64; 2] = [0.22, 0.80];

/// The mean step of a pass.
pub struct Steps {
    /// Its length, seconds.
    pub step_s: f64,
    /// One standard deviation of it, seconds.
    pub deviation_s: f64,
    /// Steps it is the mean of.
    pub count: usize,
}

/// The longest row of toe-offs in which the legs take turns: its length over
/// the number of its steps. `None` without two steps.
///
/// From the side the toe-offs of the far leg are found a little earlier or
/// later than those of the near one, so that an even number of steps is taken
/// where there is one.
pub fn steps(motion: &PassMotion) -> Option<Steps> {
    let toe_offs = &motion.toe_offs;
    let follows = |i: usize| {
        let step_s = toe_offs[i].at_s - toe_offs[i - 1].at_s;
        toe_offs[i].leg != toe_offs[i - 1].leg && (STEP_S[0]..=STEP_S[1]).contains(&step_s)
    };
    let (mut first, mut best) = (0, (0, 0));
    for i in 1..toe_offs.len() {
        if !follows(i) {
            first = i;
        }
        if i - first > best.1 - best.0 {
            best = (first, i);
        }
    }
    let count = best.1 - best.0;
    // One step says nothing about itself: a toe-off that was found in the
    // wrong place made it 0.54 s instead of 0.38.
    if count < 2 {
        return None;
    }
    let length_s = |from: usize, to: usize| toe_offs[to].at_s - toe_offs[from].at_s;
    let toe_off_s = match motion.lane.view {
        View::Side => TOE_OFF_SIDE_S,
        View::Front | View::Rear | View::Oblique => TOE_OFF_S,
    };
    let told_s = toe_off_s * std::f64::consts::SQRT_2 / count as f64;
    let (step_s, deviation_s) = if count % 2 == 1 {
        // an odd row holds two even ones; where they differ, a toe-off is off
        let [a, b] = [length_s(best.0, best.1 - 1), length_s(best.0 + 1, best.1)]
            .map(|s| s / (count - 1) as f64);
        ((a + b) / 2.0, told_s.max((a - b).abs() / 2.0))
    } else {
        (length_s(best.0, best.1) / count as f64, told_s)
    };
    Some(Steps {
        step_s,
        deviation_s,
        count,
    })
}

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    match steps(motion) {
        Some(steps) => {
            let rate_hz = 1.0 / steps.step_s;
            Measure::judged(
                rate_hz,
                rate_hz * steps.deviation_s / steps.step_s,
                format!("mean of {} steps", steps.count),
            )
        }
        None => Measure::not_judged(NotJudged::TooFewSteps),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::reported;
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn slow_and_quick_feet_read_as_they_are_from_every_view() {
        for cycles_hz in [1.1, 1.3, 1.6] {
            for view in [View::Side, View::Front, View::Rear] {
                let skater = Skater {
                    cycles_hz,
                    // slow enough that the side camera sees two steps
                    speed_mps: 4.0,
                    ..Skater::default()
                };
                let rate = reported(view, &skater, &QUANTITY);
                assert!(rate.is_judged(), "{view:?} {rate:?}");
                let off = rate.value.unwrap() - 2.0 * cycles_hz;
                assert!(off.abs() < 0.12, "{view:?} {cycles_hz} {off:+.3}");
            }
        }
    }

    #[test]
    fn a_single_step_is_not_judged() {
        let mut motion =
            crate::rules::table::rule_geometry::tests::motion_of(View::Front, &Skater::default());
        motion.toe_offs.truncate(3);
        assert!(evaluate(&motion, &[]).is_judged());
        motion.toe_offs.truncate(2);
        assert!(!evaluate(&motion, &[]).is_judged());
    }
}
