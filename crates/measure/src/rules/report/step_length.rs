//! Step length.

use super::stride_rate::steps;
use super::{Quantity, QuantityId, QuantityUnit};
use crate::config::View;
use crate::rules::{JudgedPush, Measure, NotJudged};
use crate::stride::PassMotion;

/// How far the skater travels from a toe-off to the next one of the other leg.
pub const QUANTITY: Quantity = Quantity {
    id: QuantityId::StepLength,
    unit: QuantityUnit::Metre,
    views: &View::ALL,
    short: "step length",
    long: "How far the skater travels along the lane from a toe-off to the next one of the other leg.",
    source: "step after van den Tillaar, Pojskic, Andersson 2023; uncertainty: rendered skaters",
    evaluate,
};

/// Standard deviation of the speed over the ice, as a share of it. The steps
/// of the rendered skaters, 141 to 229 cm, bias and scatter: front 23 passes -4.3
/// and 1.8 cm, rear 13 +0.2 and 1.8, oblique 15 -2.2 and 5.9, side 50 -2.2 and
/// 5.0.
const SPEED_SHARE: f64 = 0.03;

fn evaluate(motion: &PassMotion, _: &[JudgedPush]) -> Measure {
    let Some(steps) = steps(motion) else {
        return Measure::not_judged(NotJudged::TooFewSteps);
    };
    let speed_mps = motion.place.speed_mps;
    let length_m = speed_mps * steps.step_s;
    let share = SPEED_SHARE.hypot(steps.deviation_s / steps.step_s);
    Measure::judged(
        length_m,
        length_m * share,
        format!("{} steps, mean speed", steps.count),
    )
}

#[cfg(test)]
mod tests {
    use super::super::tests::reported;
    use super::*;
    use crate::stride::synthetic::Skater;

    #[test]
    fn a_longer_step_reads_longer() {
        for (speed_mps, cycles_hz) in [(4.0, 1.4), (4.0, 1.1), (5.0, 1.6)] {
            for view in [View::Side, View::Front, View::Rear] {
                let skater = Skater {
                    speed_mps,
                    cycles_hz,
                    ..Skater::default()
                };
                let length = reported(view, &skater, &QUANTITY);
                let ratio = length.value.unwrap() / (speed_mps / (2.0 * cycles_hz));
                assert!(
                    (ratio - 1.0).abs() < 0.07,
                    "{view:?} {speed_mps} {ratio:.3}"
                );
            }
        }
    }
}
