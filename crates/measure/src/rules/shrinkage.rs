//! What the other pushes of a pass say about one push.

use super::{JudgedPush, RULES};
use crate::stride::Leg;

/// How far each value goes toward the mean of its leg's judged pushes in the
/// pass.
///
/// The pushes of one leg in one pass differ little in truth, and the readings
/// scatter more. With a scatter `r` of readings and `t` of true values the best
/// estimate of a push lies `r2 / (r2 + t2)` of the way to the mean. Within a
/// pass of the rendered skaters, extension 5.1 and 2.5 degrees, hand 1.4 to
/// 2.2 and 0.9 to 1.1 cm, trunk 1.1 and 1.1 degrees; knee and heel gap, read from
/// many frames, scatter no more than the pushes differ, and a third to a half served them
/// best; so 0.35 to 0.85. How much the pushes of real skaters differ was not
/// measured, hence no more than this.
const TOWARD_MEAN: f64 = 0.5;

/// Moves the judged values of every leg toward their mean in the pass. A fault
/// that all pushes show slightly inside the dead-band stays inside; one that is
/// beyond it on the whole is no longer missed, nor a good pass flagged, for one
/// stray reading. The legs are kept apart: they may differ.
pub fn pool(pushes: &mut [JudgedPush]) {
    for rule in 0..RULES.len() {
        for leg in Leg::BOTH {
            let judged = |push: &JudgedPush| {
                let measure = push.measures.get(rule)?;
                measure.value.filter(|_| push.leg == leg && measure.judged)
            };
            let values: Vec<f64> = pushes.iter().filter_map(judged).collect();
            if values.len() < 2 {
                continue;
            }
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let spread2 = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
            let errors: Vec<f64> = pushes
                .iter()
                .filter(|push| judged(push).is_some())
                .filter_map(|push| push.measures[rule].uncertainty)
                .collect();
            let error2 = errors.iter().map(|e| e * e).sum::<f64>() / n;
            // What readings alone could make of this spread. No more than
            // that is taken for scatter: where one push stands out by far
            // more than the stated error, it is the push that differs.
            let toward = TOWARD_MEAN.min(error2 / spread2.max(f64::MIN_POSITIVE));
            for push in pushes.iter_mut() {
                if let Some(value) = judged(push) {
                    push.measures[rule].value = Some(value + toward * (mean - value));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::Measure;

    fn push(leg: Leg, first: Measure) -> JudgedPush {
        let mut measures = vec![Measure::not_judged(""); RULES.len()];
        measures[0] = first;
        JudgedPush {
            leg,
            near_leg: None,
            push_start_s: 0.0,
            toe_off_s: 0.2,
            measures,
            flags: Vec::new(),
        }
    }

    fn values(pushes: &[JudgedPush]) -> Vec<Option<f64>> {
        pushes.iter().map(|p| p.measures[0].value).collect()
    }

    #[test]
    fn values_of_a_leg_move_toward_their_mean_and_keep_it() {
        let mut pushes: Vec<JudgedPush> = [126.0, 134.0, 130.0]
            .map(|deg| push(Leg::Left, Measure::judged(deg, 6.0, "")))
            .to_vec();
        pool(&mut pushes);
        let left = 1.0 - TOWARD_MEAN;
        let expected = [130.0 - 4.0 * left, 130.0 + 4.0 * left, 130.0];
        for (found, expected) in values(&pushes).into_iter().zip(expected) {
            assert!((found.unwrap() - expected).abs() < 1e-9);
        }
    }

    /// One push that is really different must not hide behind the others.
    #[test]
    fn a_push_that_stands_out_stays() {
        let mut pushes: Vec<JudgedPush> = [118.0, 121.0, 119.0, 152.0]
            .map(|deg| push(Leg::Left, Measure::judged(deg, 6.0, "")))
            .to_vec();
        pool(&mut pushes);
        let last = values(&pushes)[3].unwrap();
        assert!(last > 147.0, "{last}");
    }

    #[test]
    fn the_other_leg_and_what_is_not_judged_take_no_part() {
        let mut unsure = Measure::judged(170.0, 6.0, "");
        unsure.judged = false;
        let mut pushes = vec![
            push(Leg::Left, Measure::judged(120.0, 6.0, "")),
            push(Leg::Right, Measure::judged(150.0, 6.0, "")),
            push(Leg::Left, unsure),
            push(Leg::Left, Measure::not_judged("")),
        ];
        let before = values(&pushes);
        pool(&mut pushes);
        assert_eq!(values(&pushes), before);
    }
}
